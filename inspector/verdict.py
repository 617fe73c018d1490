"""The limits, the rules, and what a photographer should do about a frame that misses one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import isfinite

from inspector.advice import Change, Kind, fraction_text, say, stops_text
from inspector.edge import Edge
from inspector.exposure import Exposure
from inspector.limits import Limits as Limits
from inspector.remedy import HOT, LIGHT, SHORT, SPILL, changes_for, find_changes
from inspector.zones import Zones


@dataclass(frozen=True)
class Reason:
    """Why a frame warns: ``code`` is a kebab-case word, ``advice`` what to change.

    ``value`` and ``limit`` are the evidence; value None means it could not be measured.
    ``changes`` are what the advice was worded from.
    """

    code: str
    text: str
    advice: str | None = None
    value: float | None = None
    limit: float | None = None
    changes: tuple[Change, ...] = ()


@dataclass(frozen=True)
class Verdict:
    """``word`` is ``pass`` or ``warn``; ``reasons`` the most useful first, empty on a pass."""

    word: str
    reasons: tuple[Reason, ...] = ()
    look: str = "silhouette"
    is_plate: bool = False

    @property
    def advice(self) -> str | None:
        """What to change first, about the frame as a whole."""
        return next((r.advice for r in self.reasons if r.advice), None)

    @property
    def changes(self) -> tuple[Change, ...]:
        """The same as changes."""
        return next((r.changes for r in self.reasons if r.changes), ())


@dataclass(frozen=True)
class Measured:
    """What the rules look at."""

    zones: Zones
    edge: Edge
    exposure: Exposure
    limits: Limits
    look: str


@dataclass(frozen=True)
class Rule:
    """One line of the table: what is measured, against which limit, and what to say."""

    code: str
    measure: Callable[[Measured], float | None]
    limit: Callable[[Measured], float]
    at_least: bool
    text: Callable[[Measured], str]
    on_plate: bool = False


def judge(
    zones: Zones, edge: Edge, exposure: Exposure, *, limits: Limits, look: str, is_plate: bool
) -> Verdict:
    """Walk the table of rules. A frame passes when every rule that applies was met.

    The first reason carries the advice for the whole frame, each other one its own part.
    """
    seen = Measured(zones, edge, exposure, limits, look)
    if not zones.found:
        return Verdict("warn", (_no_backdrop(exposure),), look, is_plate)
    applies = [r for r in RULES if r.on_plate or not is_plate]
    reasons = tuple(r for rule in applies if (r := _check(rule, seen)) is not None)
    return Verdict("warn" if reasons else "pass", _advised(reasons, seen), look, is_plate)


def meets(value: float | None, limit: float, *, at_least: bool) -> bool:
    """Whether a value keeps a limit; the limit itself does. Nothing measured never does."""
    if value is None or not isfinite(value):
        return False
    return value >= limit if at_least else value <= limit


def _check(rule: Rule, seen: Measured) -> Reason | None:
    value, limit = rule.measure(seen), rule.limit(seen)
    if meets(value, limit, at_least=rule.at_least):
        return None
    if value is None or not isfinite(value):
        return Reason("not-measured", f"{rule.code} could not be measured", None, None, limit)
    return Reason(rule.code, rule.text(seen), None, value, limit)


def _advised(reasons: tuple[Reason, ...], seen: Measured) -> tuple[Reason, ...]:
    """The reasons with what to change."""
    # A grid's lines are short wherever they run: turning the light does not help.
    x = replace(seen.exposure, short_regions=()) if seen.zones.grid else seen.exposure
    changes = find_changes(
        x,
        missed={r.code for r in reasons},
        depth_limit=seen.limits.depth_ev(seen.look),
        look=seen.look,
    )
    advised: list[Reason] = []
    for reason in reasons:
        mine = changes_for(reason.code, changes) if any(r.changes for r in advised) else changes
        curable = reason.code in (SHORT, SPILL, HOT, LIGHT)
        advised.append(_with(reason, mine) if mine and curable else reason)
    return tuple(advised)


def _with(reason: Reason, changes: tuple[Change, ...]) -> Reason:
    return replace(reason, advice=say(changes), changes=changes)


def _no_backdrop(exposure: Exposure) -> Reason:
    if exposure.brightest_ev is not None and exposure.brightest_ev < -3:
        dark = Reason(
            "no-flash",
            f"The frame is dark all over, {stops_text(-exposure.brightest_ev)} under white",
            value=exposure.brightest_ev,
        )
        return _with(dark, (Change(Kind.FIRE),))
    missing = Reason("no-background", "No white background found in this frame")
    return _with(missing, (Change(Kind.FRAME),))


def _background_text(seen: Measured) -> str:
    x = seen.exposure
    part = fraction_text(x.white_fraction or 0.0)
    if seen.zones.grid and x.short_regions:
        return f"Only {part} of the background is paper white; the lines of a grid show"
    if not x.short_regions:
        return f"Only {part} of the background is paper white"
    worst = min(x.short_regions, key=lambda r: r.ev)
    short = f"{worst.where} {stops_text(-worst.ev)} short"
    inside = ", in the subject's shadow" if worst.shadow else ""
    return f"Only {part} of the background is paper white; {short}{inside}"


def _spill_text(seen: Measured) -> str:
    sure = [s for s in seen.edge.spill if s.sure]
    places = list(dict.fromkeys(s.where for s in sure))
    part = fraction_text(seen.edge.spill_fraction or 0.0)
    at = f" at {' and '.join(places[:2])}" if places else ""
    return f"White creeps over {part} of the edge{at}"


def _hot_spot_area(seen: Measured) -> float:
    """Area of the largest hot spot that warns, in hot spot limits."""
    return float(sum(h.warns for h in seen.edge.hot_spots))


def _hot_spot_text(seen: Measured) -> str:
    count = sum(h.warns for h in seen.edge.hot_spots)
    return f"{count} blown {'patch' if count == 1 else 'patches'} inside the subject"


def _depth_text(seen: Measured) -> str:
    depth = seen.exposure.depth_ev or 0.0
    return (
        f"The subject is only {stops_text(depth)} under white; "
        f"a {seen.look} wants {seen.limits.depth_ev(seen.look):g}"
    )


RULES = (
    Rule(
        code=SHORT,
        measure=lambda s: s.exposure.white_fraction,
        limit=lambda s: s.limits.white_fraction,
        at_least=True,
        text=_background_text,
        on_plate=True,
    ),
    Rule(
        code=SPILL,
        measure=lambda s: s.edge.spill_fraction,
        limit=lambda s: s.limits.spill_fraction,
        at_least=False,
        text=_spill_text,
    ),
    Rule(
        code=HOT,
        measure=_hot_spot_area,
        limit=lambda s: 0.0,
        at_least=False,
        text=_hot_spot_text,
    ),
    Rule(
        code=LIGHT,
        measure=lambda s: s.exposure.depth_ev,
        limit=lambda s: s.limits.depth_ev(s.look),
        at_least=True,
        text=_depth_text,
    ),
)
