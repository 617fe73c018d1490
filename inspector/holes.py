"""Bright patches: the backdrop, the backdrop seen through a hole, or light on the subject."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask
from inspector.levels import Levels
from inspector.outline import read, read_along, right_hand
from inspector.profile import crossing

HOLE_OFF_EV = 0.14
"""A hole's level differs from the backdrop's by less, in stops."""
HOLE_SLOWER = (1.35, 1.7)
"""Its edge falls less than this many times slower than the outline; beyond the second, surely not
a hole."""
UNEVEN_EV, OVER_NOISE = 0.15, 12.0
"""Light on the subject is uneven by more stops, and by more times its noise; a hole has at most
0.11, but for spokes or hair across it."""
SAME_LEVEL_EV, UNDER_CEILING_EV = 0.04, 0.05
"""A hole is so near the backdrop's level, where the frame can tell it."""
LEAST_TELLING = 100
"""Fewer working pixels are too few for a slow fall to tell light from a gap."""
LARGEST_ISLAND = 0.02
"""A larger part of the picture is the backdrop itself, uneven and behind a rim though it be."""
LEAST_TEXTURE = 25
"""Fewer working pixels show no texture."""
LIT_SHARE = 0.25
"""Part of a working pixel's cells that are paper white where white light lies on the subject."""
THIN = 4.0
"""A white patch so many times larger than the square of its width may be a gap."""
LEAST_DARK, SURE_DARK = 0.2, 0.7
"""Parts of a patch's outline with dark beyond it that say something, and that make it sure."""
LARGE_PART = 0.003
"""A part of the backdrop this much of its largest part shapes its face."""
ENOUGH_POINTS = 1000
"""So many points of an outline tell how its light falls."""
PATCH_PAD = 12
"""How far around a patch its fall is followed, working pixels."""


@dataclass(frozen=True, eq=False)
class Island:
    """A bright patch inside the subject: its box in the working picture, its mask there.

    ``sure`` is False where it may as well be the backdrop seen through a hole.
    """

    box: tuple[int, int, int, int]
    mask: Mask
    sure: bool


def sort_bright(
    bright: Mask, parts: Mask, levels: Levels, backdrop_ev: Floats
) -> tuple[Mask, Mask, list[Island]]:
    """Bright components: the main one and its like are backdrop, the rest holes or islands.

    Returns the mask (h, w) of the backdrop, that of its parts which are not small beside the
    largest, and the islands.
    """
    count, label, stats, _ = cv2.connectedComponentsWithStats(
        bright.astype(np.uint8), connectivity=8
    )
    held = np.bincount(label[::2, ::2][parts[::2, ::2]], minlength=count)
    main = int(held[1:].argmax()) + 1
    falls = edge_falls((label == main).astype(np.uint8), levels.ev)
    clean = float(np.nanmedian(falls)) if np.isfinite(falls).any() else None
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
    areas = stats[:, cv2.CC_STAT_AREA]
    large = is_backdrop & (areas >= LARGE_PART * areas[is_backdrop].max())
    return is_backdrop[label], large[label], islands


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
    off = _level_off(inside, ev - np.minimum(backdrop_ev[rows, cols], levels.ceiling_ev))
    spread, noise = _texture(inside, ev, LARGEST_ISLAND * levels.ev.size)
    if off >= HOLE_OFF_EV or (spread > UNEVEN_EV and spread > OVER_NOISE * noise):
        return 0 if _is_thin(mask) else -1
    falls = edge_falls(inside, ev)
    known = falls[np.isfinite(falls)]
    if clean is None or known.size < max(4, LEAST_DARK * falls.size):
        return 1  # hardly anything dark around it: a gap between strands
    slow = float(np.median(known)) / max(clean, 1.0)
    if slow < HOLE_SLOWER[0]:
        told = float(np.median(ev[inside > 0])) < levels.ceiling_ev - UNDER_CEILING_EV
        return 0 if told and off > SAME_LEVEL_EV else 1
    if _is_thin(mask) or not LEAST_TELLING <= mask.sum() <= LARGEST_ISLAND * levels.ev.size:
        return 0  # slow for another reason: so narrow that it is all blur, or part of a rim
    return -1 if slow > HOLE_SLOWER[1] and known.size > SURE_DARK * falls.size else 0


def _texture(inside: NDArray[np.uint8], ev: Floats, most: float) -> tuple[float, float]:
    """By how many stops a patch, less its rim, is off any smooth slope, and its noise in stops.

    The middle four fifths of what a quadratic leaves; nought where the patch is too small, or of
    more than ``most`` pixels: the backdrop itself may have a hot centre.
    """
    core = cv2.erode(inside, np.ones((5, 5), np.uint8)) > 0
    if not LEAST_TEXTURE <= core.sum() <= most:
        return 0.0, 0.0
    smooth = np.asarray(cv2.blur(ev, (3, 3)), np.float32)
    noise = float((ev - smooth)[core].std())
    y, x = (axis - axis.mean() for axis in np.nonzero(core))
    slopes = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
    value = smooth[core].astype(np.float64)
    left = value - slopes @ np.linalg.lstsq(slopes, value)[0]
    low, high = np.percentile(left, (10, 90))
    return float(high - low), noise


def white_islands(
    white: Floats, backdrop: Mask, subject: Mask, islands: list[Island]
) -> list[Island]:
    """All that is paper white inside the subject and not joined to the backdrop.

    Joins to the ``islands`` what is white but too dim to be taken for the backdrop at first,
    which happens before a backdrop far over white. ``white`` (h, w) is the part of each working
    pixel's cells that are paper white. Open ones stay as they are: they lie in the backdrop.
    """
    lit = subject & (white >= LIT_SHARE)
    by_backdrop = cv2.dilate(backdrop.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    if not (lit & ~by_backdrop).any():
        return islands
    sure = np.zeros(subject.shape, bool)
    for island in islands:
        if island.sure:
            x0, y0, x1, y1 = island.box
            sure[y0:y1, x0:x1] |= island.mask
    found = [island for island in islands if not island.sure]
    count, label, stats, _ = cv2.connectedComponentsWithStats(
        (lit | sure).astype(np.uint8), connectivity=8
    )
    joined = np.zeros(count, bool)
    joined[label[by_backdrop & lit]] = True
    joined[label[sure]] = False
    for i in np.flatnonzero(~joined[1:]) + 1:
        x, y, w, h = (int(v) for v in stats[i, :4])
        mask = label[y : y + h, x : x + w] == i
        known = bool(sure[y : y + h, x : x + w][mask].any())
        found.append(Island((x, y, x + w, y + h), mask, known or not _is_thin(mask)))
    return found


def _is_thin(mask: Mask) -> bool:
    padded = cv2.copyMakeBorder(mask.astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    width = 2 * float(cv2.distanceTransform(padded, cv2.DIST_L2, 3).max())
    return bool(mask.sum() > THIN * width**2)


def _level_off(inside: NDArray[np.uint8], excess: Floats) -> float:
    """Stops by which a patch, less its rim, is off the backdrop's level."""
    core = inside > 0
    for size in (5, 3):
        smaller = cv2.erode(inside, np.ones((size, size), np.uint8)) > 0
        if smaller.sum() >= 12:
            core = smaller
            break
    return abs(float(np.median(excess[core])))


def edge_falls(inside: NDArray[np.uint8], ev: Floats) -> NDArray[np.float64]:
    """(N,) distance over which light falls from a bright patch to the dark, all round it.

    From 0.3 stop under the light just inside to two thirds of the way down (at most four stops),
    in pixels of the picture; NaN where there is no dark.
    """
    contours, _ = cv2.findContours(inside, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    lines = [_thinned(np.asarray(c).reshape(-1, 2)) + 0.5 for c in contours if len(c) >= 6]
    return np.concatenate([np.zeros(0), *(_falls(line, inside, ev) for line in lines)])


def _thinned(line: NDArray[Any]) -> NDArray[np.float64]:
    """Every point of a short line, enough points of a long one."""
    return np.asarray(line[:: 1 + len(line) // ENOUGH_POINTS], np.float64)


def _falls(line: NDArray[np.float64], inside: NDArray[np.uint8], ev: Floats) -> NDArray[np.float64]:
    normal = right_hand(np.concatenate([line, line[:1]]))[:-1]
    solid = inside.astype(np.float32)
    if read(solid, line + 1.5 * normal).sum() > read(solid, line - 1.5 * normal).sum():
        normal = -normal
    steps = np.arange(-4, PATCH_PAD + 0.1, 0.5)
    along = read_along(ev, line, normal, steps).astype(np.float64)
    level = np.minimum(along[:, steps <= 0].max(axis=1), 0.0)
    dark = np.maximum(along.min(axis=1), level - 4)
    high = level - 0.3
    start = crossing(along, steps, high)
    stop = crossing(along, steps, high - 0.6 * (high - dark))
    height, width = ev.shape
    x, y = line[:, 0], line[:, 1]
    framed = (x < 2) | (y < 2) | (x > width - 2) | (y > height - 2)
    return np.where((level - dark > 1.2) & ~framed, stop - start, np.nan)
