"""Backdrop, subject and surround: which part of the picture is what."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.face import backdrop_face
from inspector.levels import Levels
from inspector.outline import find_outlines, read, right_hand
from inspector.profile import crossing, sharpest_blur

SURROUND, BACKDROP, SUBJECT = 0, 1, 2
"""Values of a zone map, also of ``--mask-out`` files."""

Mask = NDArray[np.bool_]
Floats = NDArray[np.float32]

COARSE_SIDE = 480
"""Long side of the picture on which regions are found, coarse pixels."""
SMOOTH_SLOPE = 0.1
"""Steepest slope within a lit surface, stops per coarse pixel; an edge is many times steeper."""
LEAST_BACKDROP = 0.02
"""Smallest share of the picture that makes a backdrop."""
DARKEST_BACKDROP_EV = -3.5
"""A surface darker than this was not lit to become white."""
STEP_EV = 0.6
"""Largest difference between two parts of one backdrop, once its slope is taken off, stops."""
SEAM_EV = 0.9
"""A dark line no deeper than this is a seam of the diffuser, not a subject, stops."""
RIM_PX = 3
"""Slivers no wider than this along the face's rim belong to the surround, working pixels."""
HOLE_OFF_EV = 0.2
"""A hole's level differs from the backdrop's by less, in stops."""
HOLE_SLOWER = (1.35, 1.7)
"""Its edge falls less than this many times slower than the outline; beyond the second, surely not
a hole."""
PATCH_PAD = 12
"""How far around a patch its fall is followed, working pixels."""
REACH = 0.06
"""How far the backdrop's level is continued smoothly, part of the long side."""


@dataclass(frozen=True, eq=False)
class Island:
    """A bright patch inside the subject: its box in the working picture, its mask there.

    ``sure`` is False where it may as well be the backdrop seen through a hole.
    """

    box: tuple[int, int, int, int]
    mask: Mask
    sure: bool


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
    outlines : tuple of ndarray
        Each (N, 2) float64, x, y of the border between subject and backdrop in viewed pixels,
        about evenly spaced, the subject on the right hand when walking along it.
    islands : tuple of Island
        Bright patches inside the subject that are not holes.
    plate_shift : tuple of float, optional
        (dx, dy) viewed pixels by which the plate was moved to fit; None without a plate.
    """

    label: NDArray[np.uint8]
    fringe: Mask
    backdrop_ev: Floats
    outlines: tuple[NDArray[np.float64], ...]
    islands: tuple[Island, ...] = ()
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
    on its slope; its convex face tells the subject from the surround.
    """
    coarse_ev, factor = _coarse(levels.ev)
    seed = _seed(coarse_ev)
    if seed is None:
        return _nothing(levels)
    surface, parts = _grow(coarse_ev, seed)
    backdrop_ev = _enlarge(surface, levels.ev)
    cut = _cut(levels.ev, backdrop_ev, factor)
    bright = levels.ev > cut
    backdrop, islands = _sort_bright(bright, _enlarge_mask(parts, levels.ev), levels, backdrop_ev)
    if backdrop.mean() < LEAST_BACKDROP:
        return _nothing(levels)
    face = backdrop_face(backdrop)
    subject = _subject(face & ~backdrop, face, levels.ev, backdrop_ev)
    backdrop |= face & ~subject & ~bright & (levels.ev > backdrop_ev - SEAM_EV)
    label = np.where(backdrop, BACKDROP, np.where(subject, SUBJECT, SURROUND)).astype(np.uint8)
    # Linear light: the blur of an edge is straight there, not in stops.
    margin = np.exp2(levels.ev) - np.exp2(cut)
    outlines = find_outlines(levels, backdrop, subject, margin)
    fringe = _fringe(label, sharpest_blur(levels, outlines) / levels.scale)
    return Zones(label, fringe, backdrop_ev, outlines, islands=tuple(islands))


def _nothing(levels: Levels) -> Zones:
    shape = levels.ev.shape
    none = np.full(shape, np.nan, np.float32)
    return Zones(np.zeros(shape, np.uint8), np.zeros(shape, bool), none, ())


def _fringe(label: NDArray[np.uint8], sigma: float) -> Mask:
    """True within three sigma of the blur, and at least one pixel, of any border of zones."""
    reach = max(1, round(3 * sigma + 0.25))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1,) * 2)
    return np.not_equal(cv2.dilate(label, kernel), cv2.erode(label, kernel))


def _coarse(ev: Floats) -> tuple[Floats, int]:
    """Stops of the area-averaged light on the coarse picture, and the shrinking factor."""
    factor = max(1, round(max(ev.shape) / COARSE_SIDE))
    size = (ev.shape[1] // factor, ev.shape[0] // factor)
    whole = np.exp2(ev[: size[1] * factor, : size[0] * factor])
    light = cv2.resize(whole, size, interpolation=cv2.INTER_AREA)
    return np.log2(light, dtype=np.float32), factor


def slope(ev: Floats) -> Floats:
    """Steepness of a picture in stops per pixel (Sobel's derivative)."""
    dx = cv2.Sobel(ev, cv2.CV_32F, 1, 0, scale=1 / 8, borderType=cv2.BORDER_REPLICATE)
    dy = cv2.Sobel(ev, cv2.CV_32F, 0, 1, scale=1 / 8, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(cv2.magnitude(dx, dy), np.float32)


def _smooth_parts(ev: Floats) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Connected parts without an edge in them, and their statistics (OpenCV's)."""
    quiet = cv2.GaussianBlur(ev, (0, 0), 0.7)
    smooth = (slope(quiet) < SMOOTH_SLOPE).astype(np.uint8)
    _, label, stats, _ = cv2.connectedComponentsWithStats(smooth, connectivity=4)
    return np.asarray(label, np.int32), np.asarray(stats, np.int32)


def _seed(ev: Floats) -> tuple[NDArray[np.int32], int] | None:
    """The smooth parts and the one that gives the most light: where the backdrop begins."""
    label, stats = _smooth_parts(ev)
    light = np.bincount(label.ravel(), weights=np.exp2(ev).ravel())
    light[0] = 0
    best = int(light.argmax())
    if best == 0 or stats[best, cv2.CC_STAT_AREA] < LEAST_BACKDROP / 2 * ev.size:
        return None
    if np.median(ev[label == best]) < DARKEST_BACKDROP_EV:
        return None
    return label, best


def _grow(ev: Floats, seed: tuple[NDArray[np.int32], int]) -> tuple[Floats, Mask]:
    """Join to the seed every smooth part that carries on its level; the level everywhere."""
    label, first = seed
    joined = {first}
    while True:
        mask = np.isin(label, list(joined))
        surface = continue_smoothly(ev, mask, REACH)
        difference = np.abs(ev - surface)
        count = np.bincount(label.ravel())
        mean = np.bincount(label.ravel(), weights=difference.ravel()) / np.maximum(count, 1)
        more = {int(i) for i in np.flatnonzero((mean < STEP_EV) & (count >= 4))} - joined - {0}
        if not more:
            return surface, mask
        joined |= more


def continue_smoothly(ev: Floats, mask: Mask, reach: float) -> Floats:
    """Continue a surface over the whole picture by normalised convolution.

    Near the mask a narrow Gaussian follows it closely, further off ever wider ones carry on
    (Knutsson and Westin, normalised convolution, CVPR 1993).
    """
    weight = mask.astype(np.float32)
    value = np.where(mask, ev, 0).astype(np.float32)
    result = np.full(ev.shape, np.float32(np.mean(ev[mask])))
    for times in (4, 2, 1, 0.5, 0.25):
        sigma = max(1.0, times * reach * max(ev.shape))
        below, above = _wide_blur(weight, sigma), _wide_blur(value, sigma)
        known = below > 1e-4
        trust = np.where(known, np.clip(below / 0.3, 0, 1), 0)
        result = trust * above / np.maximum(below, 1e-4) + (1 - trust) * result
    return np.asarray(result, np.float32)


def _wide_blur(picture: Floats, sigma: float) -> Floats:
    """Gaussian blur; a wide one is done on a smaller picture."""
    height, width = picture.shape
    factor = max(1, int(sigma / 3))
    small = (max(1, width // factor), max(1, height // factor))
    shrunk = cv2.resize(picture, small, interpolation=cv2.INTER_AREA)
    blurred = cv2.GaussianBlur(shrunk, (0, 0), sigma / factor, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(cv2.resize(blurred, (width, height)), np.float32)


def _cut(ev: Floats, backdrop_ev: Floats, factor: int) -> Floats:
    """Stops of the halfway level, in linear light, between backdrop and what stands before it."""
    dark = ev < backdrop_ev - 1.5
    if not dark.any():
        return backdrop_ev - 1
    before = cv2.boxFilter(np.where(dark, np.exp2(ev), 0), -1, (4 * factor + 1,) * 2)
    share = cv2.boxFilter(dark.astype(np.float32), -1, (4 * factor + 1,) * 2)
    level = np.where(share > 0.02, before / np.maximum(share, 0.02), 0)
    halfway = (np.exp2(backdrop_ev) + level) / 2
    return np.asarray(np.log2(np.maximum(halfway, 2.0**-12)), np.float32)


def _sort_bright(
    bright: Mask, parts: Mask, levels: Levels, backdrop_ev: Floats
) -> tuple[Mask, list[Island]]:
    """Bright components: the main one and its like are backdrop, the rest holes or islands."""
    count, label, stats, _ = cv2.connectedComponentsWithStats(
        bright.astype(np.uint8), connectivity=8
    )
    held = np.bincount(label.ravel(), weights=parts.ravel(), minlength=count)
    main = int(held[1:].argmax()) + 1
    clean = edge_fall((label == main).astype(np.uint8), levels.ev)
    is_backdrop = np.zeros(count, bool)
    is_backdrop[main] = True
    islands = []
    for i in range(1, count):
        x, y, w, h, area = (int(v) for v in stats[i])
        if i == main or area < 3:
            continue
        mask = label[y : y + h, x : x + w] == i
        likeness = _hole_likeness((x, y, x + w, y + h), mask, levels, backdrop_ev, clean)
        is_backdrop[i] = likeness >= 0  # where it is open, a hole is far more common
        if likeness <= 0:
            islands.append(Island((x, y, x + w, y + h), mask, likeness < 0))
    return is_backdrop[label], islands


def _hole_likeness(
    box: tuple[int, int, int, int],
    mask: Mask,
    levels: Levels,
    backdrop_ev: Floats,
    clean: float | None,
) -> int:
    """1 if a bright patch is the backdrop seen through a hole, -1 if surely light, 0 if open.

    A hole has the backdrop's level and an edge as sharp as the rest of the outline; light that
    lies on the subject falls off slowly, or differs in level.
    """
    pad = PATCH_PAD
    (x0, y0, x1, y1), (height, width) = box, levels.ev.shape
    rows, cols = slice(max(0, y0 - pad), y1 + pad), slice(max(0, x0 - pad), x1 + pad)
    ev = levels.ev[rows, cols]
    inside = np.zeros((rows.stop - rows.start, cols.stop - cols.start), np.uint8)
    inside = inside[: min(rows.stop, height) - rows.start, : min(cols.stop, width) - cols.start]
    top, left = y0 - rows.start, x0 - cols.start
    inside[top : top + y1 - y0, left : left + x1 - x0] = mask
    off = _level_off(inside, ev - backdrop_ev[rows, cols])
    fall = edge_fall(inside, ev)
    if fall is None or clean is None:  # nothing dark around it: a gap between strands
        return 1 if off < HOLE_OFF_EV else 0
    slow = fall / max(clean, 1.0)
    if off < HOLE_OFF_EV and slow < HOLE_SLOWER[0]:
        return 1
    return 0 if off < HOLE_OFF_EV and slow < HOLE_SLOWER[1] else -1


def _level_off(inside: NDArray[np.uint8], excess: Floats) -> float:
    """Stops by which a patch, less its rim, is off the backdrop's level."""
    core = inside > 0
    for size in (5, 3):
        smaller = cv2.erode(inside, np.ones((size, size), np.uint8)) > 0
        if smaller.sum() >= 12:
            core = smaller
            break
    return abs(float(np.median(excess[core])))


def edge_fall(inside: NDArray[np.uint8], ev: Floats) -> float | None:
    """Median distance over which light falls from a bright patch to the dark around it.

    From 0.3 stop under the light just inside to two thirds of the way down (at most four stops),
    in pixels of the picture; None where there is hardly any dark around it.
    """
    contours, _ = cv2.findContours(inside, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    falls = [_falls(c.reshape(-1, 2) + 0.5, inside, ev) for c in contours if len(c) >= 6]
    every = np.concatenate(falls) if falls else np.zeros(0)
    known = every[np.isfinite(every)]
    return float(np.median(known)) if known.size >= max(4, 0.2 * every.size) else None


def _falls(line: NDArray[np.float64], inside: NDArray[np.uint8], ev: Floats) -> NDArray[np.float64]:
    normal = right_hand(np.concatenate([line, line[:1]]))[:-1]
    solid = inside.astype(np.float32)
    if read(solid, line + 1.5 * normal).sum() > read(solid, line - 1.5 * normal).sum():
        normal = -normal
    steps = np.arange(-4, PATCH_PAD + 0.1, 0.5)
    along = read(ev, line[:, None] + steps[:, None] * normal[:, None]).astype(np.float64)
    level = np.minimum(along[:, steps <= 0].max(axis=1), 0.0)
    dark = np.maximum(along.min(axis=1), level - 4)
    high = level - 0.3
    start = crossing(along, steps, high)
    stop = crossing(along, steps, high - 0.6 * (high - dark))
    height, width = ev.shape
    x, y = line[:, 0], line[:, 1]
    framed = (x < 2) | (y < 2) | (x > width - 2) | (y > height - 2)
    return np.where((level - dark > 1.2) & ~framed, stop - start, np.nan)


def _subject(before: Mask, face: Mask, ev: Floats, backdrop_ev: Floats) -> Mask:
    """What stands before the backdrop: no diffuser seams, no slivers along the face's rim."""
    height, width = face.shape
    framed = cv2.copyMakeBorder(face.astype(np.uint8), 8, 8, 8, 8, cv2.BORDER_REPLICATE)
    distance = cv2.distanceTransform(framed, cv2.DIST_L2, 3)[8 : 8 + height, 8 : 8 + width]
    inner = (before & (distance > RIM_PX)).astype(np.uint8)
    _, label, stats, _ = cv2.connectedComponentsWithStats(inner, connectivity=8)
    depth = np.zeros(stats.shape[0], np.float32)
    np.maximum.at(depth, label.ravel(), (backdrop_ev - ev).ravel())
    area = stats[:, cv2.CC_STAT_AREA]
    keep = (depth > SEAM_EV) & (area >= max(4, 2e-5 * ev.size))
    keep[0] = False
    kept = keep[label]
    near = cv2.dilate(kept.astype(np.uint8), np.ones((2 * RIM_PX + 3,) * 2, np.uint8)) > 0
    return kept | (before & (distance <= RIM_PX) & near)


def _enlarge(coarse: Floats, like: Floats) -> Floats:
    size = (like.shape[1], like.shape[0])
    return np.asarray(cv2.resize(coarse, size, interpolation=cv2.INTER_LINEAR), np.float32)


def _enlarge_mask(coarse: Mask, like: Floats) -> Mask:
    size = (like.shape[1], like.shape[0])
    return cv2.resize(coarse.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0


def zone_mask(zones: Zones, levels: Levels) -> NDArray[np.uint8]:
    """(H, W) uint8 zones of the whole picture as viewed, the size of the frame."""
    width, height = levels.frame.size
    x0, y0 = levels.origin
    h, w = zones.label.shape
    full = cv2.resize(
        zones.label, (w * levels.scale, h * levels.scale), interpolation=cv2.INTER_NEAREST
    )
    right, bottom = width - x0 - full.shape[1], height - y0 - full.shape[0]
    return np.pad(full, ((y0, bottom), (x0, right)), mode="edge")
