"""The under frame: the same pose one to three stops darker shows what lies beneath the clip."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from inspector.align import LEAST_POINTS, Shift, find_shift, line_of_light, moved
from inspector.arrays import Floats, Mask
from inspector.levels import FLOOR_EV, RESPONDS, Levels, Under, stops
from inspector.surface import slope
from inspector.zones import Zones

LEAST_STOPS, MOST_STOPS = 0.5, 4.5
"""A frame this much darker is an under frame."""
LINE_EV = -1.2
"""Light on the outline by which the two are laid on each other, stops of the brighter frame; less
where its background is short."""
REACH = 0.02
"""How far the subject may have moved, part of the long side."""
MOST_MISFIT = 1.5
"""Median misfit along the outline above which the pose has changed, working pixels."""
LEAST_SHARE = 0.6
"""A smaller part of the outline found again is another pose's; deep spill leaves 0.73 of it."""
APART_EV, APART_REACH, MOST_APART = 1.0, 0.005, 0.03
"""Light that differs by so many stops over places wider than twice such a part of the long side is
another pose's, where they add up to more than this part of the subject: an arm has moved."""
NOISE_EV = -5.0
"""Light under this is not compared for the pose, stops of the brighter frame."""
DARKEST_EV, FAINTEST_EV = -7.5, -3.5
"""Light under this, in the under frame and in the other, is too noisy to compare."""
DEEPEST_EV = -9.5
"""Light down to this is compared where there is no other."""
ENOUGH_SMOOTH, ENOUGH_LAID_ON = 100, 60
"""Working pixels that are enough to compare two frames, smooth ones and others."""
QUIET = (5, 5)
"""Working pixels over which light is averaged before two frames are compared."""
DIM_EV = -3.0
"""Under this every channel responds, stops."""
MOST_SPREAD_EV = 0.3
"""Two frames of one pose differ alike everywhere: the middle half by less than this, stops."""
FINE_EV, ROUGH_EV = 0.3, 1.0
"""How far the two laid on each other may correct what smooth parts said, or the areas alone."""
OUTLINE_EV = (-3.0, -1.0)
"""Light that the outline's own fall passes through, stops of the brighter frame."""
MOVED = "the subject moved too far between the two; take it again, held still"


class UnderError(ValueError):
    """Why a frame cannot be laid under another, as a sentence."""


def lay_under(levels: Levels, zones: Zones, under: Levels) -> Levels:
    """Fill in what is saturated in a frame from a darker frame of the same pose.

    Returns
    -------
    Levels
        Those of the frame, its channels carried on above their clip and its ceiling raised.

    Raises
    ------
    UnderError
        If the frames differ in size, the second is not one to three stops darker, or the pose
        has changed.
    """
    if under.ev.shape != levels.ev.shape or under.scale != levels.scale:
        raise UnderError("it has another size; use a frame of the same camera and orientation")
    seen = stops_darker(levels, under)
    if seen is None:  # all but a deep subject may be at the ceiling
        seen = stops_darker(levels, under, darkest_ev=DEEPEST_EV)
    difference = _by_area(levels.ev, under.ev) if seen is None else seen
    if not LEAST_STOPS <= difference <= MOST_STOPS:
        said = f"{difference:.1f} stops darker" if difference >= 0.05 else "no darker"
        raise UnderError(f"it is {said}; take it one to three stops darker")
    shift = _subject_shift(levels, zones, under, difference)
    if _smooth_difference(levels, under, _all_respond(levels), DARKEST_EV) is None:
        laid_on = _laid_on(levels, under, shift)
        if laid_on is not None and abs(laid_on - difference) < (
            ROUGH_EV if seen is None else FINE_EV
        ):
            difference = laid_on
    below = moved(under.rendered, -shift.x, -shift.y)
    along = stops(below, under.top, levels.frame.channels)
    _check_pose(levels, zones, along + np.float32(difference), under.ev + np.float32(difference))
    gains = levels.frame.gains
    lost = levels.rendered >= RESPONDS * gains
    rendered = np.where(lost, below * 2.0**difference, levels.rendered).astype(np.float32)
    top = under.top * 2.0**difference
    return replace(
        levels,
        rendered=rendered,
        top=top,
        ceiling_ev=under.ceiling_ev + difference,
        ev=stops(rendered, top, levels.frame.channels),
        under=Under(under, (shift.x * levels.scale, shift.y * levels.scale), difference),
    )


def _check_pose(levels: Levels, zones: Zones, along: Floats, still: Floats) -> None:
    """Raise UnderError where the light beneath, (h, w) stops, is not that of the frame.

    Neither moved ``along`` with the subject nor ``still``, as the set has stood; up to the ceiling.
    """
    apart = zones.backdrop | zones.subject
    own = np.clip(levels.ev, NOISE_EV, levels.ceiling_ev)
    for below in (along, still):
        apart = apart & (np.abs(np.clip(below, NOISE_EV, levels.ceiling_ev) - own) > APART_EV)
    side = 2 * round(APART_REACH * max(apart.shape)) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    wide = cv2.morphologyEx(apart.astype(np.uint8), cv2.MORPH_OPEN, disc)
    if wide.sum() > MOST_APART * max(1, zones.subject.sum()):
        raise UnderError(MOVED)


def stops_darker(levels: Levels, under: Levels, *, darkest_ev: float = DARKEST_EV) -> float | None:
    """Stops by which a frame is darker than another of the same pose; None if it cannot be told.

    The median over the brighter smooth parts; a small shift does not matter. Where enough of
    them have every channel respond, those alone, so that a tint does not count for light. Light
    under ``darkest_ev``, in the darker frame, has no say.
    """
    for told in (_all_respond(levels), levels.ev < levels.ceiling_ev - 0.1):
        difference = _smooth_difference(levels, under, told, darkest_ev)
        if difference is not None:
            return difference
    return None


def _smooth_difference(
    levels: Levels, under: Levels, told: Mask, darkest_ev: float
) -> float | None:
    # Averaged, else of noisy light only what happens to be bright would be chosen.
    own, below = (_quiet(one) for one in (levels, under))
    smooth = (slope(own) < 0.05) & (slope(below) < 0.05)
    told = told & smooth & (own > darkest_ev) & (below > darkest_ev)
    if told.sum() < ENOUGH_SMOOTH:
        return None
    bright = told & (own >= np.percentile(own[told], 40))
    low, middle, high = np.percentile((own - below)[bright], (25, 50, 75))
    return float(middle) if middle > 0 and high - low < MOST_SPREAD_EV else None


def _quiet(levels: Levels) -> Floats:
    """(h, w) stops of averaged light; where it is dim of green, with its noise below black."""
    green = [c for c, name in enumerate(levels.frame.channels) if name[0] in "GL"]
    dim = levels.ev < DIM_EV
    light = np.where(dim, levels.rendered[..., green].mean(axis=-1), np.exp2(levels.ev))
    return np.asarray(np.log2(np.maximum(cv2.blur(light, QUIET), 2.0**FLOOR_EV)), np.float32)


def _all_respond(levels: Levels) -> Mask:
    """(h, w) True where no channel is near its clip, nor beside such a place."""
    clips = np.asarray((levels.rendered >= 0.9 * levels.top).any(axis=-1), np.uint8)
    return np.equal(cv2.dilate(clips, np.ones((3, 3), np.uint8)), 0)


def _by_area(ev: Floats, under_ev: Floats) -> float:
    """Stops by which one picture is darker, roughly: as much of it is brighter than a level.

    Looks at levels that only the outline's own fall passes through where all else is clipped.
    """
    levels = np.arange(*OUTLINE_EV, 0.1)
    count = (ev[..., None] > levels).sum(axis=(0, 1))
    brightest_first = np.sort(under_ev, axis=None)[::-1]
    return float(np.median(levels - brightest_first[np.maximum(count, 1) - 1]))


def _laid_on(levels: Levels, under: Levels, shift: Shift) -> float | None:
    """Stops by which a frame is darker where it lies on the other; None if too little is seen.

    A median in which steep places weigh less, since they hang on the shift.
    """
    below = moved(under.ev, -shift.x, -shift.y)
    told = _all_respond(levels) & (levels.ev > FAINTEST_EV) & (below > DARKEST_EV)
    if told.sum() < ENOUGH_LAID_ON:
        return None
    difference, weight = (levels.ev - below)[told], 1 / (0.03 + slope(below)[told])
    order = np.argsort(difference)
    total = np.cumsum(weight[order])
    return float(difference[order][np.searchsorted(total, total[-1] / 2)])


def _subject_shift(levels: Levels, zones: Zones, under: Levels, difference: float) -> Shift:
    line_ev = LINE_EV + min(0.0, float(np.median(levels.ev[zones.backdrop])))
    near = cv2.dilate(zones.subject.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    points, normals = line_of_light(levels.ev, line_ev, near | zones.backdrop)
    beside = near[points[:, 1].astype(int), points[:, 0].astype(int)]
    if beside.sum() < LEAST_POINTS:
        return Shift()  # nothing stands before the background
    there = np.asarray(under.ev + np.float32(difference), np.float32)
    reach = REACH * max(levels.ev.shape)
    shift = find_shift(
        points[beside], normals[beside], levels.ev, there, line_ev, reach=max(6.0, reach)
    )
    if (
        shift is None
        or shift.share < LEAST_SHARE
        or shift.spread > MOST_MISFIT
        or np.hypot(shift.x, shift.y) > reach
    ):
        raise UnderError(MOVED)
    return shift
