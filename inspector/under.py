"""The under frame: the same pose one to three stops darker shows what lies beneath the clip."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from inspector.align import LEAST_POINTS, Line, Shift, find_shift, line_of_light
from inspector.apex import stops_brighter
from inspector.arrays import Floats, Mask, Points, disc, grown
from inspector.cast import read_through
from inspector.darker import by_area, laid_on, stops_darker
from inspector.levels import RESPONDS, Levels, Under
from inspector.other_light import stops_turned_down
from inspector.sway import find_sway, moved_to
from inspector.zones import SURROUND, Zones

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
NEAR = (5, 5)
"""Working pixels around a place that say whether it has moved with the subject."""
OFF_BORDER_PX = 4
"""So near the backdrop's own border, which stays, no sway is read, working pixels."""
AGREES_EV, WRONG_EV, MOST_FILLED_PX = 0.05, 0.3, 10
"""Light beneath what has clipped agrees with it down to so many stops under the ceiling, and is
wrong from so many on; then what agrees so near, working pixels, tells the level."""
LIT_EV = -5.0
"""Brighter light, stops of the darker frame, is the backdrop's, mostly."""
ALIKE_EV = 0.1
"""By so much more the outline may tell without speaking against it, stops."""
ROUGH_EV = 1.0
"""How far the outline, the two laid on each other, or their settings may correct what the areas
alone said."""
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
    seen, turned_down = stops_darker(levels, under), _turned_down(levels, under)
    difference = seen or 0.0
    if seen is None or turned_down:
        difference = max(difference, by_area(levels.ev, under.ev))
    if not LEAST_STOPS <= difference <= MOST_STOPS:
        said = f"{difference:.1f} stops darker" if difference >= 0.05 else "no darker"
        raise UnderError(f"it is {said}; take it one to three stops darker")
    line = _line(levels, zones)
    shift = _subject_shift(levels, line, under.ev + np.float32(difference))
    if turned_down:
        seen = _without_other_light(levels, zones, under, shift, seen=seen, rough=difference)
    difference = _told(levels, under, shift, rough=difference) if seen is None else seen
    own = line.within(~grown(zones.label == SURROUND, OFF_BORDER_PX))
    sway = find_sway(own, levels.ev, under.ev + np.float32(difference), shift)
    top = under.top * 2.0**difference
    still = under.rendered * np.float32(2.0**difference)
    along = moved_to(still, sway)
    apart = tuple(_apart(levels, one) for one in (along, still))
    _check_pose(levels, zones, (along, still), apart)
    nearer = np.less_equal(*(cv2.blur(a.mean(axis=2), NEAR) for a in apart))
    below = np.where(nearer[..., None], along, still)
    lost = levels.rendered >= RESPONDS * levels.frame.gains
    below = _filled(below, levels, np.asarray(lost.all(axis=2)), top)
    # What has clipped is at least so bright, whatever a step aside makes of it.
    rendered = np.where(lost, np.maximum(below, levels.rendered), levels.rendered)
    carried_on = replace(levels, rendered=rendered, top=top, under=Under(under, sway, difference))
    return read_through(carried_on)


def _stops(rendered: Floats, top: Points, levels: Levels) -> Floats:
    """(h, w) stops of other rendered light, by the tint of a frame."""
    return read_through(replace(levels, rendered=rendered, top=top)).ev


def _filled(below: Floats, levels: Levels, clipped: Mask, top: Points) -> Floats:
    """Light beneath a frame, (h, w, C); where it is too dark for what has clipped, the most nearby.

    There the subject has moved in a way that was not followed, as the sides of a small gap may.
    """
    ev = _stops(below, top, levels)
    agrees = clipped & (ev >= levels.ceiling_ev - AGREES_EV)
    wrong = clipped & (ev < levels.ceiling_ev - WRONG_EV)
    if not wrong.any():
        return below
    nearby = cv2.dilate(np.where(agrees[..., None], below, np.float32(0)), disc(MOST_FILLED_PX))
    return np.where(wrong[..., None], np.maximum(below, nearby.reshape(below.shape)), below)


def _turned_down(levels: Levels, under: Levels) -> bool:
    """Whether not the settings, as far as is known, but the light has made a frame darker.

    Then other light, which lights what is dark, may have stayed as it was.
    """
    settings = stops_brighter(levels.frame.shot, under.frame.shot)
    return settings is None or settings < LEAST_STOPS


def _without_other_light(
    levels: Levels, zones: Zones, under: Levels, shift: Shift, *, seen: float | None, rough: float
) -> float | None:
    """Stops by which the light was turned down, whatever else lights what is dark.

    What is bright tells best, if there is anything that responds in both; else what is ``seen``.
    But light that stays can only make it look as if less had been taken off than the outline says.
    """
    lit = stops_darker(levels, under, darkest_ev=LIT_EV)
    told, by_outline = seen if lit is None else lit, stops_turned_down(levels, under, shift, zones)
    if by_outline is None or abs(by_outline - rough) >= ROUGH_EV:
        return told
    return by_outline if told is None or by_outline > told + ALIKE_EV else told


def _told(levels: Levels, under: Levels, shift: Shift, rough: float) -> float:
    """Stops by which a frame is darker: as the two laid on each other say, else their settings.

    Neither counts that is far from what the areas alone say, ``rough``: the light may have been
    changed, too.
    """
    finer = laid_on(levels, under, shift)
    if finer is None:
        finer = stops_brighter(levels.frame.shot, under.frame.shot)
    return finer if finer is not None and abs(finer - rough) < ROUGH_EV else rough


def _apart(levels: Levels, below: Floats) -> Floats:
    """(h, w, C) stops between light beneath and that of the frame, as far as each channel responds.

    The subject has moved, its backdrop has not: by this each place knows with which it goes. Tinted
    light saturates one channel after the other, so that stops of both together compare two things.
    """
    top = RESPONDS * levels.frame.gains
    own, other = (np.clip(c, 2.0**NOISE_EV, top) for c in (levels.rendered, below))
    return np.abs(np.log2(np.asarray(other / own, np.float32)))


def _check_pose(
    levels: Levels, zones: Zones, belows: tuple[Floats, ...], aparts: tuple[Floats, ...]
) -> None:
    """Raise UnderError where the light beneath is not that of the frame, in any channel.

    Neither moved along with the subject nor as the set has stood, ``belows``: each the rendered
    light (h, w, C), and the stops between it and the frame's. What is under the line of light in
    both may differ: other light in the room has lit it.
    """
    moved, line = zones.backdrop | zones.subject, 2.0 ** _line_ev(levels, zones)
    for below, apart in zip(belows, aparts, strict=True):
        lit = np.maximum(below.min(axis=2), levels.rendered.min(axis=2)) > line
        moved = moved & lit & (apart.min(axis=2) > APART_EV)
    wide = cv2.morphologyEx(
        moved.astype(np.uint8), cv2.MORPH_OPEN, disc(round(APART_REACH * max(moved.shape)))
    )
    if wide.sum() > MOST_APART * max(1, zones.subject.sum()):
        raise UnderError(MOVED)


def _subject_shift(levels: Levels, line: Line, there: Floats) -> Shift:
    """Working pixels by which the subject as a whole stands elsewhere; UnderError if too far."""
    if len(line.points) < LEAST_POINTS:
        return Shift()  # nothing stands before the background
    reach = REACH * max(levels.ev.shape)
    shift = find_shift(line, levels.ev, there, reach=max(6.0, reach))
    if (
        shift is None
        or shift.share < LEAST_SHARE
        or shift.spread > MOST_MISFIT
        or np.hypot(shift.x, shift.y) > reach
    ):
        raise UnderError(MOVED)
    return shift


def _line_ev(levels: Levels, zones: Zones) -> float:
    """Stops of the line of light; what is darker in both frames is not compared."""
    return LINE_EV + min(0.0, float(np.median(levels.ev[zones.backdrop])))


def _line(levels: Levels, zones: Zones) -> Line:
    """The line of light around the subject, by which the two are laid on each other."""
    level = _line_ev(levels, zones)
    near = grown(zones.subject, 4)
    return line_of_light(levels.ev, level, near | zones.backdrop).within(near)
