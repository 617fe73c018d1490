"""The limits, the rules, and what a photographer should do about a frame that misses one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite

from inspector.advice import advise_background, advise_depth, advise_edge, fraction_text, stops_text
from inspector.edge import Edge
from inspector.exposure import Exposure
from inspector.limits import Limits as Limits
from inspector.zones import Zones


@dataclass(frozen=True)
class Reason:
    """Why a frame warns: ``code`` is a kebab-case word, ``advice`` what to change.

    ``value`` and ``limit`` are the evidence; value None means it could not be measured.
    """

    code: str
    text: str
    advice: str | None = None
    value: float | None = None
    limit: float | None = None


@dataclass(frozen=True)
class Verdict:
    """``word`` is ``pass`` or ``warn``; ``reasons`` the most useful first, empty on a pass."""

    word: str
    reasons: tuple[Reason, ...] = ()
    look: str = "silhouette"
    is_plate: bool = False

    @property
    def advice(self) -> str | None:
        """The one thing to change first."""
        return next((r.advice for r in self.reasons if r.advice), None)


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
    advice: Callable[[Measured], str]
    on_plate: bool = False


def judge(
    zones: Zones, edge: Edge, exposure: Exposure, *, limits: Limits, look: str, is_plate: bool
) -> Verdict:
    """Walk the table of rules. A frame passes when every rule that applies was met."""
    seen = Measured(zones, edge, exposure, limits, look)
    if not zones.found:
        return Verdict("warn", (_no_backdrop(exposure),), look, is_plate)
    applies = [r for r in RULES if r.on_plate or not is_plate]
    reasons = tuple(r for rule in applies if (r := _check(rule, seen)) is not None)
    return Verdict("warn" if reasons else "pass", reasons, look, is_plate)


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
    return Reason(rule.code, rule.text(seen), rule.advice(seen), value, limit)


def _no_backdrop(exposure: Exposure) -> Reason:
    if exposure.brightest_ev is not None and exposure.brightest_ev < -3:
        return Reason(
            "no-flash",
            f"The frame is dark all over, {stops_text(-exposure.brightest_ev)} under white",
            "Check that the flash fired: trigger, battery, recycling; then shoot again",
            exposure.brightest_ev,
        )
    return Reason(
        "no-background",
        "No white background found in this frame",
        "Frame the lit background behind the subject, or leave this frame out of the set",
    )


def _background_text(seen: Measured) -> str:
    x = seen.exposure
    part = fraction_text(x.white_fraction or 0.0)
    if not x.short_regions:
        return f"Only {part} of the background is paper white"
    worst = min(x.short_regions, key=lambda r: r.ev)
    return (
        f"Only {part} of the background is paper white; {worst.where} {stops_text(-worst.ev)} short"
    )


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
        code="background-short",
        measure=lambda s: s.exposure.white_fraction,
        limit=lambda s: s.limits.white_fraction,
        at_least=True,
        text=_background_text,
        advice=lambda s: advise_background(s.exposure, s.limits.depth_ev(s.look)),
        on_plate=True,
    ),
    Rule(
        code="spill",
        measure=lambda s: s.edge.spill_fraction,
        limit=lambda s: s.limits.spill_fraction,
        at_least=False,
        text=_spill_text,
        advice=lambda s: advise_edge(s.exposure),
    ),
    Rule(
        code="hot-spot",
        measure=_hot_spot_area,
        limit=lambda s: 0.0,
        at_least=False,
        text=_hot_spot_text,
        advice=lambda s: "Find what throws light onto the subject there and flag it",
    ),
    Rule(
        code="subject-light",
        measure=lambda s: s.exposure.depth_ev,
        limit=lambda s: s.limits.depth_ev(s.look),
        at_least=True,
        text=_depth_text,
        advice=lambda s: advise_depth(s.exposure, s.limits.depth_ev(s.look)),
    ),
)
