"""The empty set, before the talent is called: white, how even, how far over, what to change."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import floor

import numpy as np

from inspector.advice import stop_word, stops_text, thirds_up
from inspector.arrays import Floats, Mask
from inspector.bracket import Bracket, lay_bracket
from inspector.exposure import AT_CEILING
from inspector.frame import Frame
from inspector.inspect import Inspection, inspect
from inspector.levels import WHITE, Levels, measure_levels
from inspector.pair import smooth_within
from inspector.place import Box, place_in
from inspector.strays import LIGHT, OBJECT, Stray, at_place, find_strays
from inspector.tint import backdrop_stops
from inspector.verdict import Limits
from inspector.zones import dim_panels

PERCENTILES = (1, 5, 50, 95, 99)
SMOOTH = 0.008
"""Width over which the weakest part is looked for, part of the long side."""
NOISE = 0.0025
"""Width of the Gaussian that takes noise off the background, part of the long side."""
SPARE_EV = 1.0
"""With so many stops to spare, taking power off is worth a word."""
GREY_EV = -1.5
"""A background darker than this is to be lit before anything is taken out of it."""
FULL = 0.999
"""Part of a box from which the background fills it: a speck at its rim does not count."""


class BoxError(ValueError):
    """Why a box cannot be looked at, as a sentence."""


@dataclass(frozen=True)
class Weakest:
    """The darkest part of the background: where, its middle in viewed pixels, its stops."""

    where: str
    at: tuple[float, float]
    ev: float


@dataclass(frozen=True)
class Stand:
    """The box in which the subject will stand: part that is background, part paper white."""

    box: Box
    background: float
    white: float
    missing: str | None

    @property
    def filled(self) -> bool:
        """Whether the background fills it."""
        return self.background >= FULL


@dataclass(frozen=True, eq=False)
class Plate:
    """What is known of an empty set.

    Attributes
    ----------
    inspection : Inspection
        Of the frame alone, as ``check`` judges it.
    levels : Levels
        Those of the frame, carried on above its clip by the bracket if there is one.
    ev : ndarray, float32
        (h, w) stops of the background over white.
    inner : ndarray, bool
        (h, w) True on the background, fringe left out.
    over_ev : dict of int to float
        Percentiles of the background's stops; those at the ceiling are at least that.
    ceiling_ev : float
    evenness_ev : float
        99th less 1st percentile.
    spare_ev : float
        Stops of power that can come off before the background falls short; below zero, those
        that it lacks. ``spare_is``: ``exact``, or ``at_least`` above the ceiling.
    ready : bool
        Whether the talent can be called.
    advice : str
        That, or what to change first.
    """

    inspection: Inspection
    levels: Levels
    ev: Floats
    inner: Mask
    over_ev: dict[int, float]
    ceiling_ev: float
    evenness_ev: float | None
    spare_ev: float | None
    spare_is: str
    weakest: Weakest | None
    strays: tuple[Stray, ...]
    stand: Stand | None
    bracket: Bracket | None
    ready: bool
    advice: str

    def at_ceiling(self, ev: float) -> bool:
        """Whether a reading may be any higher."""
        return ev > self.ceiling_ev - AT_CEILING


def inspect_plate(
    frame: Frame,
    *,
    bracket: Frame | None = None,
    box: Box | None = None,
    flash: bool = False,
    limits: Limits | None = None,
) -> Plate:
    """Judge an empty set.

    Parameters
    ----------
    bracket : Frame, optional
        The same set, stopped down until nothing clips.
    box : tuple of int, optional
        x0, y0, x1, y1 in viewed pixels, half open: where the subject will stand.
    flash : bool
        The light is flash alone, so that the shutter time does not change it.

    Raises
    ------
    BracketError
        If the bracket has another size, or is not darker.
    BoxError
        If the box does not lie in the picture.
    """
    limits = limits or Limits()
    seen = inspect(frame, limits=limits)
    if dim_panels(seen.levels.ev, seen.zones).any():
        seen = inspect(frame, plate=seen, limits=limits)  # in an empty set they are background
    levels, used = seen.levels, None
    if bracket is not None:
        # Nothing clips in a bracket, so where it would is known from the plate alone.
        darker = measure_levels(bracket, clip=levels.clip)
        levels, used = lay_bracket(levels, darker, flash=flash)
    inner = seen.zones.backdrop & ~seen.zones.fringe
    ev = _background_ev(levels, seen, inner)
    stand = _stand(box, seen) if box is not None else None
    strays = find_strays(levels, seen.zones, ev) if seen.zones.found else ()
    over, spare = {}, None
    if inner.any():
        values = np.minimum(ev[inner], levels.ceiling_ev)
        read = np.percentile(values, PERCENTILES)
        over = {p: float(v) for p, v in zip(PERCENTILES, read, strict=True)}
        spare = _spare_ev(values, seen)
    pinned = spare is not None and spare > levels.ceiling_ev - AT_CEILING
    plate = Plate(
        inspection=seen,
        levels=levels,
        ev=ev,
        inner=inner,
        over_ev=over,
        ceiling_ev=levels.ceiling_ev,
        evenness_ev=over[99] - over[1] if over else None,
        spare_ev=spare,
        spare_is="at_least" if pinned else "exact",
        weakest=_weakest(ev, inner, levels),
        strays=strays,
        stand=stand,
        bracket=used,
        ready=False,
        advice="",
    )
    change = _first_change(plate)
    return replace(plate, ready=change is None, advice=change or _call(plate))


def _spare_ev(values: Floats, seen: Inspection) -> float:
    """Stops of power that can come off a background of these (N,) stops; below zero, it lacks."""
    least = seen.limits.white_fraction
    spare = float(np.quantile(values, 1 - least) - np.log2(WHITE))
    # What the cells say decides; the stops say by how much.
    is_white = (seen.exposure.white_fraction or 0.0) >= least
    return max(spare, 0.0) if is_white else min(spare, -0.01)


def _background_ev(levels: Levels, seen: Inspection, inner: Mask) -> Floats:
    """Stops of the background, its noise smoothed away; of other parts as they are."""
    if not inner.any():
        return levels.ev
    ev = backdrop_stops(levels, seen.zones)
    smooth = smooth_within(ev, inner, max(NOISE * max(ev.shape), 1.0))
    return np.asarray(np.where(inner, smooth, ev), np.float32)


def _weakest(ev: Floats, inner: Mask, levels: Levels) -> Weakest | None:
    """The darkest place of the smoothed background."""
    if not inner.any():
        return None
    smooth = np.where(inner, smooth_within(ev, inner, SMOOTH * max(ev.shape)), np.inf)
    y, x = (int(n) for n in np.unravel_index(int(smooth.argmin()), smooth.shape))
    at = levels.to_view(np.array([x + 0.5, y + 0.5]))
    box = (int(at[0]), int(at[1]), int(at[0]) + 1, int(at[1]) + 1)
    return Weakest(
        place_in(box, levels.frame.size), (float(at[0]), float(at[1])), float(smooth[y, x])
    )


def _stand(box: Box, seen: Inspection) -> Stand:
    width, height = seen.frame.size
    x0, y0, x1, y1 = box
    if not (0 <= x0 < x1 <= width and 0 <= y0 < y1 <= height):
        raise BoxError(
            f"the box {x0},{y0},{x1},{y1} does not lie in the picture of {width} × {height} pixels"
        )
    corners = seen.levels.from_view(np.array([[x0, y0], [x1, y1]], float))
    (left, top), (right, bottom) = np.rint(corners).astype(int).tolist()
    part = np.s_[max(0, top) : max(bottom, top + 1), max(0, left) : max(right, left + 1)]
    there = seen.zones.backdrop[part]
    missing = None
    if there.mean() < FULL:
        y, x = np.nonzero(~there)
        hole = (int(x.min()), int(y.min()), int(x.max()) + 1, int(y.max()) + 1)
        missing = place_in(hole, (there.shape[1], there.shape[0]))
    white = float(seen.levels.white[part][there].mean()) if there.any() else 0.0
    return Stand(box, float(there.mean()), white, missing)


def _first_change(plate: Plate) -> str | None:
    """What to change before anybody is called; None if nothing."""
    seen = plate.inspection
    if not seen.zones.found or plate.weakest is None or plate.spare_ev is None:
        reason = seen.verdict.reasons[0]
        return reason.advice or reason.text
    thing = next((s for s in plate.strays if s.kind == OBJECT), None)
    if thing is not None and plate.over_ev[50] > GREY_EV:
        return f"Take out what stands before the background {at_place(thing.where)}"
    if plate.spare_ev < 0:
        return _raise(plate.over_ev[50], plate.spare_ev, plate.weakest)
    if plate.stand is not None and not plate.stand.filled:
        gap = plate.stand.missing or "all over"
        where = "" if gap == "all over" else f", {at_place(gap)}"
        return (
            "Move the background or the subject's place: "
            f"{100 * (1 - plate.stand.background):.0f} % of the box has no background{where}"
        )
    light = next((s for s in plate.strays if s.kind == LIGHT), None)
    if light is not None:
        return f"Flag the light that falls beside the background {at_place(light.where)}"
    return None


def _raise(middle: float, spare: float, weakest: Weakest) -> str:
    need = thirds_up(-spare)
    if middle >= 0:
        return (
            f"Turn the light towards the {_plain(weakest.where)}: it is {stops_text(-weakest.ev)} "
            f"short; or raise the background light by {stop_word(need)}"
        )
    return f"Raise the background light by {stop_word(need)} (power × {2.0**need:.2g})"


def _call(plate: Plate) -> str:
    spare = floor((plate.spare_ev or 0.0) * 3 + 0.05) / 3
    if spare < SPARE_EV:
        return "Call the talent"
    least = "at least " if plate.spare_is == "at_least" else ""
    return (
        f"Call the talent; {least}{stop_word(spare)} of background power can come off first, "
        "which spares the edge"
    )


def _plain(where: str) -> str:
    return {"all over": "middle", "centre": "middle"}.get(where, where)
