"""A fold or a shadow on the backdrop: darker than it, not deeply, and without a sharp edge."""

from __future__ import annotations

import cv2
import numpy as np

from inspector.arrays import Floats, Mask
from inspector.surface import slope

DEEPEST_EV = 2.0
"""What is darker than the backdrop by more stops is no shade on it."""
STEEP, NEAR_PX = 0.2, 9
"""An edge is steeper, stops per working pixel; so wide a square around it is near one."""
LEAST_OPEN = 0.75
"""So much of its border is shared with the lit backdrop: light that falls slowly over the edge of
the subject shares one side only."""
LEAST_PX = 12
"""Smaller parts stay what they are, working pixels."""


def find_shade(ev: Floats, backdrop_ev: Floats, before: Mask) -> Mask:
    """(h, w) True on what only looks as if it stood before the backdrop.

    Parameters
    ----------
    ev, backdrop_ev : ndarray, float32
        (h, w) stops, and those of the backdrop there.
    before : ndarray, bool
        (h, w) what is darker than the backdrop.
    """
    shallow = before & (ev > backdrop_ev - DEEPEST_EV)
    if np.count_nonzero(shallow) < LEAST_PX:
        return np.zeros_like(before)
    steep = slope(np.asarray(cv2.GaussianBlur(ev, (0, 0), 1.0), np.float32)) > STEEP
    near_edge = _within_a_square(steep)
    gentle = (shallow & ~near_edge).astype(np.uint8)
    count, label, stats, _ = cv2.connectedComponentsWithStats(gentle, connectivity=8)
    shade = np.zeros(count, bool)
    for k in np.flatnonzero(stats[:, cv2.CC_STAT_AREA] >= LEAST_PX):
        if k == 0:
            continue
        x, y, w, h = (int(v) for v in stats[k, :4])
        around = np.s_[max(0, y - 1) : y + h + 1, max(0, x - 1) : x + w + 1]
        part = label[around] == k
        ring = (cv2.dilate(part.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0) & ~part
        shade[k] = bool(ring.any()) and np.mean(~before[around][ring]) >= LEAST_OPEN
    # Up to the edge of the subject that stands before it.
    return _within_a_square(shade[label]) & shallow & ~steep


def _within_a_square(mask: Mask) -> Mask:
    return cv2.dilate(mask.astype(np.uint8), np.ones((NEAR_PX, NEAR_PX), np.uint8)) > 0
