"""The run as text, and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from inspector.bench.goals import GOAL_MEGAPIXELS, goals, growth, peak_share
from inspector.bench.probes import STAGES
from inspector.bench.routes import Timed
from inspector.bench.run import Bench, Result

NAMES = {
    "unpack": "bare unpack",
    "whole": "whole frame",
    "half": "half-size development and threshold",
    "development": "full development and threshold",
}
WIDTH = 46


def as_json(bench: Bench) -> dict[str, Any]:
    """All that was measured, seconds and bytes, with the ratios and the goals."""
    found = asdict(bench)
    for result, r in zip(found["results"], bench.results, strict=True):
        result["ratios"] = {"routes": _ratios(r.routes), "packed": _ratios(r.packed)}
        result["ratios"]["peak_to_mosaic"] = peak_share(r)
    found["growth"] = growth(bench.results)
    found["goals"] = [asdict(goal) | {"met": goal.met} for goal in goals(bench)]
    return found


def _ratios(routes: dict[str, Timed]) -> dict[str, float]:
    return {name: t.least_s / routes["unpack"].least_s for name, t in routes.items()}


def as_text(bench: Bench) -> str:
    """Aligned columns, one for each size of frame."""
    rs = bench.results
    load = ", ".join(f"{each:.1f}" for each in bench.load)
    lines = [
        f"{bench.processors} processors; load {load or 'unknown'} before and after; "
        f"{bench.rounds} rounds, the least time of each",
        "",
        _row("", [f"{r.megapixels:g} Mpx" for r in rs]),
        "Uncompressed, in times the bare unpack",
        *_routes([r.routes for r in rs]),
    ]
    if all(r.packed for r in rs):
        lines += ["Lossless JPEG, the same", *_routes([r.packed for r in rs])]
    else:
        lines += ["Lossless JPEG: left out; pip install 'inspector[bench]' can write it"]
    lines += [
        "Stages, in times one reading of the mosaic at the bandwidth of a copy",
        _row("  one reading, ms", [f"{1e3 * r.reading_s:.1f}" for r in rs]),
        _row("  bandwidth, GB/s", [f"{r.mosaic_bytes / r.reading_s / 1e9:.1f}" for r in rs]),
        *(_row(f"  {s}", [f"{r.stages[s] / r.reading_s:.1f}" for r in rs]) for s in STAGES),
        _row("  all but the decoding", [f"{r.analysis_s / r.reading_s:.1f}" for r in rs]),
        _row("  the same, ms", [f"{1e3 * r.analysis_s:.0f}" for r in rs]),
        "Live, and memory",
        _row("  close of the file to verdict, s", [f"{r.close_to_verdict_s:.2f}" for r in rs]),
        _row("  frames a second, sustained", [f"{r.frames_a_second:.1f}" for r in rs]),
        _row("  peak memory in times the mosaic", [_peak(r) for r in rs]),
        "",
        f"Goals, for {GOAL_MEGAPIXELS:g} megapixels uncompressed on two processors",
    ]
    for goal in goals(bench):
        value = "-" if goal.value is None else f"{goal.value:.2f}"
        limit = f"at {'most' if goal.at_most else 'least'} {goal.limit:g}"
        met = {True: "met", False: "not met", None: "not measured"}[goal.met]
        lines.append(f"{'  ' + goal.name:<{WIDTH}}{value:>8}  {limit:<14}{met}")
    return "\n".join(lines)


def _routes(results: Sequence[dict[str, Timed]]) -> list[str]:
    least = [f"{1e3 * routes['unpack'].least_s:.0f}" for routes in results]
    ratios = [_ratios(routes) for routes in results]
    return [
        _row("  bare unpack, ms", least),
        *(
            _row(f"  {text}", [f"{each[name]:.2f}" for each in ratios])
            for name, text in NAMES.items()
            if name != "unpack"
        ),
    ]


def _row(name: str, values: list[str]) -> str:
    return f"{name:<{WIDTH}}" + "".join(f"{value:>10}" for value in values)


def _peak(result: Result) -> str:
    share = peak_share(result)
    return "-" if share is None else f"{share:.2f}"
