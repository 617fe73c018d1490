"""Bright patches: the backdrop, the backdrop seen through a hole, or light on the subject."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask
from inspector.evidence import OPEN, SURE, Evidence, Main, main_part, weigh, weight_beside
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
BESIDE, LEAST_GAP_PX, NO_SMALLER, AS_FORETOLD = 0.03, 60, 4, -1.0
"""So near a patch, part of the long side, a plain gap tells the backdrop's level there: of so many
working pixels, of no less than such a part of the patch, its own level weighing no less."""
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
    count, *found_labels, middle = cv2.connectedComponentsWithStats(
        bright.astype(np.uint8), connectivity=8
    )
    label, stats = (np.asarray(part, np.int32) for part in found_labels)
    held = np.bincount(label[::2, ::2][parts[::2, ::2]], minlength=count)
    main = int(held[1:].argmax()) + 1
    is_backdrop = np.zeros(count, bool)
    is_backdrop[main] = True
    compared = main_part(label == main, levels, plate_ev)
    areas, islands = stats[:, cv2.CC_STAT_AREA], []
    at_border = np.zeros(count, bool)
    at_border[np.concatenate([label[0], label[-1], label[:, 0], label[:, -1]])] = True
    cut_off = at_border & (4 * held >= CUT_OFF * bright.size)
    patches = (areas >= LEAST_PX) & (np.arange(count) != main)
    patches[0] = False
    plain = patches & (cut_off | (areas > LARGEST_ISLAND * levels.ev.size))
    is_backdrop[plain] = True
    found = _weighed(
        label, stats, np.asarray(middle, np.float64), patches, patches & ~plain, compared
    )
    for i, evidence in found.items():
        gap = _gap_beside(i, found, stats, within=BESIDE * max(levels.ev.shape))
        weight = weight_beside(evidence, gap, compared) if gap else evidence.weight
        box, mask = _patch(label, stats[i], i)
        is_light = weight < SURE and not is_thin(mask)
        is_backdrop[i] = not is_light  # where it is open, a hole is far more common
        if weight < OPEN or areas[i] < SMALL_HOLE * levels.ev.size:
            islands.append(Island(box, mask, is_light, weight >= OPEN))
    large = is_backdrop & (areas >= LARGE_PART * areas[is_backdrop].max())
    return is_backdrop[label], large[label], islands


def _weighed(
    label: NDArray[np.int32],
    stats: NDArray[np.int32],
    middle: NDArray[np.float64],
    patches: Mask,
    doubted: Mask,
    main: Main,
) -> dict[int, Evidence]:
    """What speaks for a hole, of each labelled patch that is ``doubted``; both masks by label."""
    area, found = stats[:, cv2.CC_STAT_AREA], {}
    for i in map(int, np.flatnonzero(doubted)):
        near = np.hypot(*(middle[patches] - middle[i]).T) < NEARBY * max(label.shape)
        company = int((near & (area[patches] >= LIKE * area[i])).sum()) - 1
        found[i] = weigh(*_patch(label, stats[i], i), main, company)
    return found


def _patch(
    label: NDArray[np.int32], stats: NDArray[np.int32], number: int
) -> tuple[tuple[int, int, int, int], Mask]:
    """Box and mask of a labelled patch."""
    x, y, w, h, _ = (int(v) for v in stats)
    return (x, y, x + w, y + h), label[y : y + h, x : x + w] == number


def _gap_beside(
    patch: int, found: dict[int, Evidence], stats: NDArray[np.int32], *, within: float
) -> Evidence | None:
    """The nearest plain gap that a patch may be compared with."""
    if found[patch].weight >= OPEN:
        return None
    area = stats[:, cv2.CC_STAT_AREA]
    gaps = [
        i
        for i, evidence in found.items()
        if evidence.weight >= OPEN
        and evidence.of_level >= AS_FORETOLD
        and area[i] >= max(LEAST_GAP_PX, area[patch] / NO_SMALLER)
    ]
    first, last = stats[:, :2], stats[:, :2] + stats[:, 2:4]
    apart = np.maximum(np.maximum(first[gaps] - last[patch], first[patch] - last[gaps]), 0)
    distance = np.hypot(*apart.T)
    return found[gaps[distance.argmin()]] if (distance < within).any() else None


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


def _mostly_in(zone: Mask, island: Island) -> bool:
    """Whether most of an island lies in a zone; a lamp in the room does not."""
    x0, y0, x1, y1 = island.box
    return bool(zone[y0:y1, x0:x1][island.mask].mean() > 0.5)
