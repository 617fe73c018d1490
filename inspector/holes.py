"""Bright patches: the backdrop, the backdrop seen through a hole, or light on the subject."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from inspector.arrays import Floats, Mask
from inspector.evidence import OPEN, SURE, main_part, weight
from inspector.levels import Levels
from inspector.shape import is_thin

LEAST_PX = 3
"""Smaller patches are left to what is around them, working pixels."""
LARGEST_ISLAND = 0.02
"""A larger part of the picture is the backdrop itself, uneven and behind a rim though it be."""
CUT_OFF = 0.002
"""A part of the backdrop as large that reaches the picture's border is no island, dark though it
be: of 158 lit places on the frames of several simulators six reach it, none of them so large."""
SMALL_HOLE = 0.001
"""A hole so small, part of the picture, is judged again by its edge."""
LIT_SHARE = 0.25
"""Part of a working pixel's cells that are paper white where white light lies on the subject."""
NEARBY, LIKE = 0.05, 1 / 20
"""Patches so near each other, part of the long side, keep company, where one is no smaller than
such a part of the other."""
AROUND, RING = np.ones((3, 3), np.uint8), cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (13, 13))
"""What is around a patch: beyond its border, within six working pixels."""
WHITE_REACH, LEAST_AROUND = 20, 8
"""White goes on around a small patch, and ends, within so many working pixels, over at least so
many more than its edge takes up."""
EDGE = np.ones((5, 5), np.uint8)
"""What lies so near a patch is its edge."""
LARGE_PART = 0.003
"""A part of the backdrop this much of its largest part shapes its face."""


@dataclass(frozen=True, eq=False)
class Island:
    """A bright patch inside the subject: its box in the working picture, its mask there.

    ``sure`` is False where it may as well be the backdrop seen through a hole, and ``hole`` True
    where by its own looks it is one.
    """

    box: tuple[int, int, int, int]
    mask: Mask
    sure: bool
    hole: bool = False


def sort_bright(
    bright: Mask, parts: Mask, levels: Levels, plate_ev: Floats | None = None
) -> tuple[Mask, Mask, list[Island]]:
    """Bright components: the main one and its like are backdrop, the rest holes or islands.

    Parameters
    ----------
    bright, parts : ndarray, bool
        (h, w) what is nearly as bright as the backdrop, and what surely is it.
    plate_ev : ndarray, float32, optional
        (h, w) stops of the backdrop everywhere, as a plate has shown it.

    Returns
    -------
    tuple
        The mask (h, w) of the backdrop, that of its parts which are not small beside the
        largest, and the islands, with holes so small that their edge judges them again.
    """
    count, label, stats, middle = cv2.connectedComponentsWithStats(
        bright.astype(np.uint8), connectivity=8
    )
    held = np.bincount(label[::2, ::2][parts[::2, ::2]], minlength=count)
    main = int(held[1:].argmax()) + 1
    is_backdrop = np.zeros(count, bool)
    is_backdrop[main] = True
    areas, islands = stats[:, cv2.CC_STAT_AREA], []
    at_border = np.zeros(count, bool)
    at_border[np.concatenate([label[0], label[-1], label[:, 0], label[:, -1]])] = True
    is_hole = (areas > LARGEST_ISLAND * bright.size) | (
        at_border & (4 * held >= CUT_OFF * bright.size)
    )
    is_hole[0] = False
    compared = main_part((is_backdrop | is_hole)[label], levels, plate_ev)
    patches = (areas >= LEAST_PX) & (np.arange(count) != main)
    patches[0] = False
    for i in np.flatnonzero(patches):
        x, y, w, h, area = (int(v) for v in stats[i])
        near = np.hypot(*(middle[patches] - middle[i]).T) < NEARBY * max(levels.ev.shape)
        company = int((near & (areas[patches] >= LIKE * area)).sum()) - 1
        box, mask = (x, y, x + w, y + h), label[y : y + h, x : x + w] == i
        if is_hole[i]:
            found = OPEN
        else:
            amid = bright_around(box, mask, bright)
            found = weight(box, mask, compared, company=company, amid=amid)
        small = area < SMALL_HOLE * levels.ev.size
        is_light = (found < SURE and not is_thin(mask)) or (
            small and white_goes_on(box, mask, bright, levels.white)
        )
        is_backdrop[i] = not is_light  # where it is open, a hole is far more common
        if found < OPEN or small:
            islands.append(Island(box, mask, is_light, found >= OPEN and not is_light))
    large = is_backdrop & (areas >= LARGE_PART * areas[is_backdrop].max())
    return is_backdrop[label], large[label], islands


def white_islands(
    white: Floats, backdrop: Mask, subject: Mask, islands: list[Island]
) -> list[Island]:
    """All that is paper white inside the subject and not joined to the backdrop.

    Joins to the ``islands`` what is white but too dim to be taken for the backdrop at first,
    which happens before a backdrop far over white. ``white`` (h, w) is the part of each working
    pixel's cells that are paper white. Open ones stay as they are: they lie in the backdrop.
    """
    islands = [i for i in islands if _mostly_in(subject if i.sure else backdrop, i)]
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
        found.append(Island((x, y, x + w, y + h), mask, known or not is_thin(mask)))
    return found


def bright_around(box: tuple[int, int, int, int], mask: Mask, bright: Mask) -> float:
    """Part of what is around a bright patch (its box, its mask there) that is ``bright`` (h, w)."""
    x0, y0, x1, y1 = box
    reach = len(RING) // 2
    top, left = max(0, y0 - reach), max(0, x0 - reach)
    other = bright[top : y1 + reach, left : x1 + reach]
    patch = np.zeros(other.shape, np.uint8)
    patch[y0 - top : y1 - top, x0 - left : x1 - left] = mask
    around = (cv2.dilate(patch, RING) > 0) & (cv2.dilate(patch, AROUND) == 0)
    return float(other[around].mean()) if around.any() else 0.0


def white_goes_on(box: tuple[int, int, int, int], mask: Mask, bright: Mask, white: Floats) -> bool:
    """Whether white goes on around a bright patch, over more than its own area, and then ends.

    Of light that fades only the peak may be as bright as a hole; a hole ends within its blur.

    Parameters
    ----------
    box : tuple of int
        x0, y0, x1, y1 of the patch in the working picture.
    mask : ndarray, bool
        (y1 - y0, x1 - x0) the patch in its box.
    bright : ndarray, bool
        (h, w) all that is as bright, the patch included.
    white : ndarray, float32
        (h, w) part of each working pixel's cells that are paper white.
    """
    x0, y0, x1, y1 = box
    top, left = max(0, y0 - WHITE_REACH), max(0, x0 - WHITE_REACH)
    near = np.s_[top : y1 + WHITE_REACH, left : x1 + WHITE_REACH]
    patch = np.zeros(bright[near].shape, bool)
    patch[y0 - top : y1 - top, x0 - left : x1 - left] = mask
    other = bright[near] & ~patch
    lit = patch | (~other & (white[near] >= LIT_SHARE))
    _, label = cv2.connectedComponents(lit.astype(np.uint8), connectivity=8)
    joined = np.isin(label, label[patch])
    edge, beside = (cv2.dilate(m.astype(np.uint8), EDGE) > 0 for m in (patch, other))
    beside[[0, -1]] = beside[:, [0, -1]] = True  # it does not end in sight
    if (joined & beside).any():
        return False
    return bool(np.count_nonzero(joined & ~edge) > max(LEAST_AROUND, int(mask.sum())))


def _mostly_in(zone: Mask, island: Island) -> bool:
    """Whether most of an island lies in a zone; a lamp in the room does not."""
    x0, y0, x1, y1 = island.box
    return bool(zone[y0:y1, x0:x1][island.mask].mean() > 0.5)
