"""What is aimed at, beside what was measured."""

from __future__ import annotations

from dataclasses import dataclass

from inspector.bench.run import Bench, Result

GOAL_MEGAPIXELS = 33.0
"""The goals are set for an uncompressed frame of this size on two processors."""


@dataclass(frozen=True)
class Goal:
    """One figure and its limit; ``value`` None if it was not measured."""

    name: str
    value: float | None
    limit: float
    at_most: bool

    @property
    def met(self) -> bool | None:
        """Whether it holds; None if it was not measured."""
        if self.value is None:
            return None
        return self.value <= self.limit if self.at_most else self.value >= self.limit


def goals(bench: Bench) -> tuple[Goal, ...]:
    """Every goal with the figure that the run found."""
    r = next((r for r in bench.results if r.megapixels == GOAL_MEGAPIXELS), None)
    to_floor, full, half, delay, rate, peak = _figures(r) if r is not None else (None,) * 6
    return (
        Goal("whole frame / bare unpack", to_floor, 2.2, True),
        Goal("full development / whole frame", full, 7.0, False),
        Goal("half-size development / whole frame", half, 1.5, False),
        Goal("growth of the analysis / growth of the frame", growth(bench.results), 1.0, True),
        Goal("close of the file to verdict, s", delay, 0.4, True),
        Goal("frames a second, sustained", rate, 4.0, False),
        Goal("peak memory / mosaic", peak, 3.0, True),
    )


def _figures(r: Result) -> tuple[float, float, float, float, float, float | None]:
    return (
        1 / r.times_quicker("unpack"),
        r.times_quicker("development"),
        r.times_quicker("half"),
        r.close_to_verdict_s,
        r.frames_a_second,
        peak_share(r),
    )


def growth(results: tuple[Result, ...]) -> float | None:
    """How much longer the largest frame's analysis takes than the smallest's, over its size.

    1 is exactly as the pixel count grows; None for a single size.
    """
    if len(results) < 2:
        return None
    small, *_, large = sorted(results, key=lambda r: r.mosaic_bytes)
    return (large.analysis_s / small.analysis_s) / (large.mosaic_bytes / small.mosaic_bytes)


def peak_share(result: Result) -> float | None:
    """Peak memory as a multiple of the mosaic."""
    return None if result.peak_bytes is None else result.peak_bytes / result.mosaic_bytes
