"""Cues of spill: what slow falls and overlaps say of the edge, wherever the subject begins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspector.across import Across
from inspector.arrays import Mask, Points
from inspector.clean_part import Falls
from inspector.outline import long_runs, runs_of, without_gaps

# All widths below are for a tolerance of 3 px, as on frames up to 3,000 px wide, and grow with it;
# lengths also with the spacing of the outline's points.
SURE_FALL, POSSIBLE_FALL = 4.0, 2.5
"""How many pixels longer than on a clean part the fall from white to two stops under it is on
spill, and how many on what may be spill. Measured: a strong rim adds up to 3, spill 4 to 50."""
MOSTLY = 0.5
"""Of a run's slow falls such a part must be slow from the start, else it is a rim."""
TANGLED = 0.9
"""Where strands hang before so much of a run, its fall may be theirs."""
SURE_OVERLAP = 2.0
"""How many pixels further than on a clean part white reaches past the end of the backdrop's own
light on spill: with what a clean edge hides in its blur, the tolerance."""
FAST_FALL = 0.25
"""But where light falls under white as fast as if clean, and all of its fall is slower by less than
this part of the overlap, strands or a gap may end the backdrop's light: on the subject, light that
reaches far falls slowly."""
FAR_OVERLAP = 6.0
"""Not so before a backdrop at the ceiling, away from strands, from so large an overlap on: what is
over the ceiling seldom gets dark enough behind the edge for that to be seen."""
FAINT_OVERLAP, LEAST_FAINT_RUN_PX, FAINT_GAP_PX = 0.5, 80.0, 8.0
"""Before a backdrop at the ceiling, where an overlap is seen in part only, both cues just over
what is clean are spill where they go on together for so long, gaps no longer than the last left
out of account: but not beside strands and spokes, which dim the light, too."""
TOGETHER_OVERLAP, TOGETHER_FALL, LEAST_TOGETHER_RUN_PX = 1.2, 2.0, 100.0
"""Both cues plainer, by so many pixels each, are spill even where light starts to fall as before a
rim, if they go on together for so long."""
SLIGHT_OVERLAP, SLIGHT_FALL, SLIGHT_FIRST, MOST_FIRST = 0.6, (0.7, 4.0), 0.35, 0.8
"""Slighter ones are over as long a run where light falls later from the start, too, by so many
pixels, and no more than such a part of what its fall is longer by lies there: a rim lengthens its
fall by more than the second, leaves its start sharp, or lengthens that alone. On 690 frames 65 such
stretches are deeper than the tolerance, and two are not, by less than half a pixel."""
LOCAL_FIRST, LEAST_LOCAL_RUN_PX, LOCAL_GAP_PX = 1.0, 48.0, 4.0
"""Before a backdrop at the ceiling a fall that may be spill, and is longer by so many pixels on its
first part, too, is spill where it goes on for so long, gaps left out, and the rest of the outline
is clean: the light that makes a rim comes from behind, and goes further round."""
ELSEWHERE, ELSEWHERE_FALL, AT_ENDS = 0.06, 1.5, 10
"""Clean is an outline of which no more than such a part falls slower by so many pixels, without so
many points before and after the run."""
LEAST_LONE_RUN_PX = 72.0
"""A slow fall alone, though the frame shows that white ends where the backdrop's light does, may
be a rim: it must go on for so long. So must deep light that starts to fall as sharply as one."""
CROSSED_EV, LEAST_CROSSED_PX = 0.15, 6.0
"""White past the outline's tolerance, and over white there by so many stops, is spill plainly if
it goes on for so many pixels; a darker frame shows the outline where it is."""
LEAST_RUN_PX, LEAST_OVERLAP_RUN_PX = 24.0, 40.0
"""Shorter runs are not judged; a strand of hair across the outline dims the light outside over
twice the stretch that profiles are averaged on, so overlap alone must go on for longer."""


@dataclass(frozen=True, eq=False)
class Cues:
    """What falls and overlaps say at N points.

    Attributes
    ----------
    long_fall, slow : ndarray, bool
        (N,) where light falls over long, and where it does so from the start.
    borne_out : ndarray, bool
        (N,) slow falls with an overlap, or before a backdrop at the ceiling, which may hide one.
    proven, faint : ndarray, bool
        (N,) overlaps that a soft fall proves, and those seen in part only that go on with one.
    local : ndarray, bool
        (N,) falls that may be spill on an outline that is clean elsewhere.
    crossed : ndarray, bool
        (N,) where white is plainly past the traced outline.
    may : ndarray, bool
        (N,) where any of these, or a lesser fall, says that it may be spill.
    depths : ndarray, float64
        (N,) pixels to which white then reaches inwards.
    """

    long_fall: Mask
    slow: Mask
    borne_out: Mask
    proven: Mask
    faint: Mask
    local: Mask
    crossed: Mask
    may: Mask
    depths: Points


def find_cues(across: Across, falls: Falls, overlap: Points, *, tolerance: float) -> Cues:
    """Look for what speaks for spill at each point.

    Parameters
    ----------
    overlap : ndarray, float64
        (N,) pixels of white past the end of the backdrop's own light, more than if clean.
    tolerance : float
        Pixels by which white may cross the outline.
    """
    long_fall = (falls.slower > SURE_FALL * falls.wide) & ~falls.shaded
    slow = long_fall & ~falls.rim
    # A seam or a strand dims the light outside as spill does, but leaves the edge sharp.
    soft_overlap = falls.soft & (overlap > SURE_OVERLAP * falls.wide) & ~falls.shaded
    strands = without_gaps(across.tangled, across.outline, LEAST_RUN_PX * falls.long)
    behind = across.told | strands | (overlap < FAR_OVERLAP * falls.wide)
    fast = falls.rim & (falls.slower < FAST_FALL * overlap) & behind
    overlaps = overlap > FAINT_OVERLAP * falls.wide
    faint = _faint(across, falls, overlap)
    may = (falls.slower > POSSIBLE_FALL * falls.wide) & ~falls.shaded
    ends = np.fmax(across.white_at, across.washed)
    crossed = (ends > tolerance) & (across.headroom.ev < -CROSSED_EV)
    local = _local(across, falls, may)
    depths = np.maximum(overlap, np.where(slow | local | faint, tolerance, 0.0))
    return Cues(
        long_fall=long_fall,
        slow=slow,
        borne_out=slow & (overlaps | ~across.told),
        proven=soft_overlap & ~fast,
        faint=faint,
        local=local,
        crossed=crossed,
        may=may | soft_overlap | faint | crossed,
        depths=np.maximum(depths, np.where(crossed, ends, 0.0)),
    )


def _faint(across: Across, falls: Falls, overlap: Points) -> Mask:
    """(N,) long stretches over which slow falls and overlaps seen in part go on together."""
    seen = falls.soft & ~across.told & ~across.tangled
    slow = seen & ~falls.rim & (overlap > FAINT_OVERLAP * falls.wide)
    plain = seen & ~falls.shaded & (overlap > TOGETHER_OVERLAP * falls.wide)
    plain &= falls.slower > TOGETHER_FALL * falls.wide
    slight = seen & ~falls.shaded & (overlap > SLIGHT_OVERLAP * falls.wide) & ~falls.sharp
    least, most = (fall * falls.wide for fall in SLIGHT_FALL)
    slight &= (falls.slower > least) & (falls.slower < most)
    later = np.nan_to_num(falls.later)
    slight &= (later > SLIGHT_FIRST * falls.wide) & (later < MOST_FIRST * falls.slower)
    slow, plain, slight = (
        long_runs(
            without_gaps(cue, across.outline, FAINT_GAP_PX * falls.long),
            across.outline,
            least_run * falls.long,
        )
        for cue, least_run in (
            (slow, LEAST_FAINT_RUN_PX),
            (plain, LEAST_TOGETHER_RUN_PX),
            (slight, LEAST_TOGETHER_RUN_PX),
        )
    )
    return slow | plain | slight


def _local(across: Across, falls: Falls, may: Mask) -> Mask:
    """(N,) long stretches over which light falls slowly, from the start, and nowhere else."""
    outline, wide = across.outline, falls.wide
    untangled = np.isfinite(across.least_fall) & ~across.tangled
    slow = may & untangled & falls.soft & ~across.told
    slow &= (falls.later > LOCAL_FIRST * wide) & ~falls.sharp
    slow = without_gaps(slow, outline, LOCAL_GAP_PX * falls.long)
    slow = long_runs(slow, outline, LEAST_LOCAL_RUN_PX * falls.long)
    glows = np.where(untangled & (falls.slower > ELSEWHERE_FALL * wide), outline.step, 0.0)
    most = ELSEWHERE * outline.step[untangled].sum()
    local = np.zeros_like(slow)
    for run in runs_of(slow, outline.line):
        around = slice(max(0, run.start - AT_ENDS), run.stop + AT_ENDS)
        local[run] = glows.sum() - glows[around].sum() <= most
    return local


def spill_by_cues(across: Across, falls: Falls, cues: Cues) -> tuple[Mask, Mask]:
    """(N,) runs that are spill by the cues alone, and (N,) those that are or may be."""
    sure, possible = (np.zeros(len(cues.may), bool) for _ in range(2))
    for at in runs_of(cues.may, across.outline.line):
        step = across.outline.step[at]
        plain = step[cues.crossed[at]].sum() >= LEAST_CROSSED_PX * falls.wide
        tangled = across.tangled[at].mean() > TANGLED
        lasts = step.sum() >= LEAST_RUN_PX * falls.long
        possible[at] = plain or tangled or lasts
        sure[at] = plain or (lasts and not tangled and _goes_on(cues, at, step, falls.long))
    return sure, possible


def _goes_on(cues: Cues, at: slice, step: Points, unit: float) -> bool:
    """Whether the cues of a run, whose points stand for ``step`` each, go on for long enough."""
    long_fall, slow, borne_out, proven = (
        step[cue[at]].sum() for cue in (cues.long_fall, cues.slow, cues.borne_out, cues.proven)
    )
    slow_enough = borne_out >= LEAST_RUN_PX * unit or slow >= LEAST_LONE_RUN_PX * unit
    return bool(
        (slow >= MOSTLY * long_fall and slow_enough)
        or proven >= LEAST_OVERLAP_RUN_PX * unit
        or cues.faint[at].any()
        or cues.local[at].any()
    )
