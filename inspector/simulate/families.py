"""Random scenes by family, each fixed by its seed: for tests and the accuracy table."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from inspector.simulate.backdrop import face
from inspector.simulate.camera import Camera
from inspector.simulate.faults import DEFECTS, between, pick, spoil
from inspector.simulate.scene import Backdrop, Lens, Light, Pose, Scene, Surround
from inspector.simulate.truth import Truth
from inspector.verdict import Limits

FIGURES = (
    "nobody", "standing", "akimbo", "salute", "lunge", "en-garde", "profile", "bust", "masked",
    "two", "chair",
)  # fmt: skip
BACKDROPS = ("wall", "rectangle", "octagon", "strip")
OTHER_SENSORS = ("x-trans", "mono")
"""Drawn only when asked for."""

CAMERAS = ("clean", "noisy", "low-clip", "high-clip", "12-bit", "coarse")

_BUSTS = ("profile", "bust", "masked")


@dataclass(frozen=True)
class Draw:
    """One random scene, its camera and the families it was drawn from."""

    scene: Scene
    camera: Camera
    seed: int
    figure: str
    backdrop: str
    defect: str
    camera_family: str


def random_scene(
    seed: int,
    *,
    figure: str | None = None,
    backdrop: str | None = None,
    defect: str | None = None,
    camera: str | None = None,
) -> Draw:
    """Draw a scene; families that are not given are drawn too. The same seed, the same scene."""
    rng = np.random.default_rng((seed, 5))
    drawn_figure, drawn_defect = pick(FIGURES, rng), pick(DEFECTS, rng)
    figure, defect = figure or drawn_figure, defect or drawn_defect
    backdrop, camera = backdrop or pick(BACKDROPS, rng), camera or pick(CAMERAS, rng)
    aspect = float(rng.choice([1.5, 1.5, 4 / 3, 2 / 3, 0.75]))
    scene = Scene(
        name=f"{figure}-{backdrop}-{defect}-{seed}",
        aspect=aspect,
        backdrop=_backdrop(backdrop, aspect, rng),
        surround=Surround(float(rng.uniform(-8, -5)), bool(rng.random() < 0.7)),
        lens=Lens(float(rng.uniform(0.6, 2.0)), float(rng.uniform(0.002, 0.012))),
        light=_dark_light(rng),
        seed=seed,
    )
    scene = replace(scene, poses=_poses(figure, scene, rng))
    scene = spoil(scene, defect, rng)
    return Draw(scene, _camera(camera, aspect, rng), seed, figure, backdrop, defect, camera)


def _backdrop(kind: str, aspect: float, rng: np.random.Generator) -> Backdrop:
    """A backdrop that passes: its darkest part a little over white at the least."""
    width, height = (1.0, 1 / aspect) if aspect >= 1 else (aspect, 1.0)
    centre = (width * between(rng, 0.44, 0.56), height * between(rng, 0.42, 0.52))
    short = min(width, height)
    size = {
        "wall": (width, height),
        "rectangle": (width * between(rng, 0.7, 0.95), height * between(rng, 0.7, 0.95)),
        "octagon": (short * between(rng, 0.8, 1.1),) * 2,
        "strip": (width * between(rng, 0.35, 0.5), height * between(rng, 0.9, 1.3)),
    }[kind]
    falloff = between(rng, 0.02, 0.5)
    seams = int(rng.integers(0, 4)) if kind != "wall" else 0
    return Backdrop(
        kind,
        centre,
        size,
        turn_deg=between(rng, -6, 6),
        lean=(between(rng, -0.1, 0.1), between(rng, -0.1, 0.1)),
        ev=0.15 + falloff + between(rng, 0.05, 0.6),
        falloff_ev=falloff,
        hot_ev=between(rng, 0, 0.4),
        hot_radius=between(rng, 0.08, 0.25),
        seams=seams,
        seam_ev=between(rng, 0.02, 0.1),
    )


def _dark_light(rng: np.random.Generator) -> Light:
    return Light(
        front_ev=between(rng, -7, -5),
        wrap_ev=between(rng, -5.5, -3.5),
        wrap_width=between(rng, 0.002, 0.006),
        rim_ev=between(rng, -3, -1),
        rim_width=between(rng, 0.0002, 0.0008),
        folds=between(rng, 0.05, 0.3),
    )


def _poses(figure: str, scene: Scene, rng: np.random.Generator) -> tuple[Pose, ...]:
    """One or two figures before the middle of the face."""
    if figure == "nobody":
        return ()
    outline = np.clip(face(scene.backdrop, scene.extent), 0, scene.extent)
    (left, _), (right, bottom) = outline.min(axis=0).tolist(), outline.max(axis=0).tolist()
    middle, breadth = (left + right) / 2, right - left
    if figure == "two":
        names = [pick(("standing", "akimbo", "salute", "en-garde"), rng) for _ in range(2)]
        reach = breadth * between(rng, 0.15, 0.25)
        places = [middle - reach, middle + reach * between(rng, 0.8, 1.2)]
    elif figure == "chair":
        names, places = ["chair", "standing"], [middle - 0.16, middle + 0.05]
    else:
        names, places = [figure], [middle + between(rng, -0.03, 0.03)]
    shared = between(rng, 0.62, 0.82)
    poses = [_pose(n, x, shared, scene, rng) for n, x in zip(names, places, strict=True)]
    return tuple(_stand(pose, bottom, breadth, rng) for pose in poses)


def _pose(name: str, x: float, scale: float, scene: Scene, rng: np.random.Generator) -> Pose:
    width, height = scene.extent
    mirror, hair = bool(rng.random() < 0.5), int(rng.integers(0, 14))
    if name in _BUSTS:
        reach = 0.69 if name == "profile" else 0.44
        tall = min(scale * between(rng, 1.0, 1.15) * height / reach, 3 * width)
        return Pose(name, (x, height - 0.07 * tall), tall, mirror, hair)
    wide = {"lunge": 1.45, "en-garde": 1.1, "salute": 1.45}.get(name, 1.0)
    tall = scale * min(height, 1.3 * width / wide) * between(rng, 0.94, 1.06)
    return Pose(name, (x, height), tall, mirror, hair)


def _stand(pose: Pose, bottom: float, breadth: float, rng: np.random.Generator) -> Pose:
    """Feet near the lower end of the face or below it; a long pose centred as a whole."""
    if pose.name in _BUSTS:
        return pose
    x = pose.at[0]
    if pose.name in ("lunge", "en-garde"):
        back = min(0.25 * pose.height, 0.25 * breadth)
        x += back if pose.mirror else -back
    return replace(pose, at=(x, bottom + pose.height * between(rng, -0.08, 0.35)))


def _camera(family: str, aspect: float, rng: np.random.Generator) -> Camera:
    """A camera as set: orientation by the frame's shape, the rest by family."""
    bits = 12 if family == "12-bit" else 14
    top = 2.0**bits - 1
    black = float(rng.choice([128, 256, 512, 1024])) * (0.25 if bits == 12 else 1)
    low = 0.9 if family == "low-clip" else 0.96
    clip = [round(top * between(rng, low, low + 0.03)) for _ in range(3)]
    stated = round(min(clip) * between(rng, 0.93, 0.98)) if family == "high-clip" else top
    noisy = family == "noisy"
    bayer = pick(("RGGB", "BGGR", "GRBG", "GBRG"), rng)
    return Camera(
        pattern={"x-trans": "X-Trans", "mono": "mono"}.get(family, bayer),
        bits=bits,
        black=(black,) * 4,
        clip=(clip[0], clip[1], clip[1], clip[2]),
        stated_clip=stated,
        red_gain=between(rng, 1.9, 2.4),
        blue_gain=between(rng, 1.4, 1.8),
        full_well_e=between(rng, 30000, 80000),
        read_noise_e=between(rng, 2, 6),
        clip_spread=between(rng, 5, 20) if noisy else between(rng, 0, 3),
        coarse_steps=8 if family == "coarse" else 1,
        iso=float(rng.choice([1600, 3200, 6400])) if noisy else float(rng.choice([64, 100, 200])),
        shutter_s=1 / 160,
        aperture_f=float(rng.choice([5.6, 8.0, 11.0])),
        orientation=int(rng.choice([1, 1, 3] if aspect >= 1 else [6, 8])),
    )


SEEN_EV = 0.05
"""No exposure is known better than this, stops: the accuracy asked of the backdrop's stops."""


def borderline(truth: Truth, *, limits: Limits | None = None) -> bool:
    """Whether a figure lies so near its limit that the truth itself could go either way."""
    limits = limits or Limits()
    if not truth.found:
        return False
    share, edge = truth.white_fraction or 0.0, truth.spill_fraction or 0.0
    least = limits.filled_depth_ev if truth.look == "filled" else limits.silhouette_depth_ev
    area = max((s.area_px for s in truth.hot_spots), default=0) / truth.zones.size
    return (
        abs(share - limits.white_fraction) < 0.002
        or abs(edge - limits.spill_fraction) < 0.006
        or (truth.depth_ev is not None and abs(truth.depth_ev - least) < 0.2)
        or abs(area / limits.hot_spot_area - 1) < 0.25
        or _at_its_brightest(truth)
    )


def _at_its_brightest(truth: Truth) -> bool:
    """Whether a change of exposure that none can see would carry white past the tolerance."""
    if truth.window_high_ev is None or truth.window_high_whole_ev is None:
        return False
    return truth.window_high_ev - SEEN_EV < 0 < truth.window_high_whole_ev + SEEN_EV
