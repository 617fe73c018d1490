"""What lies across the edge at each of its points: where white ends, how light falls inwards."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspector.arrays import Floats, Mask, Points
from inspector.halfway import Begins
from inspector.headroom import THIN_MARGIN_PX, Headroom, find_headroom
from inspector.levels import WHITE, Levels
from inspector.outline import (
    TOLERANCE_PX,
    Outline,
    average_along,
    joined,
    mean_along,
    read,
    read_along,
    within,
)
from inspector.profile import read_sites
from inspector.zones import Zones

REACH = 0.036
"""How far a profile is followed on either side, part of the long side (at least 30 pixels)."""
EARLY, FIRST = 0.8, 0.6
"""Levels under white to which light falls at first."""
NEARLY_PX = 8.0
"""From so far outside on light is followed down to a level, pixels."""
TWO_STOPS = 0.25
"""Two stops under white: the lower end of the fall that tells spill from a clean edge."""
DEPARTS_EV = 0.1
"""The subject begins where the light is this much under the backdrop beside it, stops."""
LEAVES = 2.0
"""By so many sigmas of the blur the light leaves the backdrop's level before the subject begins, as
far as the working picture shows."""
LIFT_AT = np.arange(-70.0, -3.0, 2.0)
"""Where a rise in the light outside is looked for, pixels; for a tolerance of 3 px, as in spill."""
LONG_LIFT, MOST_DROP_EV = 41, 0.3
"""Points over which a rise or drop is averaged that goes on for long: as many as 80 px. A single
drop of more stops is no light on the subject."""
AT_CEILING_EV = 0.05
"""So near the ceiling the backdrop's own level is not told, stops."""
BESIDE_PX, FALLS_SHORT_EV = 12.0, 0.5
"""Where the light nowhere within so many pixels comes so near to the backdrop's level as carried on
from around, stops, the backdrop itself falls short, and the traced outline may lie before it."""
STRAND_MARGIN = 3.0
"""So near a strand the outline is bent by it, working pixels."""


@dataclass(frozen=True, eq=False)
class Across:
    """The profiles across the edge at N outline points.

    Attributes
    ----------
    outline : Outline
        The traced points.
    white_at : ndarray, float64
        (N,) offset inwards from the point at which white ends, pixels; NaN where there is none.
    washed : ndarray, float64
        (N,) pixels to the subject's middle where white reaches that far; NaN elsewhere.
    fall : ndarray, float64
        (N,) pixels from white to two stops under it; NaN where it cannot be told.
    least_fall : ndarray, float64
        (N,) the same; to its middle, on a limb too thin for that.
    rise : ndarray, float64
        (N,) pixels between 10 and 90 % of the way from core level to white, seen coarsely but far
        inwards; NaN where light does not fall so low.
    early, first : ndarray, float64
        (N,) pixels from white to 0.8 and 0.6 of it: before a lit rim light falls fast at first; NaN
        where it does not fall so low.
    overlap : ndarray, float64
        (N,) pixels of white inside the place where the light departs from the backdrop's; at
        least that much where the backdrop is at the ceiling; NaN where white does not reach.
    told : ndarray, bool
        (N,) whether the backdrop there is under the ceiling, so that an overlap is seen in full.
    backdrop_ev : ndarray, float64
        (N,) the backdrop's stops there.
    headroom : Headroom
        Exposure changes at which white would cross the edge, did no spill hide the outline.
    tangled : ndarray, bool
        (N,) whether a strand hangs before the backdrop there.
    lift_ev : ndarray, float64
        (N,) the greatest sudden rise in the white light outside, looking inwards, stops.
    long_lift_ev : ndarray, float64
        (N,) the greatest that goes on so far outside along the outline, mean over a long stretch.
    long_drop_ev : ndarray, float64
        (N,) the greatest sudden drop that does so, stops.
    spilled_ev : ndarray, float64
        (N,) the headroom, were the outline where the light departs from the backdrop's: not above
        zero, and at most that where the light is at the ceiling.
    """

    outline: Outline
    white_at: Points
    washed: Points
    fall: Points
    least_fall: Points
    rise: Points
    early: Points
    first: Points
    overlap: Points
    told: Mask
    backdrop_ev: Points
    tangled: Mask
    lift_ev: Points
    long_lift_ev: Points
    long_drop_ev: Points
    headroom: Headroom
    spilled_ev: Points


def look_across(
    levels: Levels, zones: Zones, begins: Begins, away: Floats, *, core: float, tolerance: float
) -> Across:
    """Read the profiles along all outlines.

    Parameters
    ----------
    begins : Begins
        Where the subject truly begins along them.
    away : ndarray, float32
        (h, w) distance to the backdrop, working pixels.
    core : float
        Rendered level of the subject's core.
    tolerance : float
        Pixels by which white may cross the outline (contract: spill).
    """
    outline = joined(zones.outlines)
    offsets = _offsets(max(30.0, REACH * max(levels.frame.size)))
    start, step = levels.from_view(outline.points), outline.inward / levels.scale
    depth = read_along(away, start, step, offsets) * levels.scale
    past, thickness = _past_the_middle(depth, offsets, levels.scale)
    level = _light(levels, outline, offsets, past)
    white_at, dark_at = _white_and_dark(level, offsets)
    high, early_at, first_at, low = _on_the_way_down(level, offsets, core)
    too_thin = dark_at > thickness - THIN_MARGIN_PX

    outside = offsets[offsets < tolerance + 2]
    ev = mean_along(read_along(levels.ev, start, step, outside), outline.line)
    slope = read_along(zones.backdrop_ev, start, step, outside)
    at_outline = slope[:, outside == 0]
    overlap = _overlap(ev - (slope - at_outline), outside, white_at)
    lift_at = LIFT_AT * tolerance / TOLERANCE_PX
    rises = _rises(read_along(levels.ev, start, step, lift_at))
    drops = np.where(rises > -MOST_DROP_EV, -rises, np.nan)
    beside = (outside >= -BESIDE_PX) & (outside <= 0)
    short = (ev - slope)[:, beside].max(axis=1) < -FALLS_SHORT_EV
    strands = within(zones.strands, STRAND_MARGIN).astype(np.float32)
    bent = read(strands, start) > 0.5
    return Across(
        outline=outline,
        white_at=white_at,
        washed=np.where(_lowest(level[:, offsets >= 0]) >= WHITE, thickness, np.nan),
        fall=np.where(too_thin, np.nan, dark_at - white_at),
        least_fall=np.fmin(dark_at, thickness - THIN_MARGIN_PX) - white_at,
        rise=low - high,
        early=early_at - white_at,
        first=first_at - white_at,
        overlap=overlap,
        told=at_outline[:, 0] < levels.ceiling_ev - AT_CEILING_EV,
        backdrop_ev=np.asarray(at_outline[:, 0], np.float64),
        tangled=np.asarray(read_along(strands, start, step, outside).max(axis=1) > 0.5),
        lift_ev=_greatest(average_along(rises, outline.line)),
        long_lift_ev=_greatest(average_along(rises, outline.line, over=LONG_LIFT)),
        long_drop_ev=_greatest(average_along(drops, outline.line, over=LONG_LIFT)),
        headroom=find_headroom(
            levels, outline, begins, thickness=thickness, bent=bent | short, tolerance=tolerance
        ),
        spilled_ev=_spilled(ev, outside, white_at - overlap + tolerance + LEAVES * zones.blur_px),
    )


def _offsets(reach: float) -> Points:
    """Offsets from ``-reach`` to ``reach``, every pixel near the outline, sparser further off."""
    sparse = 40 * 1.1 ** np.arange(0, np.log(reach / 40) / np.log(1.1))
    far = np.concatenate([np.arange(0.0, 20.0), np.arange(20.0, 40.0, 2), sparse])
    return np.concatenate([-far[:0:-1], far])


def _past_the_middle(depth: Floats, offsets: Points, scale: int) -> tuple[Mask, Points]:
    """True where a profile has passed the subject's middle; (N,) pixels to that middle.

    ``depth`` (N, K) is the distance to the backdrop, pixels.
    """
    highest = np.maximum.accumulate(np.where(offsets < 0, 0, depth), axis=1)
    past = (depth < highest - 0.75 * scale) & (offsets > 0)
    # The distance is to the next pixel's middle: half a pixel more than to the outline.
    return past, np.asarray(highest[:, -1] - 0.5 * scale, np.float64)


def _light(levels: Levels, outline: Outline, offsets: Points, past: Mask) -> Floats:
    """(N, K) rendered level up to white; NaN ``past`` the subject's middle."""
    level = np.minimum(read_sites(levels, outline.points, outline.inward, offsets).rendered, 1)
    level[past] = np.nan
    return average_along(level, outline.line)


def _white_and_dark(level: Floats, offsets: Points) -> tuple[Points, Points]:
    """(N,) offsets at which white ends and, inwards, light falls two stops under it; or NaN."""
    zero = int(np.argmax(offsets >= 0))
    outer, inner = level[:, zero::-1], level[:, zero:]
    white = np.full(len(level), WHITE)
    white_at = np.where(
        inner[:, 0] >= WHITE,
        _first_below(inner, offsets[zero:], white),
        -_first_at_least(outer, -offsets[zero::-1], white),
    )
    core = np.clip(_lowest(inner), 0, 0.5)
    return white_at, _first_below(inner, offsets[zero:], core + TWO_STOPS * (1 - core))


def _on_the_way_down(level: Floats, offsets: Points, core: float) -> list[Points]:
    """(N,) offsets each at which light falls to 90 % (of white over core), 0.8, 0.6 and 10 %."""
    near = offsets >= -NEARLY_PX
    return [
        _first_below(level[:, near], offsets[near], np.full(len(level), at))
        for at in (core + 0.9 * (1 - core), EARLY, FIRST, core + 0.1 * (1 - core))
    ]


def _overlap(ev: Floats, offsets: Points, white_at: Points) -> Points:
    """(N,) pixels from where the light leaves the backdrop's level to where white ends.

    Looking outwards from the end of white, in ``ev`` less the backdrop's own slope: where
    another limb comes first, nothing is known.
    """
    outwards = slice(int(np.argmax(offsets >= 0)), None, -1)
    out, distance = ev[:, outwards], -offsets[outwards]
    beyond = distance >= -white_at[:, None]
    blocked = np.maximum.accumulate(beyond & (out < -DEPARTS_EV / 2), axis=1)
    seen = np.where(beyond, np.where(blocked, np.nan, out), 0)
    limit = _near_highest(seen) - DEPARTS_EV
    departs = _first_at_least(seen, distance, limit)
    return np.where(limit > 0, departs + white_at, np.nan)


def _rises(ev: Floats) -> Floats:
    """(N, R) by how much light (N, K) is brighter over a stretch than over the one before it.

    Stretches of three readings, two apart for the blur; NaN where something dark crosses.
    """
    level = np.where(ev > 0, ev, np.nan)
    mean = np.stack([level[:, i : i + 3].mean(axis=1) for i in range(ev.shape[1] - 2)], axis=1)
    return np.asarray(mean[:, 5:] - mean[:, :-5])


def _greatest(rises: Floats) -> Points:
    """(N,) the greatest of each (N, R), not below zero; 0 where there is none."""
    return np.asarray(np.where(np.isfinite(rises), rises, 0.0).max(axis=1, initial=0.0), np.float64)


def _near_highest(level: Floats) -> Points:
    """(N,) value that one in twenty of each profile is above, NaN left out; 0 if all are."""
    order = np.sort(np.where(np.isfinite(level), level, -np.inf), axis=1)
    known = np.isfinite(order).sum(axis=1)
    place = order.shape[1] - 1 - (known - 1) // 20
    return np.where(known > 0, order[np.arange(len(order)), place.clip(0, order.shape[1] - 1)], 0.0)


def _spilled(ev: Floats, offsets: Points, at: Points) -> Points:
    """(N,) stops, with the sign changed, at an offset inwards; not above zero."""
    place = np.nan_to_num(np.interp(at, offsets, np.arange(len(offsets))))
    before = np.minimum(place.astype(int), len(offsets) - 2)
    row, part = np.arange(len(ev)), place - before
    level = ev[row, before] * (1 - part) + ev[row, before + 1] * part
    return np.where(np.isfinite(at), -np.maximum(level, 0.0), 0.0)


def _lowest(level: Floats) -> Points:
    """(N,) lowest value of each profile, NaN left out; 0 where there is none."""
    lowest = np.where(np.isfinite(level), level, np.inf).min(axis=1, initial=1.0)
    return np.asarray(lowest, np.float64)


def _first_at_least(level: Floats, distance: Points, limit: Points) -> Points:
    """(N,) distance at which each profile first reaches its limit; NaN if it never does."""
    return _first_below(-level, distance, 1e-12 - limit)


def _first_below(level: Floats, distance: Points, limit: Points) -> Points:
    """(N,) distance at which each (N, K) profile first falls below its limit; NaN if never."""
    below = level < limit[:, None]
    first = below.argmax(axis=1)
    before = np.maximum(first - 1, 0)
    row = np.arange(len(level))
    high, low = level[row, before], level[row, first]
    part = np.clip((high - limit) / np.maximum(high - low, 1e-9), 0, 1)
    at = distance[before] + np.where(first > 0, part, 0) * (distance[first] - distance[before])
    return np.where(below.any(axis=1), at, np.nan)
