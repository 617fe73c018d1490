"""By how many stops the exposure may grow before white reaches a place."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Points
from inspector.levels import WHITE, Levels
from inspector.outline import mean_along
from inspector.profile import read_sites

UNSETTLED_PX = 0.5
"""So much further in the true outline may lie where the backdrop is at the ceiling, pixels."""


def headroom_at(
    levels: Levels, points: Points, inward: Points, line: NDArray[np.intp]
) -> tuple[Points, Points]:
    """(N,) stops up to white from the level at points, and from that a little further in.

    A parabola fitted to the stops of the sites around there gives both.

    Parameters
    ----------
    points, inward : ndarray, float64
        (N, 2) viewed pixels, and unit vectors into the subject.
    line : ndarray, intp
        (N,) which outline a point belongs to: neighbours are averaged.
    """
    sites = read_sites(levels, points, inward, np.arange(-1.5, 1.6, 0.5))
    stops = np.log2(np.clip(sites.rendered, 2.0**-10, 2.0**6)) - np.log2(WHITE)
    level, further = _level_at(sites.distance, stops, line, UNSETTLED_PX)
    return -level, -further


def _level_at(
    distance: Floats, stops: Floats, line: NDArray[np.intp], further: float
) -> tuple[Points, Points]:
    """(N,) values at distance zero and further on of parabolas fitted to (N, K) samples.

    Light falls off in a curve: a straight line would lie above it in the middle.
    """
    known = np.isfinite(stops) & np.isfinite(distance)
    x, y = np.where(known, distance, 0.0), np.where(known, stops, 0.0)
    powers = [known.astype(float), x, x * x, x**3, x**4]
    values = [y, x * y, x * x * y]
    sums = np.stack([v.sum(axis=1) for v in powers + values], axis=1)
    s0, s1, s2, s3, s4, y0, y1, y2 = mean_along(sums, line).T
    # Cramer's rule for y = a + b x + c x^2.
    a = y0 * (s2 * s4 - s3 * s3) - s1 * (y1 * s4 - s3 * y2) + s2 * (y1 * s3 - s2 * y2)
    b = s0 * (y1 * s4 - s3 * y2) - y0 * (s1 * s4 - s3 * s2) + s2 * (s1 * y2 - y1 * s2)
    c = s0 * (s2 * y2 - y1 * s3) - s1 * (s1 * y2 - y1 * s2) + y0 * (s1 * s3 - s2 * s2)
    whole = s0 * (s2 * s4 - s3 * s3) - s1 * (s1 * s4 - s3 * s2) + s2 * (s1 * s3 - s2 * s2)
    a, b, c = (v / np.maximum(whole, 1e-9) for v in (a, b, c))
    return np.asarray(a, np.float64), np.asarray(a + further * (b + further * c), np.float64)
