"""The backdrop's own tint: a wall is rarely quite neutral, nor is a tube's light."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from inspector.levels import RESPONDS, Levels
from inspector.zones import Zones

LEAST_PIXELS = 60
"""Fewer working pixels in which nothing clips teach nothing."""
BORDER_EV = (-1.6, -0.15)
"""Stops between which the blur along the backdrop's borders is nearly all its own light."""
STRONGEST = 1.3
"""A stronger tint than this, as a factor, is not that of a white surface."""


def backdrop_tint(levels: Levels, zones: Zones) -> NDArray[np.float64]:
    """(C,) rendered level of each channel over that of green, on the backdrop.

    Learned where on the backdrop nothing clips, else from the blur along its borders, which
    passes through every level below white; ones (neutral) where there is neither.
    """
    low, high = BORDER_EV
    border = zones.fringe & (levels.ev > low) & (levels.ev < high)
    for where in (zones.backdrop & ~zones.fringe, border):
        tint = _tint(levels, where)
        if tint is not None and np.all((tint < STRONGEST) & (tint > 1 / STRONGEST)):
            return tint
    return np.ones(len(levels.frame.channels))


def _tint(levels: Levels, where: NDArray[np.bool_]) -> NDArray[np.float64] | None:
    rendered = levels.rendered[where]
    responds = (rendered < RESPONDS * levels.top).all(axis=-1)
    rendered = rendered[responds & (rendered > 0.1).all(axis=-1)]
    if len(rendered) < LEAST_PIXELS:
        return None
    green = rendered[:, [name[0] in "GL" for name in levels.frame.channels]].mean(axis=1)
    # The ratio of sums, not of pixels: along a border the channels' sites lie side by side.
    return np.asarray(rendered.sum(axis=0) / green.sum(), np.float64)
