"""What a lit surface goes on to past a soft fall of light, such as the penumbra of a flag."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask, disc, grown

LEAST_SOFT, THICK_PX = 0.005, 5
"""Such a part is so large a part of the picture where it is twice as thick as the second, coarse
pixels: light that creeps over an edge is narrower."""
MOST_WITHIN = 0.5
"""No larger part of it lies within the hull of the rest: there it may be the subject's shadow."""
BESIDE_PX = 6
"""Its border is looked at so far from the rest of the surface, coarse pixels."""
SHARP_PX, DARK_EV, DARK_AROUND = (2, 3), 2.0, 0.9
"""It ends where, between so many coarse pixels further out, it is darker by so many stops, along
such a part of its border."""


def past_soft_fall(ev: Floats, soft: Mask, surface: Mask) -> Mask:
    """(h, w) where a surface goes on past a soft fall of light, and ends sharply in the dark.

    Into the shadow of a flag, or a corner of the softbox. Light that falls so over a subject fades.

    Parameters
    ----------
    ev : ndarray, float32
        (h, w) stops on the coarse picture.
    soft : ndarray, bool
        (h, w) where it is lit, and its slope not that of an edge.
    surface : ndarray, bool
        (h, w) the surface as far as it is known.
    """
    left = (soft & ~surface).astype(np.uint8)
    _, label, stats, _ = cv2.connectedComponentsWithStats(left)
    large = stats[:, cv2.CC_STAT_AREA] >= LEAST_SOFT * ev.size
    large[0] = False
    found = np.zeros_like(surface)
    parts = np.unique(label[grown(surface, 1) & large[label]]).tolist()
    if not parts:
        return found
    beside, within = cv2.dilate(surface.astype(np.uint8), disc(BESIDE_PX)) > 0, _hull(surface)
    for i in parts:
        part = (label == i).astype(np.uint8)
        if within[part > 0].mean() > MOST_WITHIN:
            continue
        thick = cv2.morphologyEx(part, cv2.MORPH_OPEN, disc(THICK_PX))
        if np.count_nonzero(thick) >= LEAST_SOFT * ev.size and _ends_sharply(ev, part, beside):
            found |= part > 0
    return found


def _hull(mask: Mask) -> Mask:
    """(h, w) the convex hull of a mask."""
    corners = cv2.convexHull(cv2.findNonZero(mask.astype(np.uint8)))
    return cv2.fillConvexPoly(np.zeros(mask.shape, np.uint8), corners, 1) > 0


def _ends_sharply(ev: Floats, part: NDArray[np.uint8], beside: Mask) -> bool:
    """Whether a part ends in the dark as sharply as the lens lets it, but for its ``beside``."""
    near, far = (cv2.dilate(part, disc(px)) > 0 for px in SHARP_PX)
    border = far & ~near & ~beside
    level = cv2.dilate(np.where(part, ev, ev.min()), disc(SHARP_PX[1]))
    return bool(border.any() and (ev < level - DARK_EV)[border].mean() >= DARK_AROUND)
