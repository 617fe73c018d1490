"""How far the backdrop goes along a side of its hull from either end, and how it leaves it."""

from __future__ import annotations

import numpy as np

from inspector.arrays import Mask, Points
from inspector.outline import within
from inspector.polygon import reached_along

CLOSE_PX, APART_PX, ANGLE_PX = 1.5, 6.0, 5
"""A body that stands before a side ends the backdrop at an angle: its distance grows from the first
to the second within so many working pixels along the side, as it does from 60 degrees on."""


def met_at_ends(side: Points, near: Mask) -> tuple[int, int]:
    """How far a side (2, 2) has the backdrop ``near`` (h, w) from its start on, and to its end."""
    gap = np.flatnonzero(~reached_along(side, near))
    size = max(2, int(np.hypot(*(side[1] - side[0]))))
    return (int(gap[0]), size - 1 - int(gap[-1])) if gap.size else (size, size)


def leaves_at_an_angle(side: Points, backdrop: Mask) -> tuple[bool, bool]:
    """Whether the backdrop leaves a side (2, 2) so after its start, and likewise before its end."""
    close, apart = (met_at_ends(side, within(backdrop, d)) for d in (CLOSE_PX, APART_PX))
    start, end = (far - near <= ANGLE_PX for near, far in zip(close, apart, strict=True))
    return start, end
