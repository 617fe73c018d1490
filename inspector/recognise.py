"""Under frames recognised by themselves, right before or after the frame that they lie under.

The records of two neighbours say whether they may be such a pair: background and subject have
fallen alike, by one to three stops, and neither has changed its size. Whether the pose is the
same is found out when the one is laid under the other.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from inspector.apex import exposure_value, speed_value

if TYPE_CHECKING:
    from inspector.record import Row

Record = dict[str, Any]

LEAST_STOPS, MOST_STOPS = 0.8, 3.5
"""A frame this much darker is recognised."""
ALIKE_EV = 0.3
"""Background and subject of an under frame have fallen alike within this, stops."""
TOLD_EV = 0.4
"""The fall is what the exposure tags say within this, stops; lenses are marked in round numbers."""
LEVEL_EV = 0.5
"""A frame within this is as bright as the other, stops."""
BACKDROP_AREA, SUBJECT_AREA = 0.06, 0.25
"""How much the areas of a pair may differ, part of the larger: spill hides some of a subject."""
DEEPEST_EV = 9.0
"""Subjects that lie further under white drown in noise, stops."""
HELD_S = 120.0
"""Longest that a pose is held for a second frame, seconds."""
AT_CEILING = 0.05
KEPT = 64
"""Frames judged last among which neighbours are looked for."""


@dataclass(frozen=True)
class Fall:
    """By how many ``stops`` a frame is darker; ``sure``: the exposure tags say the same.

    With the tags unchanged a light may have fallen.
    """

    stops: float
    sure: bool


@dataclass(frozen=True)
class Pair:
    """``dark`` may lie under ``bright``."""

    bright: Row
    dark: Row
    fall: Fall


def find_pair(row: Row, judged: Sequence[Row]) -> Pair | None:
    """The pair that a frame makes with one of its neighbours among those judged before."""
    order = _in_order((*judged, row))
    for other in _beside(order, row):
        head = _head(other, order)
        pairs = [(head, row)] if other.record.get("under_of") else [(other, row), (row, other)]
        for bright, dark in pairs:
            fall = None if bright is None else fall_between(bright.record, dark.record)
            if bright is None or fall is None or _stays(dark, bright, order):
                continue
            return Pair(bright, dark, fall)
    return None


def with_row(judged: Sequence[Row], row: Row) -> tuple[Row, ...]:
    """The frames judged last, one of them new or judged anew."""
    return (*(r for r in judged if r.path != row.path), row)[-KEPT:]


def fall_between(bright: Record, dark: Record) -> Fall | None:
    """By how much a frame is darker than another of the same pose; None if it is no such frame."""
    if not _comparable(bright, dark):
        return None
    told = _fall_told(bright, dark)
    if not dark["backdrop"]["found"]:  # too dark for a background: the tags alone can say it
        return Fall(told, sure=True) if told is not None and _in_range(told) else None
    falls = _falls(bright, dark)
    if len(falls) < 2 or max(falls) - min(falls) > ALIKE_EV:
        return None
    stops = sum(falls) / len(falls)
    if not _in_range(stops) or not _same_areas(bright, dark):
        return None
    return Fall(stops, sure=told is not None and abs(told - stops) <= TOLD_EV)


def confirmed(pair: Pair, record: Record) -> Fall | None:
    """The fall once the dark frame was laid under the bright one, whose new record this is.

    None if it was refused, or the light itself tells of another fall.
    """
    laid = record.get("under")
    if laid is None or abs(laid["stops"] - pair.fall.stops) > TOLD_EV:
        return None
    return Fall(laid["stops"], pair.fall.sure)


def as_under_frame(dark: Record, bright: str, fall: Fall) -> Record:
    """The record of a frame that lies under the one at the path ``bright``."""
    told = {"frame": PurePath(bright).name, "stops": fall.stops, "sure": fall.sure}
    return dark | {"under_of": told}


def said_of_pair(record: Record) -> str | None:
    """What there is to say of an under frame, or of the frame that one was laid under."""
    below, above = record.get("under"), record.get("under_of")
    if above is not None:
        or_fell = "" if above["sure"] else ", or a light that fell"
        return f"{above['stops']:.1f} stops under {above['frame']}: an under frame of it{or_fell}"
    if below is not None:
        over = record["backdrop"]["ev_p50"] or 0.0
        white = f", background {over:.1f} stops over white" if over >= AT_CEILING else ""
        # Where the darker frame is at its ceiling, too, it decides nothing more.
        ceiling = record["clip"]["ceiling_ev"]
        darker = " or more: take a darker one" if white and over > ceiling - AT_CEILING else ""
        return f"with {below['frame']} under it{white}{darker}"
    return None


def is_under_frame(record: Record) -> bool:
    """Whether a frame surely is an under frame of its neighbour."""
    return bool((record.get("under_of") or {}).get("sure"))


def _head(row: Row, order: Sequence[Row]) -> Row | None:
    """The frame that an under frame lies under; a frame that is none itself."""
    above = row.record.get("under_of")
    if above is None:
        return row
    path = PurePath(row.path).with_name(above["frame"])
    return next((other for other in order if PurePath(other.path) == path), None)


def _stays(dark: Row, bright: Row, order: Sequence[Row]) -> bool:
    """Whether a frame on the other side is as dark: then the light has fallen and stayed there."""
    others = (other for other in _beside(order, dark) if other.path != bright.path)
    return any(_as_bright(dark.record, other.record) for other in others)


def _in_order(rows: Iterable[Row]) -> list[Row]:
    """Rows as the frames were taken; by time of change and name where the second is the same."""
    return sorted(
        rows, key=lambda r: (r.record["frame"]["taken_at"] or "", r.stamp.mtime_ns, r.path)
    )


def _beside(order: Sequence[Row], row: Row) -> tuple[Row, ...]:
    """The frames right before and after one."""
    place = order.index(row)
    return (*order[max(place - 1, 0) : place], *order[place + 1 : place + 2])


def _comparable(bright: Record, dark: Record) -> bool:
    same = ("camera", "width", "height", "orientation")
    return (
        bright["backdrop"]["found"]
        and bright["subject"]["found"]
        and dark["verdict"] != "unreadable"
        and not (bright.get("plate") or dark.get("plate"))
        and all(bright["frame"][name] == dark["frame"][name] for name in same)
        and _seconds_between(bright, dark) <= HELD_S
    )


def _seconds_between(one: Record, other: Record) -> float:
    """Seconds from one frame to the other; 0 where the tags do not tell."""
    times = [record["frame"]["taken_at"] for record in (one, other)]
    try:
        first, second = (datetime.fromisoformat(time).replace(tzinfo=None) for time in times)
    except (TypeError, ValueError):
        return 0.0
    return abs((second - first).total_seconds())


def _falls(bright: Record, dark: Record) -> list[float]:
    """Stops by which the background's middle, its weakest part and the subject have fallen.

    A background at the ceiling has fallen by what is seen of it or more: the subject says how far.
    """
    above, below = bright["backdrop"], dark["backdrop"]
    deep, deeper = bright["subject"]["depth_ev"], dark["subject"]["depth_ev"]
    known = deep is not None and deeper is not None and deeper < DEEPEST_EV
    subject = deeper - deep if known else None
    top = bright["clip"]["ceiling_ev"] - AT_CEILING
    falls = [] if subject is None else [subject]
    for name in ("ev_p50", "ev_p1"):
        if above[name] is None or below[name] is None:
            continue
        fall = above[name] - below[name]
        at_least = above[name] > top and subject is not None
        falls.append(max(fall, subject) if at_least else fall)
    return falls


def _same_areas(bright: Record, dark: Record) -> bool:
    limits = {"backdrop": BACKDROP_AREA, "subject": SUBJECT_AREA}
    return all(
        abs(bright[zone]["area_fraction"] - dark[zone]["area_fraction"])
        <= limit * max(bright[zone]["area_fraction"], dark[zone]["area_fraction"])
        for zone, limit in limits.items()
    )


def _fall_told(bright: Record, dark: Record) -> float | None:
    """Stops by which the exposure tags say a frame is darker, None if they are not all there."""
    above, below = (_exposure(record["frame"]) for record in (bright, dark))
    return None if above is None or below is None else above - below


def _exposure(frame: Record) -> float | None:
    """How much light the settings make into level, in stops (APEX)."""
    shutter, aperture, iso = frame["shutter_s"], frame["aperture_f"], frame["iso"]
    if not (shutter and aperture and iso):
        return None
    return speed_value(iso) - exposure_value(aperture, shutter)


def _as_bright(dark: Record, other: Record) -> bool:
    a, b = dark["backdrop"], other["backdrop"]
    if not (a["found"] and b["found"]):
        return not (a["found"] or b["found"])
    return bool(abs(a["ev_p50"] - b["ev_p50"]) < LEVEL_EV)


def _in_range(stops: float) -> bool:
    return LEAST_STOPS <= stops <= MOST_STOPS
