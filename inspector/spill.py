"""Spill: stretches of the edge over which paper white lies on the subject."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from inspector.across import Across
from inspector.arrays import Mask, Points
from inspector.place import Box, clock, points_box

# All widths below are for a tolerance of 3 px, as on frames up to 3,000 px wide, and grow with it;
# lengths also with the spacing of the outline's points.
TOLERANCE_PX, SPACING_PX = 3.0, 2.0

SURE_FALL, POSSIBLE_FALL = 4.0, 2.5
"""How many pixels longer than on a clean part the fall from white to two stops under it is on
spill, and how many on what may be spill. Measured: a strong rim adds up to 3, spill 4 to 50."""
OUTSIDE = 0.65
"""A fall of which more than this part lies before the outline is a shade on the backdrop."""
SOFT_FALL = 0.6
"""How many pixels longer the fall is at least wherever white light lies on the subject."""
SURE_OVERLAP = 2.0
"""How many pixels further than on a clean part white reaches past the end of the backdrop's own
light on spill: with what a clean edge hides in its blur, the tolerance."""
FAINT_OVERLAP, LEAST_FAINT_RUN_PX, FAINT_GAP_PX = 0.5, 80.0, 8.0
"""Before a backdrop at the ceiling, where an overlap is seen in part only, both cues just over
what is clean are spill where they go on together for so long, gaps no longer than the last left
out of account."""
CLEAN_SHARE = 30
"""Percentile of the edge that is taken for a clean part."""
LONGEST_CLEAN_FALL, LONGEST_CLEAN_OVERLAP = 4.5, 3.0
"""No clean part has more, pixels; guards against an edge that spills all along."""
LEAST_LONE_RUN_PX = 72.0
"""A slow fall alone, though the frame shows that white ends where the backdrop's light does, may
be a rim: it must go on for so long."""
CROSSED_EV, LEAST_CROSSED_PX = 0.15, 6.0
"""White past the outline's tolerance, and over white there by so many stops, is spill plainly if
it goes on for so many pixels; a darker frame shows the outline where it is."""
LEAST_RUN_PX, LEAST_OVERLAP_RUN_PX = 24.0, 40.0
"""Shorter runs are not judged; a strand of hair across the outline dims the light outside over
twice the stretch that profiles are averaged on, so overlap alone must go on for longer."""


@dataclass(frozen=True, eq=False)
class SpillRun:
    """A stretch of the edge over which paper white has crossed onto the subject.

    ``where`` is a clock position as seen from the subject's centre ("2 o'clock"), lengths in
    viewed pixels. ``points`` (N, 2) walks along the edge; ``depths`` (N,) pixels to which white
    reaches inwards at each; ``inward`` (N, 2) unit vectors into the subject; ``span`` its points'
    place among all of the edge.
    """

    where: str
    box: Box
    length_px: float
    depth_px: float
    sure: bool
    points: Points
    depths: Points
    inward: Points
    span: slice


def find_spill(
    across: Across, *, tolerance: float, centre: Points, size: tuple[int, int]
) -> tuple[SpillRun, ...]:
    """Sure and possible runs of spill, the sure and the longest first.

    Parameters
    ----------
    tolerance : float
        Pixels by which white may cross the outline.
    centre : ndarray
        (2,) the subject's centre, for the clock positions.
    size : tuple of int
        (width, height) of the picture.
    """
    wide = tolerance / TOLERANCE_PX
    long = max(wide, float(np.median(across.step)) / SPACING_PX)
    thick = np.isfinite(across.fall)
    more_fall = _over_clean(np.where(thick, across.fall, np.nan), LONGEST_CLEAN_FALL * wide)
    overlap = np.where(thick, across.overlap, np.nan)
    depth = _over_clean(overlap, LONGEST_CLEAN_OVERLAP * wide)
    # A seam or a strand dims the light outside as spill does, but leaves the edge sharp.
    soft = more_fall > SOFT_FALL * wide
    proven = soft & (depth > SURE_OVERLAP * wide)
    slow = (more_fall > SURE_FALL * wide) & (across.white_at > -OUTSIDE * across.fall)
    overlaps = depth > FAINT_OVERLAP * wide
    faint = _closed(soft & overlaps & ~across.told, across, FAINT_GAP_PX * long)
    faint = _long_runs(faint, across, LEAST_FAINT_RUN_PX * long)
    crossed = (across.white_at > tolerance) & (across.headroom_ev < -CROSSED_EV)
    part = (more_fall > POSSIBLE_FALL * wide) | proven | faint | crossed
    runs = []
    for first, last in _true_runs(part, across.line):
        at = slice(first, last)
        step = across.step[at]
        length = float(step.sum())
        plain = step[crossed[at]].sum() >= LEAST_CROSSED_PX * wide
        if length < LEAST_RUN_PX * long and not plain:
            continue
        sure = bool(
            plain
            or step[(slow & (overlaps | ~across.told))[at]].sum() >= LEAST_RUN_PX * long
            or step[slow[at]].sum() >= LEAST_LONE_RUN_PX * long
            or step[proven[at]].sum() >= LEAST_OVERLAP_RUN_PX * long
            or faint[at].any()
        )
        depths = np.maximum(depth[at], np.where(slow[at], tolerance, 0.0))
        depths = np.maximum(depths, np.where(crossed[at], across.white_at[at], 0.0))
        points = across.points[at]
        runs.append(
            SpillRun(
                where=clock(points.mean(axis=0), centre),
                box=points_box(points, size),
                length_px=length,
                depth_px=float(np.percentile(depths, 90)),
                sure=sure,
                points=points,
                depths=depths,
                inward=across.inward[at],
                span=at,
            )
        )
    return tuple(sorted(runs, key=lambda r: (-r.sure, -r.length_px)))


def _closed(mask: Mask, across: Across, gap: float) -> Mask:
    """A mask along the edge with its gaps of fewer pixels filled."""
    filled = mask.copy()
    for first, last in _true_runs(~mask, across.line):
        within = first > 0 and last < len(mask) and mask[first - 1] and mask[last]
        if within and across.step[first:last].sum() < gap:
            filled[first:last] = True
    return filled


def _long_runs(mask: Mask, across: Across, least: float) -> Mask:
    """What of a mask goes on for at least so many pixels."""
    kept = np.zeros(len(mask), bool)
    for first, last in _true_runs(mask, across.line):
        kept[first:last] = across.step[first:last].sum() >= least
    return kept


def _over_clean(values: Points, longest: float) -> Points:
    """(N,) how much larger a value is than on a clean part of the edge; 0 where unknown."""
    known = values[np.isfinite(values)]
    clean = min(longest, float(np.percentile(known, CLEAN_SHARE))) if known.size else longest
    return np.nan_to_num(np.maximum(values - clean, 0.0))


def _true_runs(mask: Mask, line: NDArray[np.intp]) -> list[tuple[int, int]]:
    """First and last + 1 of each run of True that stays on one line."""
    edges = np.zeros(len(mask) + 1, bool)
    edges[1:-1] = (mask[1:] != mask[:-1]) | (line[1:] != line[:-1])
    edges[0] = edges[-1] = True
    bounds = np.flatnonzero(edges)
    return [(int(a), int(b)) for a, b in pairwise(bounds) if mask[a]]
