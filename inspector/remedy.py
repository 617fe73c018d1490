"""Which changes cure a frame: the exposure that all rules allow, else what must give way.

The set has one light. Exposure and power scale all that it lights alike, so background, edge and
subject each set a limit to one and the same change: the background the least, edge and subject
the greatest. Where the least is more than the greatest no exposure cures the frame, and the edge
or the subject must lose as many stops as are wanting.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from math import ceil, floor, inf, isfinite

from inspector.advice import Change, Kind, thirds_up
from inspector.exposure import Exposure

SIDE_EV = 0.3
"""One side this much brighter than the other, in stops, is named."""
SAFE_EV = 0.05
"""An exposure is advised so far within its limits, where there is room."""
EDGE_SAFE_EV = 1 / 3
"""The same for the edge, whose limit is known less well."""
NARROW_EV = 0.05
"""Limits closer together leave no exposure that could be set."""
LEAST_MOVE_EV = 2.0
"""A subject is moved by no less, stops: twice as far, from a fist's width to two."""
BEYOND_EV = 1.0
"""Stops that are added where the light on the edge is over what the frame can tell."""
RESERVE_EV = 1 / 3
"""So much is left of what a background can spare when that alone does not do."""
MOST_CHANGES = 2
"""More are not said at once."""

SHORT, SPILL, HOT, LIGHT = "background-short", "spill", "hot-spot", "subject-light"
CURES = {
    SHORT: (Kind.UNSHADOW, Kind.EXPOSE, Kind.TURN),
    SPILL: (Kind.MOVE, Kind.EXPOSE),
    HOT: (Kind.SPOT,),
    LIGHT: (Kind.FLAG, Kind.SHADE, Kind.PANEL, Kind.EXPOSE),
}
"""What can cure each rule that is missed, the most telling first."""


@dataclass(frozen=True)
class Allowed:
    """Exposure changes that each rule allows, stops: ``low`` at least, the others at most.

    ``beyond`` where the light on the edge is over what the frame can tell, so that ``edge`` may
    be too much.
    """

    low: float
    edge: float
    depth: float
    beyond: bool

    @property
    def top(self) -> float:
        """The greatest change that edge and subject both allow."""
        return min(self.edge, self.depth)


def find_changes(
    x: Exposure,
    *,
    missed: Collection[str],
    depth_limit: float,
    look: str,
) -> tuple[Change, ...]:
    """What to change about a frame, the most useful first.

    Parameters
    ----------
    missed : collection of str
        Codes of the rules that the frame misses; rules that do not apply (a plate's) are met.
    depth_limit : float
        Stops under white that the subject must be.
    look : str
        ``silhouette`` or ``filled``.
    """
    changes: list[Change] = []
    if SHORT in missed and _mostly_shadow(x):
        changes, missed = [_unshadow(x)], set(missed) - {SHORT}
        x = replace(x, window=replace(x.window, low_ev=None))
    allowed = _allowed(x, missed, depth_limit)
    if {SHORT, SPILL, LIGHT} & set(missed):
        setting = _setting(allowed)
        if setting is not None:
            changes.append(_expose(x, setting, allowed.top))
        else:
            changes += _give_way(x, allowed, SHORT in missed, look)
    if HOT in missed:
        changes.append(Change(Kind.SPOT))
    return tuple(changes[:MOST_CHANGES])


def changes_for(code: str, changes: tuple[Change, ...]) -> tuple[Change, ...]:
    """Those of a frame's changes that cure one rule; all of them where none is told apart."""
    for kind in CURES.get(code, ()):
        found = tuple(c for c in changes if c.kind is kind)
        if found:
            return found
    return changes


def _allowed(x: Exposure, missed: Collection[str], depth_limit: float) -> Allowed:
    window = x.window
    low = _known(window.low_ev, 0.0)
    edge = _known(window.edge_high_ev, inf)
    depth = _known(x.depth_ev, inf) - depth_limit
    # What misses its rule wants a change, however little its figure says.
    return Allowed(
        low=max(low, 0.01) if SHORT in missed else low,
        edge=min(edge, -0.02) if SPILL in missed else edge,
        depth=min(depth, -0.02) if LIGHT in missed else depth,
        beyond=SPILL in missed and window.high_is == "at_most",
    )


def _known(value: float | None, otherwise: float) -> float:
    return value if value is not None and isfinite(value) else otherwise


def _setting(allowed: Allowed) -> float | None:
    """The least exposure change that all rules allow, in thirds or tenths of a stop.

    Where the edge may allow less than is known, all that the background can spare.
    """
    low, top = allowed.low, allowed.top
    if top - low < NARROW_EV:
        return None
    margin = min(SAFE_EV, (top - low) / 4)
    low, top = low + margin, top - margin
    if low > 0:
        return next((s for n in (3, 10, 20) if (s := ceil(low * n) / n) <= top), None)
    if allowed.edge < 0:
        top = min(top, allowed.edge - EDGE_SAFE_EV)
        down = (ceil(low * 3) if allowed.beyond else floor(top * 3)) / 3
        return down if low <= down <= top else None
    return next((s for n in (3, 10, 20) if (s := floor(top * n) / n) >= low), None)


def _expose(x: Exposure, stops: float, most: float) -> Change:
    where = _weakest(x) if stops > 0 else None
    return Change(Kind.EXPOSE, stops, where, most)


def _mostly_shadow(x: Exposure) -> bool:
    """Whether the subject's shadow makes more than half of what is short."""
    in_shadow = sum(r.area_px for r in x.short_regions if r.shadow)
    return 2 * in_shadow > sum(r.area_px for r in x.short_regions)


def _unshadow(x: Exposure) -> Change:
    """Power would burn out all around a shadow before that is white."""
    shadows = (r for r in x.short_regions if r.shadow)
    return Change(Kind.UNSHADOW, where=max(shadows, key=lambda r: r.area_px).where)


def _weakest(x: Exposure) -> str | None:
    """Where the background is short, if most of it is not."""
    lit = [r for r in x.short_regions if not r.shadow]
    if not lit or x.ev_p50 is None or x.ev_p50 < 0:
        return None
    return min(lit, key=lambda r: r.ev).where


def _give_way(x: Exposure, allowed: Allowed, short: bool, look: str) -> list[Change]:
    """No exposure will do: set the background right, and relieve edge and subject as needed."""
    changes, target = [], 0.0
    where = _weakest(x)
    if short and where is not None:
        changes = [Change(Kind.TURN, thirds_up(allowed.low + SAFE_EV), where)]
    else:
        target = thirds_up(allowed.low + SAFE_EV) if short else _spare(allowed.low)
        if target:
            changes = [Change(Kind.EXPOSE, target)]
    over_edge, over_subject = target - allowed.edge, target - allowed.depth
    if over_edge > -SAFE_EV:
        needed = over_edge + EDGE_SAFE_EV + (BEYOND_EV if allowed.beyond else 0.0)
        changes.append(Change(Kind.MOVE, max(LEAST_MOVE_EV, needed)))
    if over_subject > -SAFE_EV:
        changes.append(_darken(x, thirds_up(over_subject + SAFE_EV), look))
    return changes


def _spare(low: float) -> float:
    """What a white background can spare with some in reserve, in thirds of a stop, below zero."""
    return min(0.0, ceil((low + RESERVE_EV - 0.01) * 3) / 3)


def _darken(x: Exposure, stops: float, look: str) -> Change:
    side = x.side_ev
    sided = side is not None and abs(side) >= SIDE_EV
    where = None if not sided or side is None else "left" if side > 0 else "right"
    if look == "filled":
        return Change(Kind.PANEL, stops, where)
    return Change(Kind.SHADE, stops) if where is None else Change(Kind.FLAG, stops, where)
