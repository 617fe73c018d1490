"""Backdrop, subject and surround: which part of the picture is what."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.align import moved, plate_shift
from inspector.arrays import Floats, Mask, Points, disc, median_of, without_specks
from inspector.cast_shadow import find_cast_shadow
from inspector.evidence import UNDER_CEILING_EV
from inspector.face_in_sight import face_in_sight
from inspector.fringe import find_fringe, find_strands
from inspector.grid import levels_without_grid
from inspector.halfway import Begins, where_subject_begins
from inspector.holes import Island, sort_bright, white_islands
from inspector.levels import Levels
from inspector.outline import find_outlines, joined, thick_parts
from inspector.part_border import over_halfway
from inspector.part_subject import part_subject
from inspector.plate_level import level_by_plate
from inspector.profile import NO_SPREAD, lens_blur, spread_along
from inspector.surface import DIMMEST_EV, find_surface
from inspector.washed import find_washed
from inspector.white_parts import find_white_parts

SURROUND, BACKDROP, SUBJECT = 0, 1, 2
"""Values of a zone map, also of ``--mask-out`` files."""
LEAST_PANEL, PANEL_PX = 0.003, 5
"""So large a part of a plate that is dimly lit within the face falls short, a panel or a shadow;
what is thinner than twice the second, working pixels, may be the blur around a stand."""
LEAST_BACKDROP = 0.02
"""Smallest share of the picture that makes a backdrop."""
NOT_WHITE_EV = -0.3
"""A smooth surface beside the backdrop that is darker than this is a wall or floor, stops."""
NEARLY_WHITE_EV = -0.7
"""A surface up to here is taken for a backdrop whatever is around it, stops."""
BRIGHTER_EV, BRIGHTER_AREA = 0.6, 0.004
"""So much of the picture this much brighter than a short backdrop is a lit sitter."""
MOST_UNEVEN_EV = 2.0
"""A short backdrop that spans more stops than this is a room with someone in it."""
USUAL_BLUR_PX = 1.0
"""Sigma of the lens blur, taken where no outline shows it."""
WIDEST_BLUR = 4.2, 0.0035
"""No lens blurs more than the larger of so many pixels and such a part of the long side: before a
backdrop at the ceiling so slow a fall is light that creeps over the edge."""
LEAST_STRAND_PX = 3
"""Fewer working pixels are no thin part, but a corner of the outline's staircase."""
LEAST_SHADOW_EV = 0.1
"""Where a shadow dims the backdrop by less, noise does, stops."""


@dataclass(frozen=True, eq=False)
class Zones:
    """Zones of the working picture, as viewed.

    Attributes
    ----------
    label : ndarray, uint8
        (h, w) SURROUND, BACKDROP or SUBJECT.
    backdrop_ev : ndarray, float32
        (h, w) stops of the backdrop, continued smoothly behind the subject; NaN if none found.
    fringe : ndarray, bool
        (h, w) True in the band along every border that is left out of the fractions.
    margin : ndarray, float32
        (h, w) light over the level halfway between backdrop and subject; their border is its zero.
    strands : ndarray, bool
        (h, w) hair, blades and the like, too thin for white to cross their outline.
    shadow : ndarray, bool
        (h, w) True where the subject's own shadow falls on the backdrop.
    outlines : tuple of ndarray
        Each (N, 2) float64, x, y of the border between subject and backdrop in viewed pixels,
        about evenly spaced, the subject on the right hand when walking along it.
    islands : tuple of Island
        Bright patches inside the subject that are light, or may be; small holes, too.
    spread : ndarray, float64
        (M, B) levels across stretches of the outlines (``profile.spread_along``).
    begins : Begins or None
        Where the subject begins along the outlines; None without any.
    blur_px : float
        Sigma of the lens.
    grid : bool
        Whether the dark lines of a grid run all over the backdrop.
    plate_shift : tuple of float, optional
        (dx, dy) viewed pixels by which the plate was moved to fit; None without a plate.
    """

    label: NDArray[np.uint8]
    fringe: Mask
    backdrop_ev: Floats
    margin: Floats
    strands: Mask
    shadow: Mask
    outlines: tuple[NDArray[np.float64], ...]
    islands: tuple[Island, ...] = ()
    spread: Points = field(default_factory=lambda: NO_SPREAD)
    begins: Begins | None = None
    blur_px: float = USUAL_BLUR_PX
    grid: bool = False
    plate_shift: tuple[float, float] | None = None

    @property
    def backdrop(self) -> Mask:
        """(h, w) True on the backdrop, fringe included."""
        return np.equal(self.label, BACKDROP)

    @property
    def subject(self) -> Mask:
        """(h, w) True on the subject, fringe included."""
        return np.equal(self.label, SUBJECT)

    @property
    def found(self) -> bool:
        """Whether there is a backdrop at all."""
        return bool((self.label == BACKDROP).any())


def find_zones(levels: Levels) -> Zones:
    """Infer the zones of one frame from its levels alone.

    The backdrop is the brightest large smooth surface, continued over everything that carries
    on its slope; its convex face, less the room in sight, tells the subject from the surround.
    """
    levels, grid = levels_without_grid(levels)
    found = find_surface(levels.ev)
    if found is None:
        return no_zones(levels)
    surface, parts, others = found
    margin = _over_halfway(levels.ev, surface)
    bright = (margin > 0) & ~(others & (levels.ev < NOT_WHITE_EV))
    backdrop, large, islands = sort_bright(bright, parts, levels)
    if backdrop.mean() < LEAST_BACKDROP:
        return no_zones(levels)
    face = face_in_sight(levels.ev, surface, large)
    backdrop &= face  # a lamp in the room is no part of it
    if not _lit_for_white(levels.ev, surface, backdrop, face):
        return no_zones(levels)
    dimmed = find_cast_shadow(levels.ev, surface, face)
    if dimmed.any():
        margin, bright = _in_shadow(levels.ev, surface, dimmed, margin, bright)
        backdrop, _, islands = sort_bright(bright, parts, levels)
        backdrop &= face
    subject, backdrop = part_subject(levels.ev, surface, face, backdrop, bright)
    return _assemble(levels, backdrop, subject, surface, margin, dimmed, islands, grid=grid)


def find_zones_by_plate(levels: Levels, alone: Zones, plate: Levels, plate_zones: Zones) -> Zones:
    """Find the zones of a frame whose backdrop is known from a plate of the same size.

    ``alone`` are those of the frame by itself.

    The plate is moved to where the frame shows the same border of the backdrop; what is then
    darker than the plate stands before it.
    """
    levels, grid = levels_without_grid(levels)
    plate = levels_without_grid(plate)[0] if plate_zones.grid else plate
    shift = plate_shift(plate.ev, levels.ev, plate_zones.backdrop)
    lit = plate_zones.backdrop | dim_panels(plate.ev, plate_zones)
    face = moved(lit.astype(np.float32), *shift, how=cv2.INTER_NEAREST) > 0
    light = np.where(lit, plate.ev, plate_zones.backdrop_ev).astype(np.float32)
    surface, parts = level_by_plate(
        levels.ev,
        moved(light, *shift),
        alone.backdrop_ev,
        face,
        alone.backdrop & ~alone.fringe,
        ceiling=levels.ceiling_ev,
        plate_ceiling=plate.ceiling_ev,
    )
    if parts.mean() < LEAST_BACKDROP:
        return no_zones(levels)
    margin = _over_halfway(levels.ev, surface)
    dimmed = find_cast_shadow(levels.ev, surface, face)
    bright = face & (margin > 0)
    if dimmed.any():
        margin, bright = _in_shadow(levels.ev, surface, dimmed, margin, bright)
    backdrop, _, islands = sort_bright(bright, parts, levels, surface)
    subject, backdrop = part_subject(levels.ev, surface, face, backdrop, bright)
    shift_px = (shift[0] * levels.scale, shift[1] * levels.scale)
    return _assemble(
        levels, backdrop, subject, surface, margin, dimmed, islands, shift_px, grid=grid
    )


def dim_panels(ev: Floats, plate: Zones) -> Mask:
    """(h, w) what looks dimly lit before the backdrop of an empty set: it is part of it."""
    dim = (plate.subject & (ev > DIMMEST_EV)).astype(np.uint8)
    thick = cv2.morphologyEx(dim, cv2.MORPH_OPEN, disc(PANEL_PX)) > 0
    large = without_specks(thick, int(LEAST_PANEL * ev.size)).astype(np.uint8)
    return np.asarray((cv2.dilate(large, disc(PANEL_PX)) > 0) & (dim > 0), bool)


def no_zones(levels: Levels) -> Zones:
    """The zones of a frame in which no backdrop was found."""
    shape = levels.ev.shape
    none, nowhere = np.full(shape, np.nan, np.float32), np.zeros(shape, bool)
    return Zones(np.zeros(shape, np.uint8), nowhere, none, none, nowhere, nowhere, ())


def _assemble(
    levels: Levels,
    backdrop: Mask,
    subject: Mask,
    surface: Floats,
    margin: Floats,
    dimmed: Floats,
    islands: list[Island],
    plate_shift: tuple[float, float] | None = None,
    *,
    grid: bool,
) -> Zones:
    light = levels.ev if plate_shift is None else levels.ev - surface
    white_parts = find_white_parts(levels, light, backdrop & ~(dimmed > 0), subject)
    white_parts |= find_washed(levels, backdrop & ~white_parts, subject | white_parts, surface)
    margin = np.where(white_parts, -np.abs(margin), margin)
    past = over_halfway(levels.ev, white_parts, backdrop & ~white_parts)
    told = np.isfinite(past)
    margin, white_parts = np.where(told, past, margin), np.where(told, past < 0, white_parts)
    backdrop, subject = backdrop & ~white_parts, subject | white_parts
    label = np.full(backdrop.shape, SURROUND, np.uint8)
    label[subject] = SUBJECT
    label[backdrop] = BACKDROP
    outlines = find_outlines(levels, backdrop, subject, margin)
    spread = spread_along(levels, outlines)
    begins = where_subject_begins(levels, joined(outlines)) if outlines else None
    core = 2.0 ** median_of(levels.ev, subject) if subject.any() else 0.0
    level = float(np.median(surface[backdrop]))
    blur = _blur(levels, spread, begins, core=core, backdrop_ev=level)
    sigma = blur / levels.scale
    strands, fainter = find_strands(levels.ev, backdrop, subject, sigma)
    cell = max(levels.frame.pattern.shape) // levels.scale
    fringe = find_fringe(label, sigma, cell) | fainter
    strands |= without_specks(subject & ~thick_parts(levels, subject, margin=1.0), LEAST_STRAND_PX)
    return Zones(
        label=label,
        fringe=fringe,
        backdrop_ev=surface,
        margin=margin,
        strands=strands,
        shadow=backdrop & (dimmed > LEAST_SHADOW_EV),
        outlines=outlines,
        islands=tuple(white_islands(levels.white, backdrop, subject, islands)),
        spread=spread,
        begins=begins,
        blur_px=blur,
        plate_shift=plate_shift,
        grid=grid,
    )


def _blur(
    levels: Levels, spread: Points, begins: Begins | None, *, core: float, backdrop_ev: float
) -> float:
    """Sigma of the lens: rims widen the one that is seen, spill all along the outline the other."""
    blurs = lens_blur(spread, core=core, backdrop_ev=backdrop_ev), begins.blur if begins else None
    found = min((b for b in blurs if b is not None), default=USUAL_BLUR_PX)
    widest = max(WIDEST_BLUR[0], WIDEST_BLUR[1] * max(levels.frame.size))
    at_ceiling = backdrop_ev > levels.ceiling_ev - UNDER_CEILING_EV
    return USUAL_BLUR_PX if at_ceiling and found > widest else found


def _over_halfway(ev: Floats, backdrop_ev: Floats) -> Floats:
    """Light over the level halfway between the backdrop and what stands before it there.

    Linear light: the blur of an edge is straight in it, not in stops.
    """
    light = np.exp2(ev)
    dark = (ev < backdrop_ev - 1.5).astype(np.float32)
    size = (4 * max(1, round(max(ev.shape) / 480)) + 1,) * 2
    before, share = cv2.blur(dark * light, size), cv2.blur(dark, size)
    level = np.where(share > 0.02, before / np.maximum(share, 0.02), 0)
    return np.asarray(light - (np.exp2(backdrop_ev) + level) / 2, np.float32)


def _in_shadow(
    ev: Floats, surface: Floats, dimmed: Floats, margin: Floats, bright: Mask
) -> tuple[Floats, Mask]:
    """The light over halfway, and what is bright, where a shadow dims the backdrop."""
    shadow = dimmed > 0
    margin = np.where(shadow, _over_halfway(ev, surface - dimmed), margin)
    return margin, bright | (shadow & (margin > 0))


def _lit_for_white(ev: Floats, surface: Floats, backdrop: Mask, face: Mask) -> bool:
    """Whether a surface was lit to become white: nearly so, or the brightest thing by far.

    The wall of a lit portrait is no backdrop of this kind: the sitter is brighter than it, or
    the rest of the room hardly darker.
    """
    level = median_of(ev, backdrop)
    if level > NEARLY_WHITE_EV:
        return True
    brighter = float((ev > np.maximum(surface, level) + BRIGHTER_EV).mean())
    room = ev[~face]
    room_is_lit = room.size > 0.2 * ev.size and float(np.median(room)) > level - 1.6
    uneven = float(np.subtract(*np.percentile(ev[backdrop], (98, 2)))) > MOST_UNEVEN_EV
    return not (brighter > BRIGHTER_AREA or room_is_lit or uneven)
