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

UNSETTLED_PX, MOST_PX = 0.5, 1.5
"""So much further in the true outline may well lie where the backdrop is at the ceiling, and so
much at most, pixels."""
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
        nothing is so deep, and where the outline is bent.
    least_ev, most_ev : ndarray, float64
        (N,) the least that it may be: strands, tips and what may be just thick enough counted as
        edge, the outline where it is seen; and the most: the outline as far in as it may lie.
    told : ndarray, bool
        (N,) whether it is known where the subject begins.
    rough : ndarray, bool
        (N,) whether that is known from the fall of light under the ceiling only, before light so
        steep that the change may be clearly greater.
    counts : ndarray, bool
        (N,) where the outline counts as edge, strands and foils left out.
    """

    ev: Points
    least_ev: Points
    most_ev: Points
    told: Mask
    rough: Mask
    counts: Mask


@dataclass(frozen=True)
class HighEnd:
    """The greatest exposure change that still passes; None where there is none.

    ``kind`` is ``exact``, ``at_most`` or ``at_least``. ``safe_ev`` is the end as far as it is
    seen: not above ``ev``, which bounds what is not.
    """

    ev: float | None = None
    kind: str | None = None
    safe_ev: float | None = None


def high_end(headroom: Headroom, limit: float) -> HighEnd:
    """Find the change at which white has crossed the edge over the allowed part of its length.

    It is at most that where it is decided at places that do not show where the subject begins;
    where strands and tips, which may be edge or not, would give way clearly earlier; and where
    hardly more than that part does while the rest stands clearly more: so small a part of an
    outline may be traced wrongly. It is at least that where the place is only fitted, before light
    so steep that a little matters.
    """
    count = headroom.ev.size
    last = min(int(limit * np.count_nonzero(headroom.counts)), count - 1)
    deciding = np.argsort(headroom.ev)[: last + 1]
    change = float(headroom.ev[deciding[-1]])
    if not np.isfinite(change):
        return HighEnd()
    # Of spill that is sure no part is doubted.
    wider = last if change < 0 else min(2 * last, count - 1)
    least, after, most = (
        float(np.sort(ev)[place])
        for ev, place in (
            (headroom.least_ev, last),
            (headroom.ev, wider),
            (headroom.most_ev, wider),
        )
    )
    lone, earlier = after > change + CLEARLY_EV, least < change - CLEARLY_EV
    if lone or earlier or headroom.told[deciding].mean() <= 0.5:
        return HighEnd(max(change, most) if np.isfinite(most) else change, "at_most", change)
    kind = "at_least" if headroom.rough[deciding].mean() > 0.5 else "exact"
    return HighEnd(change, kind, change)


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
        (N,) whether a strand bends the outline, or the backdrop falls short beside it.
    tolerance : float
        Pixels by which white may cross the outline.
    """
    least, further, furthest = headroom_at(levels, outline, begins.at + tolerance)
    steep = (further - least) * FITTED_PX / UNSETTLED_PX > CLEARLY_EV
    thin = bent | (thickness < tolerance + THIN_MARGIN_PX)
    return Headroom(
        ev=np.where(thin, np.inf, np.where(begins.told, least, further)),
        least_ev=np.where(thickness < tolerance - THIN_PX, np.inf, least),
        most_ev=np.where(thin, np.inf, np.where(begins.told & ~begins.fitted, further, furthest)),
        told=begins.told,
        rough=begins.fitted & steep,
        counts=np.ones(len(thin), bool),
    )


def headroom_at(levels: Levels, outline: Outline, depth: Points) -> tuple[Points, Points, Points]:
    """(N,) stops up to white from the level so deep in the subject, and twice from further in.

    A parabola fitted to the stops of the sites around there gives all three.

    Parameters
    ----------
    depth : ndarray, float64
        (N,) pixels inwards from the outline's points; neighbours are averaged.
    """
    at = outline.inwards(depth)
    sites = read_sites(levels, at, outline.inward, np.arange(-1.5, 1.6, 0.5))
    stops = np.log2(np.clip(sites.rendered, 2.0**-10, 2.0**6)) - np.log2(WHITE)
    level, slope, bend = _parabolas(sites.distance, stops, outline.line)
    further, most = (-(level + d * (slope + d * bend)) for d in (UNSETTLED_PX, MOST_PX))
    return -level, further, most


def _parabolas(
    distance: Floats, stops: Floats, line: NDArray[np.intp]
) -> tuple[Points, Points, Points]:
    """(N,) coefficients a, b, c of parabolas ``a + b x + c x^2`` fitted to (N, K) samples.

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
    a, b, c = (np.asarray(v / np.maximum(whole, 1e-9), np.float64) for v in (a, b, c))
    return a, b, c
