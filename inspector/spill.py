"""Spill: stretches of the edge over which paper white lies on the subject."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspector.across import Across
from inspector.arrays import Mask, Points
from inspector.clean_part import Falls
from inspector.cues import (
    LEAST_LONE_RUN_PX,
    LEAST_OVERLAP_RUN_PX,
    LEAST_RUN_PX,
    SURE_OVERLAP,
    find_cues,
    spill_by_cues,
)
from inspector.onset import Onset, Suspect
from inspector.outline import Outline, long_runs, runs_of, without_gaps
from inspector.place import Box, clock, points_box

# All widths below are for a tolerance of 3 px, as on frames up to 3,000 px wide, and grow with it;
# lengths also with the spacing of the outline's points.
AROUND = 5
"""So many points on either side of a slow fall are looked at, too."""
LARGEST_ERROR = 0.8
"""An outline that is known no better than this, standard error in pixels, makes no spill where
other signs show none."""
WELL_KNOWN = 4.0
"""A worse one counts, too, where white passes it by so many times its error."""
VAGUE_ERROR = 1.2
"""Under the ceiling a slow fall proves no spill where the outline was looked for and is known worse
than this, standard error in pixels, or not at all, while white overlaps the end of the backdrop's
light by less than on sure spill: three in four such places are within the tolerance."""
TRUSTED = 0.5
"""Neither an outline nor an overlap is known better than this, pixels; each weighs by its
variance."""
SLOPING_PX = 7.0
"""Light that ends sharply and leaves the backdrop's level so early must step there, too, as far as
steps are found: it may only slope."""
PLAIN_PX = 5.0
"""White so much further past the tolerance is spill, however fast it then falls."""
WITHIN_PX = 1.75
"""White that ends by more within the tolerance speaks against an overlap."""
BRIGHTER = 0.06
"""White light that ends as sharply as a clean edge is deep spill only if it is brighter than the
backdrop by this part, in some channel."""
DIMMER, LEAST_DIMMER_RUN_PX, DIMMER_GAP_PX = 0.06, 72.0, 16.0
"""Or it is darker than the backdrop by this part for so long, gaps no longer than the last: so deep
and sharp an edge that runs along with the subject is the subject's own."""
LEAST_SHARP_RUN_PX = 50.0
"""Shorter light that ends sharply, nowhere reaches ``PLAIN_PX`` past the tolerance, and is mostly
not brighter than the backdrop, may lie behind a strand or a fold that follows the outline."""
LIFT_EV = 0.06
"""White light that rises suddenly by more, stops, before it falls at the outline, may be spill."""
FAINT_LIFT_EV = 0.03
"""So may a lesser one that goes on for long."""
DROP_EV = 0.07
"""Light that suddenly drops by more, stops, for long may be spill, too."""
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


def may_spill(across: Across, falls: Falls, *, grid: bool) -> Suspect:
    """Where to look for the onset under white: around what falls slowly from it for long.

    Around a sudden rise before it, too. Spill may end sharply where the light falls slowly from the
    start, rises, or leaves the backdrop's level early, and be deep there and where light suddenly
    drops, as at a seam, too; neither before a ``grid``, whose lines step as light on the subject
    does.
    """
    rises = (across.lift_ev > LIFT_EV) | (across.long_lift_ev > FAINT_LIFT_EV)
    sharp = (falls.soft & ~falls.rim) | rises | (falls.deeper > LEAVES_PX * falls.wide)
    deep = sharp | (across.long_drop_ev > DROP_EV)
    look, look_deep, look_sharp = (
        _around(cue, across.outline, falls.long) & across.told
        for cue in (falls.soft | rises, deep, sharp)
    )
    return Suspect(look, look_deep & (not grid), look_sharp & (not grid), falls.deeper)


def _around(cue: Mask, outline: Outline, long: float) -> Mask:
    """(N,) where a cue goes on for long, and a little before and after."""
    near = np.zeros(len(cue), bool)
    cue = long_runs(without_gaps(cue, outline, GAP_PX * long), outline, LEAST_RUN_PX * long)
    for run in runs_of(cue, outline.line):
        near[max(0, run.start - AROUND) : run.stop + AROUND] = True
    return near


def find_spill(
    across: Across,
    falls: Falls,
    suspect: Suspect,
    onset: Onset,
    beyond: Points,
    *,
    tolerance: float,
    centre: Points,
    size: tuple[int, int],
) -> tuple[tuple[SpillRun, ...], Mask]:
    """Sure and possible runs of spill; (N,) where it is or may be.

    Parameters
    ----------
    suspect : Suspect
        Where the onset was looked for.
    onset : Onset
        Where the subject begins beneath white light, as far as it is known.
    beyond : ndarray, float64
        (N,) pixels to which white reaches past the mouth of a bite or the end of a terrace; 0
        elsewhere.
    tolerance : float
        Pixels by which white may cross the outline.
    centre : ndarray
        (2,) the subject's centre, for the clock positions.
    size : tuple of int
        (width, height) of the picture.
    """
    white_at = np.fmin(across.white_at, onset.white_at)
    past = white_at - onset.at - tolerance
    overlap = np.maximum(falls.deeper - np.nan_to_num(across.white_at - white_at), 0.0)
    cues = find_cues(across, falls, overlap, tolerance=tolerance)
    surely, like_spill = spill_by_cues(across, falls, cues)
    shallow = _within_tolerance(falls, suspect, onset, past, overlap)
    vague = _vague(across, falls, suspect, onset, overlap) & ~cues.crossed
    deep, short = _past_the_outline(across, falls, onset, past)
    sure = without_gaps(
        (surely & ~shallow & ~vague) | deep | (beyond > 0), across.outline, GAP_PX * falls.long
    )
    sure = long_runs(sure, across.outline, LEAST_PART_PX * falls.wide)
    amid = across.tangled & (past > PLAIN_PX * falls.wide)  # the outline is a strand's there
    against = ((past < -WITHIN_PX * falls.wide) | amid) & (beyond == 0)
    sure &= ~_short_overlaps(sure, across, falls, against)
    possible = ((like_spill & ~shallow) | short) & ~sure
    possible = long_runs(possible, across.outline, LEAST_RUN_PX * falls.long)
    fitted = np.maximum(past + tolerance, 0.0)
    depths = np.where(
        shallow, fitted, np.where(deep | short, np.fmax(fitted, cues.depths), cues.depths)
    )
    depths = np.maximum(depths, beyond)
    runs = [
        _run(across, at, depths, sure=is_sure, centre=centre, size=size)
        for mask, is_sure in ((sure, True), (possible, False))
        for at in runs_of(mask, across.outline.line)
    ]
    return tuple(runs), like_spill | short


def _within_tolerance(
    falls: Falls, suspect: Suspect, onset: Onset, past: Points, overlap: Points
) -> Mask:
    """(N,) where white ends within the tolerance from where the subject begins, so far as known."""
    more = np.maximum(overlap - SURE_OVERLAP * falls.wide, 0.0)
    trusted = (TRUSTED * falls.wide) ** 2
    weighed = past / (onset.error**2 + trusted) + more / trusted
    sloping = suspect.sharp & falls.rim & (overlap > SLOPING_PX * falls.wide)
    sloping &= (past < 0) & (onset.error < LARGEST_ERROR * falls.wide)
    return (weighed < 0) | sloping


def _short_overlaps(sure: Mask, across: Across, falls: Falls, against: Mask) -> Mask:
    """(N,) short sure runs for which an overlap speaks alone, ``against`` a known outline."""
    short = np.zeros(len(sure), bool)
    for run in runs_of(sure, across.outline.line):
        lasts = across.outline.step[run].sum() >= LEAST_OVERLAP_RUN_PX * falls.long
        short[run] = against[run].all() and not lasts
    return short


def _vague(across: Across, falls: Falls, suspect: Suspect, onset: Onset, overlap: Points) -> Mask:
    """(N,) where neither the outline nor an overlap tells how deep white lies on the subject."""
    known = onset.error < VAGUE_ERROR * falls.wide
    return across.told & suspect.look & ~known & (overlap < SURE_OVERLAP * falls.wide)


def _past_the_outline(
    across: Across, falls: Falls, onset: Onset, past: Points
) -> tuple[Mask, Mask]:
    """(N,) where white goes on beyond the tolerance from where the subject surely begins.

    And where it looks so, on a stretch too short to tell it from a strand.
    """
    soft, wide = falls.soft, falls.wide
    # On a limb too thin for its fall to be told white may well lie; strands hide it by themselves.
    slow = soft | ~(np.isfinite(across.fall) | across.tangled)
    far = past > PLAIN_PX * wide
    deep = (past > 0) & (
        onset.steps
        | ((slow | far) & (onset.error < np.maximum(LARGEST_ERROR * wide, past / WELL_KNOWN)))
    )
    soft_end = deep & soft & ~falls.shaded
    lit = (soft_end & ~falls.rim) | (onset.rise > BRIGHTER)
    # No rim reaches so far for so long, however sharply light starts to fall.
    lit |= long_runs(soft_end & far, across.outline, LEAST_LONE_RUN_PX * falls.long)
    dimmer = far & deep & ~soft & ~across.tangled & (onset.drop > DIMMER)
    dimmer = without_gaps(dimmer, across.outline, DIMMER_GAP_PX * falls.long)
    lit |= long_runs(dimmer, across.outline, LEAST_DIMMER_RUN_PX * falls.long)
    sharp = far | (onset.steps & ~soft)
    deep &= ~sharp | (~across.tangled & (lit | onset.steps))
    short = np.zeros(len(deep), bool)
    for run in runs_of(deep, across.outline.line):
        plain, step = (past > onset.error)[run], across.outline.step[run]
        soft_enough = step[plain & soft[run]].sum() >= LEAST_RUN_PX * wide
        lasts = step[plain].sum() >= LEAST_OVERLAP_RUN_PX * wide
        sure = far[run].any() or step.sum() >= LEAST_SHARP_RUN_PX * falls.long
        sure |= bool((onset.rise[run] > BRIGHTER).mean() > 0.5)
        deep[run], short[run] = soft_enough or (lasts and sure), lasts
    return deep, short & ~deep


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
