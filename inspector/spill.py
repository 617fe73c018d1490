"""Spill: stretches of the edge over which paper white lies on the subject."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspector.across import Across
from inspector.arrays import Mask, Points
from inspector.onset import Onset, Suspect
from inspector.outline import TOLERANCE_PX, long_runs, runs_of, without_gaps
from inspector.place import Box, clock, points_box

# All widths below are for a tolerance of 3 px, as on frames up to 3,000 px wide, and grow with it;
# lengths also with the spacing of the outline's points.
SPACING_PX = 2.0

SURE_FALL, POSSIBLE_FALL = 4.0, 2.5
"""How many pixels longer than on a clean part the fall from white to two stops under it is on
spill, and how many on what may be spill. Measured: a strong rim adds up to 3, spill 4 to 50."""
SLOW_FIRST, LONGEST_CLEAN_FIRST = 1.5, (1.2, 2.0)
"""On spill the fall to 0.6 is longer than on a clean part by so many pixels at least (one in fifty
less); before a rim under white it is sharp, the light that follows may fall ever so slowly. No
clean part takes longer than the second."""
SHARP_START = 0.12
"""Before a rim nearer white the fall to 0.8 is less than this part of that to two stops under
white; on spill more (one in a hundred less)."""
MOSTLY = 0.5
"""Of a run's slow falls such a part must be slow from the start, else it is a rim."""
TANGLED = 0.9
"""Where strands hang before so much of a run, its fall may be theirs."""
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

AROUND = 5
"""So many points on either side of a slow fall are looked at, too."""
LARGEST_ERROR = 0.8
"""An outline that is known no better than this, standard error in pixels, makes no spill where
other signs show none."""
WELL_KNOWN = 4.0
"""A worse one counts, too, where white passes it by so many times its error."""
TRUSTED = 0.5
"""Neither an outline nor an overlap is known better than this, pixels; each weighs by its
variance."""
SLOPING_PX = 7.0
"""Light that ends sharply and leaves the backdrop's level so early must step there, too, as far as
steps are found: it may only slope."""
PLAIN_PX = 5.0
"""White so much further past the tolerance is spill, however fast it then falls."""
BRIGHTER = 0.06
"""White light that ends as sharply as a clean edge is deep spill only if it is brighter than the
backdrop by this part, in some channel."""
LIFT_EV = 0.06
"""White light that rises suddenly by more, stops, before it falls at the outline, may be spill."""
LEAVES_PX = 1.0
"""So may light that leaves the backdrop's level so much further out than on a clean part."""
LEAST_PART_PX, GAP_PX = 12.0, 8.0
"""What is left of a run where the outline is known: shorter parts, and gaps, are not told."""


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


def may_spill(across: Across, *, grid: bool, tolerance: float) -> Suspect:
    """Where to look for the onset under white: around what falls slowly from it for long.

    Around a sudden rise before it, too. Spill may be deep or sharp where the light falls slowly
    from the start, rises, or leaves the backdrop's level early; not before a ``grid``, whose lines
    step as light on the subject does.
    """
    wide, long = _units(across, tolerance)
    soft, rises = _soft(across, wide), across.lift_ev > LIFT_EV

    def around(cue: Mask) -> Mask:
        near = np.zeros(len(cue), bool)
        cue = without_gaps(cue, across.outline, GAP_PX * long)
        for run in runs_of(
            long_runs(cue, across.outline, LEAST_RUN_PX * long), across.outline.line
        ):
            near[max(0, run.start - AROUND) : run.stop + AROUND] = True
        return near

    leaves = _deeper(across, wide)
    deep = (soft & ~_rim(across, wide)) | rises | (leaves > LEAVES_PX * wide)
    look, look_deep = (around(cue) & across.told for cue in (soft | rises, deep))
    return Suspect(look, look_deep & (not grid), leaves)


def find_spill(
    across: Across,
    suspect: Suspect,
    onset: Onset,
    *,
    tolerance: float,
    centre: Points,
    size: tuple[int, int],
) -> tuple[tuple[SpillRun, ...], Mask]:
    """Sure and possible runs of spill, the sure and the longest first; (N,) where it looks so.

    Parameters
    ----------
    suspect : Suspect
        Where the onset was looked for.
    onset : Onset
        Where the subject begins beneath white light, as far as it is known.
    tolerance : float
        Pixels by which white may cross the outline.
    centre : ndarray
        (2,) the subject's centre, for the clock positions.
    size : tuple of int
        (width, height) of the picture.
    """
    white_at = np.fmin(across.white_at, onset.white_at)
    wide, long = _units(across, tolerance)
    depth = np.maximum(_deeper(across, wide) - np.nan_to_num(across.white_at - white_at), 0.0)
    cues = _cues(across, depth, tolerance=tolerance, wide=wide, long=long)
    past = white_at - onset.at - tolerance
    more = np.maximum(depth - SURE_OVERLAP * wide, 0.0)
    shallow = past / (onset.error**2 + (TRUSTED * wide) ** 2) + more / (TRUSTED * wide) ** 2 < 0
    sloping = suspect.deep & _rim(across, wide) & (depth > SLOPING_PX * wide)
    shallow |= sloping & (past < 0) & (onset.error < LARGEST_ERROR * wide)
    deep = _past_the_outline(across, onset, past, wide)
    sure = without_gaps((cues.sure & ~shallow) | deep, across.outline, GAP_PX * long)
    sure = long_runs(sure, across.outline, LEAST_PART_PX * wide)
    possible = long_runs(cues.possible & ~shallow & ~sure, across.outline, LEAST_RUN_PX * long)
    fitted = np.maximum(past + tolerance, 0.0)
    depths = np.where(shallow, fitted, np.where(deep, np.fmax(fitted, cues.depths), cues.depths))
    runs = [
        _run(across, at, depths, sure=told, centre=centre, size=size)
        for mask, told in ((sure, True), (possible, False))
        for at in runs_of(mask, across.outline.line)
    ]
    return tuple(sorted(runs, key=lambda r: (-r.sure, -r.length_px))), cues.sure | cues.possible


def _past_the_outline(across: Across, onset: Onset, past: Points, wide: float) -> Mask:
    """(N,) where white goes on beyond the tolerance from where the subject surely begins."""
    soft = _soft(across, wide)
    # On a limb too thin for its fall to be told white may well lie.
    slow = soft | ~np.isfinite(across.fall)
    far = past > PLAIN_PX * wide
    deep = (past > 0) & (
        onset.steps
        | ((slow | far) & (onset.error < np.maximum(LARGEST_ERROR * wide, past / WELL_KNOWN)))
    )
    lit = (soft & ~_rim(across, wide) & ~_shaded(across)) | (onset.rise > BRIGHTER)
    sharp = far | (onset.steps & ~soft)
    deep &= ~sharp | (~across.tangled & (lit | onset.steps))
    for run in runs_of(deep, across.outline.line):
        plain, step = (past > onset.error)[run], across.outline.step[run]
        soft_enough = step[plain & soft[run]].sum() >= LEAST_RUN_PX * wide
        deep[run] = soft_enough or step[plain].sum() >= LEAST_OVERLAP_RUN_PX * wide
    return deep


def _run(
    across: Across,
    at: slice,
    depths: Points,
    *,
    sure: bool,
    centre: Points,
    size: tuple[int, int],
) -> SpillRun:
    points = across.outline.points[at]
    return SpillRun(
        where=clock(points.mean(axis=0), centre),
        box=points_box(points, size),
        length_px=float(across.outline.step[at].sum()),
        depth_px=float(np.percentile(depths[at], 90)),
        sure=sure,
        points=points,
        depths=depths[at],
        inward=across.outline.inward[at],
        span=at,
    )


@dataclass(frozen=True, eq=False)
class _Cues:
    """What falls and overlaps say at N points: spill, what may be, and how deep, pixels."""

    sure: Mask
    possible: Mask
    depths: Points


def _cues(across: Across, depth: Points, *, tolerance: float, wide: float, long: float) -> _Cues:
    """Judge runs by how slowly light falls in them and how far white overlaps its end."""
    more_fall = _slower(across, wide)
    # A seam or a strand dims the light outside as spill does, but leaves the edge sharp.
    soft = _soft(across, wide)
    proven = soft & (depth > SURE_OVERLAP * wide)
    rim = _rim(across, wide)
    long_fall = (more_fall > SURE_FALL * wide) & ~_shaded(across)
    slow = long_fall & ~rim
    overlaps = depth > FAINT_OVERLAP * wide
    faint = without_gaps(soft & overlaps & ~across.told & ~rim, across.outline, FAINT_GAP_PX * long)
    faint = long_runs(faint, across.outline, LEAST_FAINT_RUN_PX * long)
    ends = np.fmax(across.white_at, across.washed)
    crossed = (ends > tolerance) & (across.headroom.ev < -CROSSED_EV)
    part = (more_fall > POSSIBLE_FALL * wide) | proven | faint | crossed
    sure, possible = (np.zeros(len(part), bool) for _ in range(2))
    for at in runs_of(part, across.outline.line):
        step = across.outline.step[at]
        plain = step[crossed[at]].sum() >= LEAST_CROSSED_PX * wide
        if across.tangled[at].mean() > TANGLED and not plain:
            possible[at] = True
            continue
        mostly = step[slow[at]].sum() >= MOSTLY * step[long_fall[at]].sum()
        told_slow = step[(slow & (overlaps | ~across.told))[at]].sum() >= LEAST_RUN_PX * long
        lone_slow = step[slow[at]].sum() >= LEAST_LONE_RUN_PX * long
        if step.sum() < LEAST_RUN_PX * long and not plain:
            continue
        possible[at] = True
        sure[at] = bool(
            plain
            or (mostly and (told_slow or lone_slow))
            or step[proven[at]].sum() >= LEAST_OVERLAP_RUN_PX * long
            or faint[at].any()
        )
    depths = np.maximum(depth, np.where(slow, tolerance, 0.0))
    depths = np.maximum(depths, np.where(crossed, ends, 0.0))
    return _Cues(sure, possible, depths)


def _units(across: Across, tolerance: float) -> tuple[float, float]:
    """Pixels across and along the edge that stand for one where the tolerance is 3 px."""
    wide = tolerance / TOLERANCE_PX
    return wide, max(wide, float(np.median(across.outline.step)) / SPACING_PX)


def _slower(across: Across, wide: float) -> Points:
    """(N,) pixels by which the fall from white is longer than on a clean part of the edge."""
    return _over_clean(across.fall, LONGEST_CLEAN_FALL * wide)


def _rim(across: Across, wide: float) -> Mask:
    """(N,) where light falls under white as fast as at a clean edge, however slowly after that.

    Where that first fall cannot be told it may be so.
    """
    longest = np.where(across.told, LONGEST_CLEAN_FIRST[1], LONGEST_CLEAN_FIRST[0])
    clean = np.minimum(_clean(across.first, np.inf), longest * wide)
    slow = across.first >= clean + SLOW_FIRST * wide
    return ~slow | (across.early < SHARP_START * across.fall)


def _shaded(across: Across) -> Mask:
    """(N,) where most of the fall lies before the outline, on the backdrop."""
    return ~(across.white_at > -OUTSIDE * across.fall)


def _soft(across: Across, wide: float) -> Mask:
    return _slower(across, wide) > SOFT_FALL * wide


def _deeper(across: Across, wide: float) -> Points:
    """(N,) pixels by which white overlaps the end of the backdrop's light more than if clean."""
    overlap = np.where(np.isfinite(across.fall), across.overlap, np.nan)
    return _over_clean(overlap, LONGEST_CLEAN_OVERLAP * wide)


def _over_clean(values: Points, longest: float) -> Points:
    """(N,) how much larger a value is than on a clean part of the edge; 0 where unknown."""
    return np.nan_to_num(np.maximum(values - _clean(values, longest), 0.0))


def _clean(values: Points, longest: float) -> float:
    """What a value is on a clean part of the edge."""
    known = values[np.isfinite(values)]
    return min(longest, float(np.percentile(known, CLEAN_SHARE))) if known.size else longest
