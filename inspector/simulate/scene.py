"""What stands where on the set, and how it is lit: a scene as plain data.

Lengths are in units of the picture's long side, x to the right, y down, from the top left of
the picture as viewed. Levels are stops relative to white (0 is paper white, base 2); a level of
a surface is that of its light on the sensor before the lens adds blur and veil.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

Point = tuple[float, float]


@dataclass(frozen=True)
class Backdrop:
    """The lit white surface behind the subject.

    Attributes
    ----------
    kind : str
        ``wall`` (fills the frame), ``rectangle``, ``octagon``, ``strip`` or ``none``: a room
        without a white backdrop, whose grey wall lies at ``ev``.
    centre, size : tuple
        Middle, width and height of the face; unused for a wall.
    turn_deg : float
        Turned clockwise.
    lean : tuple
        Perspective: how much longer the right (bottom) side is than the left (top), as a fraction.
    ev : float
        Stops at the middle, the hot centre not counted.
    falloff_ev : float
        Stops lost at the corners, growing with the square of the distance from ``peak``.
    slope_ev : tuple
        Stops gained from left to right and from top to bottom, over the picture's long side.
    peak : tuple, optional
        Where the light is centred; the middle of the face if None.
    hot_ev, hot_radius : float
        A brighter middle, as from a bare tube behind the diffuser.
    seams : int
        Seams of the diffuser, evenly spread over the width (spokes on an octagon).
    seam_ev : float
        Stops lost on a seam.
    corner : str or None
        A corner that the light does not reach: ``top-left`` and so on.
    corner_ev, corner_radius : float
        Stops lost in that corner, and how far it reaches.
    tint_ev : float
        Stops that red is over green, and blue under it: warm above zero, cold below.
    """

    kind: str = "wall"
    centre: Point = (0.5, 0.333)
    size: Point = (0.8, 0.6)
    turn_deg: float = 0.0
    lean: Point = (0.0, 0.0)
    ev: float = 0.6
    falloff_ev: float = 0.15
    slope_ev: Point = (0.0, 0.0)
    peak: Point | None = None
    hot_ev: float = 0.0
    hot_radius: float = 0.15
    seams: int = 0
    seam_ev: float = 0.1
    corner: str | None = None
    corner_ev: float = 1.0
    corner_radius: float = 0.25
    tint_ev: float = 0.0


@dataclass(frozen=True)
class Surround:
    """The dark room beyond a softbox: its level, and whether the softbox's stand shows."""

    ev: float = -6.5
    stand: bool = True


@dataclass(frozen=True)
class Pose:
    """One drawn figure or prop: a name of ``figure.POSES``, its feet (or base) and height."""

    name: str
    at: Point
    height: float
    mirror: bool = False
    hair: int = 0
    """Number of loose strands, where the pose has hair to let loose."""


@dataclass(frozen=True)
class Spill:
    """White light that lies on the subject, along the outline around a place.

    ``ev`` is its level at the outline at most, ``depth`` the distance inwards at which it has
    fallen to paper white, ``ramp`` the distance over which it falls from there by two stops,
    ``radius`` how far it goes along the outline; tint as stops of red over green.
    """

    at: Point
    radius: float
    ev: float = 0.6
    depth: float = 0.012
    ramp: float = 0.012
    tint_ev: float = 0.1


@dataclass(frozen=True)
class Spot:
    """A bright patch inside the subject (hot island) or on metal (glint)."""

    at: Point
    radii: Point
    ev: float = 0.8
    softness: float = 0.5
    """Share of the radius over which it fades; 0.05 is a hard edge."""
    turn_deg: float = 0.0
    tint_ev: float = 0.0


@dataclass(frozen=True)
class Light:
    """What falls on the subject.

    Attributes
    ----------
    front_ev : float
        Level of a white surface on the shadow side; each material darkens it further.
    left_ev, right_ev, top_ev : float or None
        Level that the bounce of that wall or of the ceiling (or a panel there) gives a white
        surface facing it.
    wrap_ev, wrap_width : float
        Light creeping round curved limbs: its level at the outline and e-fold distance inwards.
    rim_ev, rim_width : float
        A narrow glow on the outline, kept under white; e-fold distance inwards.
    spills, islands, glints : tuple
        See ``Spill`` and ``Spot``.
    folds : float
        Contrast of the cloth's folds, as a fraction.
    """

    front_ev: float = -5.0
    left_ev: float | None = None
    right_ev: float | None = None
    top_ev: float | None = None
    wrap_ev: float = -3.0
    wrap_width: float = 0.006
    rim_ev: float = -1.5
    rim_width: float = 0.0006
    spills: tuple[Spill, ...] = ()
    islands: tuple[Spot, ...] = ()
    glints: tuple[Spot, ...] = ()
    folds: float = 0.15


@dataclass(frozen=True)
class Lens:
    """``blur_px`` is the sigma of an edge on the sensor, the pixel's own aperture included;

    ``veil`` the share of the scene's light that the lens spreads over the whole picture.
    """

    blur_px: float = 0.9
    veil: float = 0.006


@dataclass(frozen=True)
class Scene:
    """All that stands before the camera.

    ``aspect`` is width over height of the picture as viewed; ``look`` the one the photographer
    is after; ``seed`` fixes the scene's own irregularities (folds, texture), not the noise.
    """

    name: str = "scene"
    aspect: float = 1.5
    backdrop: Backdrop = field(default_factory=Backdrop)
    surround: Surround = field(default_factory=Surround)
    poses: tuple[Pose, ...] = ()
    light: Light = field(default_factory=Light)
    lens: Lens = field(default_factory=Lens)
    look: str = "silhouette"
    seed: int = 1

    @property
    def plate(self) -> bool:
        """Whether nobody stands in it."""
        return not self.poses

    def size(self, megapixels: float) -> tuple[int, int]:
        """(width, height) of about so many megapixels; both divisible by 4."""
        height = (megapixels * 1e6 / self.aspect) ** 0.5
        return round(height * self.aspect / 4) * 4, round(height / 4) * 4

    @property
    def extent(self) -> Point:
        """Width and height of the picture in scene units; the longer is 1."""
        return (1.0, 1 / self.aspect) if self.aspect >= 1 else (self.aspect, 1.0)

    def emptied(self) -> Scene:
        """The plate of the scene: the same set with nobody in it."""
        dark = replace(self.light, spills=(), islands=(), glints=())
        return replace(self, poses=(), light=dark)

    def moved(self, dx: float, dy: float) -> Scene:
        """The subject a step aside, the light on it with it; the backdrop stays."""
        light = self.light
        return replace(
            self,
            poses=tuple(replace(p, at=_step(p.at, dx, dy)) for p in self.poses),
            light=replace(
                light,
                spills=tuple(replace(s, at=_step(s.at, dx, dy)) for s in light.spills),
                islands=tuple(replace(s, at=_step(s.at, dx, dy)) for s in light.islands),
                glints=tuple(replace(s, at=_step(s.at, dx, dy)) for s in light.glints),
            ),
        )

    def panned(self, dx: float, dy: float) -> Scene:
        """All of it shifted in the frame, as by a nudge of the camera."""
        b, (width, height) = self.backdrop, self.extent
        wall = b.kind in ("wall", "none")
        peak = b.peak or ((width / 2, height / 2) if wall else b.centre)
        shifted = replace(b, centre=_step(b.centre, dx, dy), peak=_step(peak, dx, dy))
        return replace(self.moved(dx, dy), backdrop=shifted)


def _step(at: Point, dx: float, dy: float) -> Point:
    return at[0] + dx, at[1] + dy
