"""Drift and misfires over a set: what changes from frame to frame though nobody changed it.

Each signal is compared with an anchor, the median of the first frames since the last change, in
units of its own scatter (median absolute difference of neighbours; Rousseeuw and Croux, JASA
88(424), 1993). A single frame that jumps is named at once; a slow change when the median of the
last frames has left the anchor. With Gaussian scatter of up to 0.1 stop in every signal the rule
raises fewer than one false alarm in 10,000 frames.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import sqrt
from pathlib import PurePath
from statistics import median
from typing import Any

from inspector.advice import stops_text

Record = dict[str, Any]

FIRST = 5
"""Frames that make an anchor."""
RECENT = 7
"""Frames whose median tells a slow change."""
REMEMBERED = 30
"""Frames from which the scatter is taken."""
STAYS = 3
"""Frames at a new level after which it is the level."""
JUMP_EV, SLOW_EV = 1 / 3, 0.27
"""Least change that is named, at once and slow: a third of a stop, the latter less its lag."""
JUMP_SCATTERS, SLOW_SCATTERS = 8.0, 4.0
"""The same in scatters, whichever is more."""
LEAST_SCATTER = 0.03
"""Flash and shutter are not steadier than this, stops."""
SUBJECT_EV = 2 / 3
"""The subject's own light changes with every pose; less than this is not named."""
MISFIRE_EV = -1.5
"""A background that falls further had no flash on it."""
CEILING_EV = 0.05
"""The white balance is no longer the same, stops of the ceiling."""
AT_CEILING = 0.05


@dataclass(frozen=True)
class Event:
    """One thing that happened, named once.

    ``code`` is ``misfire``, ``jump``, ``drift``, ``uneven``, ``subject-light`` or
    ``white-balance``; ``ev`` the change in stops where there is one.
    """

    code: str
    path: str
    text: str
    ev: float | None = None


@dataclass(frozen=True)
class Signal:
    """One figure from frame to frame.

    ``since`` names the frame from which on it is compared, ``away`` are the latest frames that
    jumped, in a row.
    """

    anchor: float | None = None
    since: str = ""
    values: tuple[float, ...] = ()
    steps: tuple[float, ...] = ()
    away: tuple[float, ...] = ()

    @property
    def scatter(self) -> float:
        """Standard deviation of a frame, stops."""
        if len(self.steps) < FIRST - 1:
            return LEAST_SCATTER
        # Neighbours differ by the root of two times the scatter; 1.4826 makes the median a sigma.
        return max(LEAST_SCATTER, 1.4826 * median(self.steps) / sqrt(2))


SIGNALS = ("background", "weakest", "subject")


@dataclass(frozen=True)
class State:
    """What must be known of the frames so far."""

    signals: dict[str, Signal] = field(default_factory=lambda: {n: Signal() for n in SIGNALS})
    settings: tuple[float | None, ...] | None = None
    ceiling_ev: float | None = None
    white_balance_named: bool = False
    misfired: bool = False
    taken_at: str = ""


def follow(state: State, record: Record) -> tuple[State, tuple[Event, ...]]:
    """Take in the record of one more frame; what happened at it.

    Frames that were taken before one that is known already, unreadable ones and under frames change
    nothing.
    """
    if record.get("under_of"):
        return state, ()  # should the light have fallen, the next frame shows it
    taken_at = record["frame"]["taken_at"] or state.taken_at
    if record["verdict"] == "unreadable" or taken_at < state.taken_at:
        return state, ()
    state = replace(state, taken_at=taken_at)
    if any(reason["code"] == "no-flash" for reason in record["reasons"]):
        return _misfire(state, record, None)
    if not record["backdrop"]["found"]:
        return state, ()
    state = _with_settings(state, record)
    background = _background(record)
    dropped = _off(state.signals["background"], background)
    if dropped is not None and dropped < MISFIRE_EV:
        return _misfire(state, record, dropped)
    events: list[Event] = []
    signals = dict(state.signals)
    values = {
        "background": background,
        "weakest": _weakest(record),
        "subject": _subject(record),
    }
    for name, value in values.items():
        if value is None:
            continue
        least = SUBJECT_EV if name == "subject" else 0.0
        before = signals[name]
        signals[name], change, code = _take(before, value, least, _name(record))
        if code and not events:  # one cause, one line: the subject follows the background
            events.append(_named(name, code, change, before.since, record))
    state, balance = _white_balance(replace(state, signals=signals, misfired=False), record)
    return state, (*events, *balance)


def _take(
    signal: Signal, value: float, least: float, frame: str
) -> tuple[Signal, float, str | None]:
    """The signal with one more value; the change and its code if one is to be named."""
    if signal.anchor is None:
        values = (*signal.values, value)
        anchor = median(values) if len(values) == FIRST else None
        since = signal.since if signal.values else frame
        first = replace(_stepped(signal, value), values=values, anchor=anchor, since=since)
        return first, 0.0, None
    jump = value - median(signal.values[-RECENT:])
    if abs(jump) > max(JUMP_EV, JUMP_SCATTERS * signal.scatter, least):
        return _jumped(signal, value, jump, frame)
    signal = replace(_stepped(signal, value), away=())
    signal = replace(signal, values=(*signal.values, value)[-REMEMBERED:])
    slow = median(signal.values[-RECENT:]) - (signal.anchor or 0.0)
    if abs(slow) > max(SLOW_EV, SLOW_SCATTERS * signal.scatter, least):
        settled = signal.values[-RECENT:]
        moved = replace(signal, anchor=median(settled), since=frame, values=settled)
        return moved, slow, "drift"
    return signal, 0.0, None


def _jumped(
    signal: Signal, value: float, jump: float, frame: str
) -> tuple[Signal, float, str | None]:
    """Name the first frame that jumps; take its level for the level once it stays."""
    same = [v for v in signal.away if abs(v - value) < JUMP_EV]
    away = (*signal.away, value)
    if len(same) + 1 >= STAYS:
        return Signal(median(away), frame, away, signal.steps), 0.0, None
    return replace(signal, away=away), jump, None if same else "jump"


def _stepped(signal: Signal, value: float) -> Signal:
    if not signal.values:
        return signal
    step = abs(value - signal.values[-1])
    return replace(signal, steps=(*signal.steps, step)[-REMEMBERED:])


def _off(signal: Signal, value: float | None) -> float | None:
    if value is None or not signal.values:
        return None
    return value - median(signal.values[-RECENT:])


def _misfire(state: State, record: Record, ev: float | None) -> tuple[State, tuple[Event, ...]]:
    """The first of a row of frames without flash; what they show is no measure of the rest."""
    if state.misfired:
        return state, ()
    under = "" if ev is None else f", the background is {stops_text(-ev)} under the frames before"
    text = f"{_name(record)}: the flash did not fire{under}; check trigger, battery and recycling"
    return replace(state, misfired=True), (Event("misfire", _path(record), text, ev),)


def _with_settings(state: State, record: Record) -> State:
    """The state, its anchors dropped where the settings were changed on purpose."""
    frame = record["frame"]
    settings = (frame["aperture_f"], frame["shutter_s"], frame["iso"])
    if state.settings in (None, settings):
        return replace(state, settings=settings)
    fresh = {name: replace(s, anchor=None, values=(), away=()) for name, s in state.signals.items()}
    return replace(state, settings=settings, signals=fresh)


def _white_balance(state: State, record: Record) -> tuple[State, tuple[Event, ...]]:
    ceiling = _ceiling(record)
    if ceiling is None:
        return state, ()
    before = state.ceiling_ev
    state = replace(state, ceiling_ev=ceiling)
    if before is None or abs(ceiling - before) < CEILING_EV or state.white_balance_named:
        return state, ()
    text = (
        f"{_name(record)}: the white balance is not that of the frames before, and paper white "
        "moves with it; fix it by hand"
    )
    event = Event("white-balance", _path(record), text, ceiling - before)
    return replace(state, white_balance_named=True), (event,)


def _ceiling(record: Record) -> float | None:
    """The ceiling of the frame alone, without one under it."""
    ceiling, under = record["clip"]["ceiling_ev"], record.get("under")
    return None if ceiling is None else float(ceiling - (under["stops"] if under else 0.0))


def _background(record: Record) -> float | None:
    """Stops of the background's middle, or of its weakest hundredth while the middle clips.

    A value at the ceiling may be any higher: a fall from there shows, if less than it is.
    """
    backdrop, ceiling = record["backdrop"], _ceiling(record)
    middle = backdrop["ev_p50"]
    if middle is None or ceiling is None:
        return None
    return float(min(middle, ceiling - AT_CEILING))


def _weakest(record: Record) -> float | None:
    """Stops of the weakest hundredth against the middle; None where the middle clips."""
    backdrop, ceiling = record["backdrop"], _ceiling(record)
    weak, middle = backdrop["ev_p1"], backdrop["ev_p50"]
    if weak is None or middle is None or ceiling is None or middle > ceiling - AT_CEILING:
        return None
    return float(weak - middle)


def _subject(record: Record) -> float | None:
    depth = record["subject"]["depth_ev"]
    return None if depth is None else -float(depth)


def _named(name: str, code: str, ev: float, since: str, record: Record) -> Event:
    size = stops_text(abs(ev))
    if name == "background" and code == "jump":
        why = "not recycled, or a light was moved" if ev < 0 else "was its power changed?"
        text = f"the background is {size} {'under' if ev < 0 else 'over'} the frames before; {why}"
    elif name == "background":
        why = "battery or power" if ev < 0 else "power"
        text = f"the background has {_way(ev)} by {size} since {since}; check {why}"
    elif name == "weakest":
        more = "less even" if ev < 0 else "more even"
        code, text = "uneven", f"the background is {size} {more} than before; was a light knocked?"
    else:
        code = "subject-light"
        text = f"the subject's light has {_way(ev)} by {size}; did a panel or a flag move?"
    return Event(code, _path(record), f"{_name(record)}: {text}", ev)


def _way(ev: float) -> str:
    return "come up" if ev > 0 else "gone down"


def _path(record: Record) -> str:
    return str(record["frame"]["path"])


def _name(record: Record) -> str:
    return PurePath(_path(record)).name


def in_order(records: Sequence[Record]) -> list[Record]:
    """The frames of a set in the order in which they were taken, as given where that is unknown."""
    return sorted(records, key=lambda r: r["frame"]["taken_at"] or "")


def events_of(records: Sequence[Record]) -> list[Event]:
    """All that happened over a set."""
    state = State()
    found: list[Event] = []
    for record in in_order(records):
        state, events = follow(state, record)
        found += events
    return found
