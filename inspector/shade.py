"""A fold or a shadow on the backdrop: darker than it, not deeply, and without a sharp edge."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask
from inspector.surface import slope

DEEPEST_EV = 3.5
"""What is darker than the backdrop by more stops is no shade on it."""
STEEP, NEAR_PX = 0.2, 9
"""An edge is steeper, stops per working pixel; so wide a square around it is near one."""
LEAST_OPEN = 0.75
"""So much of its border is shared with the lit backdrop: light that falls slowly over the edge of
the subject shares one side only."""
LONG = 0.12
"""A fold goes on for so long, part of the picture's long side; spill in the end of a gap does
not."""
AS_DARK_EV = 0.25
"""Shorter parts that lie as far under the backdrop belong to it: a limb stands between."""
LEAST_PX = 12
"""Smaller parts stay what they are, working pixels."""


def find_shade(ev: Floats, backdrop_ev: Floats, before: Mask, face: Mask) -> Mask:
    """(h, w) True on what only looks as if it stood before the backdrop.

    Parameters
    ----------
    ev, backdrop_ev : ndarray, float32
        (h, w) stops, and those of the backdrop there.
    before, face : ndarray, bool
        (h, w) what is darker than the backdrop, and its whole face: where that ends nobody stands.
    """
    shallow = before & (ev > backdrop_ev - DEEPEST_EV)
    if np.count_nonzero(shallow) < LEAST_PX:
        return np.zeros_like(before)
    steep = slope(np.asarray(cv2.GaussianBlur(ev, (0, 0), 1.0), np.float32)) > STEEP
    gentle = (shallow & ~_within_a_square(steep)).astype(np.uint8)
    count, *found, _ = cv2.connectedComponentsWithStats(gentle, connectivity=8)
    label, stats = (np.asarray(each, np.int32) for each in found)
    large = np.flatnonzero(stats[:, cv2.CC_STAT_AREA] >= LEAST_PX)
    inner = ~_within_a_square(_within_a_square(~face))
    parts = [int(k) for k in large if k and _is_open(int(k), label, stats[k], before, inner)]
    dark = {k: float(np.median((backdrop_ev - ev)[label == k])) for k in parts}
    sides = stats[:, (cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT)].max(axis=1)
    folds = [dark[k] for k in parts if sides[k] >= LONG * max(ev.shape)]
    shade = np.zeros(count, bool)
    shade[[k for k in parts if any(abs(dark[k] - fold) < AS_DARK_EV for fold in folds)]] = True
    # Up to the edge of the subject that stands before it.
    return _within_a_square(shade[label]) & shallow & ~steep


def _is_open(
    k: int, label: NDArray[np.int32], stats: NDArray[np.int32], before: Mask, inner: Mask
) -> bool:
    """Whether a component borders the lit backdrop nearly all around, away from its face's end."""
    x, y, w, h = (int(v) for v in stats[:4])
    around = np.s_[max(0, y - 1) : y + h + 1, max(0, x - 1) : x + w + 1]
    part = label[around] == k
    ring = (
        (cv2.dilate(part.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0) & ~part & inner[around]
    )
    return bool(ring.any()) and float(np.mean(~before[around][ring])) >= LEAST_OPEN


def _within_a_square(mask: Mask) -> Mask:
    return cv2.dilate(mask.astype(np.uint8), np.ones((NEAR_PX, NEAR_PX), np.uint8)) > 0
