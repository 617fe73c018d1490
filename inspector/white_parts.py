"""White parts of the subject that join the backdrop: told by the step in light around them.

A white jacket or a lit patch on the outline may be as white as the backdrop. Where either is under
the ceiling, the two meet in a step; the backdrop's own light changes slowly, but for folds, which
are everywhere, and creases, which are straight.
"""

from __future__ import annotations

import cv2
import numpy as np

from inspector.arrays import Floats, Mask, around, grown
from inspector.levels import Levels
from inspector.outline import tolerance_px
from inspector.seam import goes_on, is_straight

STEP_EV = 0.15
"""Light that changes by so many stops over a few working pixels is a step."""
OVER_PX = 2
"""On either side of a place, working pixels."""
MOST_STEPS = 0.1
"""Where light changes so in a larger part of the backdrop, it hangs in folds."""
LEAST_EV = 0.28
"""A part differs from the backdrop beside it by so many stops."""
SHARP = 0.6
"""A darker part is a shadow where light changes over five working pixels at its border by less than
such a part of the whole difference."""
BESIDE_PX = 12
"""So far from the step the two are compared, working pixels: a strand dims what is near it."""
LEAST_PX = 4.0
"""A thinner part than that, or than the tolerance, is none, working pixels."""
LEAST_SAMPLES = 6
"""Fewer pixels beside a step tell nothing."""
MOST_AREA = 1 / 8
"""A larger part of the backdrop is backdrop: light may fall on it in two pieces."""
LONG, STRAIGHT_PX = 0.2, 1.5
"""A step as long, part of the long side, that leaves a straight line by less, root mean square in
working pixels, is a crease or a joint of the backdrop; so is a shorter one that goes on."""
LEAST_BORDER = 0.08
"""So much of a part's border is shared with the subject it belongs to."""
LEAST_WHITE = 0.9
"""So much of it is paper white; what is less is seen as a short backdrop."""


def find_white_parts(levels: Levels, light: Floats, backdrop: Mask, subject: Mask) -> Mask:
    """(h, w) True where the backdrop is a white part of the subject.

    Parameters
    ----------
    light : ndarray, float32
        (h, w) stops, over the backdrop's own where a plate has shown it. At the ceiling that
        steps where the frame does not: only what steps in both counts.
    backdrop, subject : ndarray, bool
        (h, w) zones of the working picture.
    """
    found = np.zeros(backdrop.shape, bool)
    inner = cv2.erode(backdrop.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    changes = _changes(levels.ev, inner)
    if light is not levels.ev:
        changes = np.minimum(changes, _changes(light, inner))
    steps = changes > STEP_EV
    if not steps.any() or not subject.any() or steps.sum() > MOST_STEPS * inner.sum():
        return found
    pieces = (inner & ~steps).astype(np.uint8)
    _, label, stats, _ = cv2.connectedComponentsWithStats(pieces, connectivity=4)
    area = stats[:, cv2.CC_STAT_AREA]
    area[0] = 0  # what is none
    least = max(LEAST_PX, tolerance_px(levels.frame.size) / levels.scale)
    beside_subject = grown(subject, 3) & ~steps
    inside = np.where(inner, light, np.float32(np.nan))
    _, joined = cv2.connectedComponents(backdrop.astype(np.uint8), connectivity=8)
    for k in np.flatnonzero((area >= least**2) & (area <= MOST_AREA * area.sum())):
        box = around(stats[k], 2 * BESIDE_PX)
        part = label[box] == k
        # What lies beyond a limb is another gap, not the backdrop that a part joins.
        larger = (area[label[box]] > area[k]) & (joined[box] == joined[box][part][0])
        if (
            _thickness(part) >= least
            and levels.white[box][part].mean() >= LEAST_WHITE
            and _shared(part, beside_subject[box]) >= LEAST_BORDER
            and abs(difference := _difference(light[box], part, larger)) >= LEAST_EV
            and not _is_shadow(difference, changes[box], part, larger)
            and not _is_crease(part, larger, (box[1].start, box[0].start), inside)
        ):
            found[box] |= grown(part, OVER_PX + 1)
    return found & backdrop


def _changes(ev: Floats, inside: Mask) -> Floats:
    """(h, w) stops by which light changes around a place within a zone: across, down or aslant."""
    light = np.where(inside, ev, np.nan).astype(np.float32)
    changes = np.zeros(ev.shape, np.float32)
    whole, first, last = slice(None), slice(None, -2 * OVER_PX), slice(2 * OVER_PX, None)
    for one, other in (
        ((whole, first), (whole, last)),
        ((first, whole), (last, whole)),
        ((first, first), (last, last)),
        ((first, last), (last, first)),
    ):
        between = tuple(whole if s == whole else slice(OVER_PX, -OVER_PX) for s in one)
        # What is NaN does not change.
        changes[between] = np.fmax(changes[between], np.abs(light[one] - light[other]))
    return np.where(inside, changes, np.float32(0))


def _thickness(part: Mask) -> float:
    """Working pixels from its border to its middle."""
    padded = np.pad(part.astype(np.uint8), 1)
    return float(cv2.distanceTransform(padded, cv2.DIST_L2, 3).max())


def _shared(part: Mask, near: Mask) -> float:
    """How much of the border of a part lies near something."""
    border = grown(part, 1) & ~part
    return float(near[border].mean())


def _difference(ev: Floats, part: Mask, backdrop: Mask) -> float:
    """Stops by which a part is brighter than the backdrop beside it; 0 where none is beside it."""
    beside = backdrop & grown(part, BESIDE_PX)
    within = part & grown(beside, BESIDE_PX)
    if min(np.count_nonzero(beside), np.count_nonzero(within)) < LEAST_SAMPLES:
        return 0.0
    return float(np.median(ev[within]) - np.median(ev[beside]))


def _is_shadow(difference: float, changes: Floats, part: Mask, larger: Mask) -> bool:
    """Whether a part is darker than the backdrop by a ``difference`` that comes about slowly.

    A shadow has a penumbra; what stands before the backdrop ends as sharply as the lens lets it.
    """
    near = 2 * OVER_PX + 1
    between = grown(part, near) & grown(larger, near) & (changes > STEP_EV)
    if difference > 0 or not between.any():
        return False
    return bool(np.median(changes[between]) < SHARP * -difference)


def _is_crease(part: Mask, larger: Mask, corner: tuple[int, int], light: Floats) -> bool:
    """Whether what parts it from the larger backdrop is one straight line that is long or goes on.

    ``corner`` is x, y of both in the picture, whose ``light`` (h, w), stops, is NaN off the
    backdrop; its own slope is far from a step.
    """
    rim = part & ~(cv2.erode(part.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0)
    y, x = np.nonzero(rim & grown(larger, 2 * OVER_PX + 3))
    if len(x) < 2:
        return False
    points = np.stack([x, y], axis=1).astype(np.float64) + corner
    if not is_straight(points, STRAIGHT_PX):
        return False
    return bool(np.hypot(*np.ptp(points, axis=0)) >= LONG * max(light.shape)) or goes_on(
        light, points
    )
