"""By how many stops the exposure may grow before white crosses the edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask, Points
from inspector.halfway import Begins
from inspector.levels import WHITE, Levels
from inspector.outline import Outline, mean_along
from inspector.profile import read_sites

UNSETTLED_PX = 0.5
"""So much further in the true outline may lie where the backdrop is at the ceiling, pixels."""
FITTED_PX = 0.25
"""So much further in an outline may lie that only the fall under the ceiling tells, pixels."""
CLEARLY_EV = 1 / 6
"""What may make so much of a difference to an end of the window is not exact, stops."""
THIN_PX = 1.0
"""By so much the thickness of a prop may be taken for too small, pixels."""
THIN_MARGIN_PX = 2.0
"""A fall must end so far before the middle of a limb or prop to be told from its blur."""


@dataclass(frozen=True, eq=False)
class Headroom:
    """The exposure change at which white crosses the edge by the tolerance, at N outline points.

    Attributes
    ----------
    ev : ndarray, float64
        (N,) that change, stops; not above zero where white has crossed already, infinite where
        nothing is so deep, and where a strand or a tip bends the outline.
    least_ev : ndarray, float64
        (N,) the least that it may be: strands, tips and what may be just thick enough counted as
        edge, the outline where it is seen.
    told : ndarray, bool
        (N,) whether it is known where the subject begins.
    rough : ndarray, bool
        (N,) whether that is known from the fall of light under the ceiling only, before light so
        steep that the change may be clearly greater.
    """

    ev: Points
    least_ev: Points
    told: Mask
    rough: Mask


def find_headroom(
    levels: Levels,
    outline: Outline,
    begins: Begins,
    *,
    thickness: Points,
    bent: Mask,
    tolerance: float,
) -> Headroom:
    """Find the headroom along the outline, as if no spill hid it.

    Parameters
    ----------
    thickness : ndarray, float64
        (N,) pixels from the outline to the middle of what is behind it.
    bent : ndarray, bool
        (N,) whether a strand bends the outline.
    tolerance : float
        Pixels by which white may cross the outline.
    """
    least, further = headroom_at(levels, outline, begins.at + tolerance)
    steep = (further - least) * FITTED_PX / UNSETTLED_PX > CLEARLY_EV
    thin = bent | (thickness < tolerance + THIN_MARGIN_PX)
    return Headroom(
        ev=np.where(thin, np.inf, np.where(begins.told, least, further)),
        least_ev=np.where(thickness < tolerance - THIN_PX, np.inf, least),
        told=begins.told,
        rough=begins.fitted & steep,
    )


def headroom_at(levels: Levels, outline: Outline, depth: Points) -> tuple[Points, Points]:
    """(N,) stops up to white from the level so deep in the subject, and from a little further in.

    A parabola fitted to the stops of the sites around there gives both.

    Parameters
    ----------
    depth : ndarray, float64
        (N,) pixels inwards from the outline's points; neighbours are averaged.
    """
    at = outline.inwards(depth)
    sites = read_sites(levels, at, outline.inward, np.arange(-1.5, 1.6, 0.5))
    stops = np.log2(np.clip(sites.rendered, 2.0**-10, 2.0**6)) - np.log2(WHITE)
    level, further = _level_at(sites.distance, stops, outline.line, UNSETTLED_PX)
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
