"""What the accuracy table lists, and the goal of each figure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from inspector.simulate.accuracy.trial import Trial

MODES = {"alone": "One frame alone", "plate": "With a plate", "under": "With an under frame"}
BRACKET_GOAL = 0.05
"""The greatest error of an empty set's stops at the 95th percentile, stops."""
LOOP_GOAL = 0.95
"""The least part of the frames that warned which pass after at most two steps of advice."""


@dataclass(frozen=True)
class Row:
    """A figure of the table: its name in ``Comparison.errors``, what it is called, and goals.

    ``goal`` is the greatest error at the 95th percentile, or for an overlap the least at the
    median; ``low_goal`` the least overlap at the 5th percentile. ``form`` formats a value;
    ``only`` picks frames.
    """

    name: str
    title: str
    goal: dict[str, float]
    form: str = ".3f"
    only: Callable[[Trial], bool] | None = None
    overlap: bool = False
    low_goal: float | None = None


def _same(goal: float) -> dict[str, float]:
    return dict.fromkeys(MODES, goal)


def _spilled(trial: Trial) -> bool:
    return trial.families["defect"] in ("spill", "shallow-spill")


def _clean(trial: Trial) -> bool:
    return not _spilled(trial)


def _clear(trial: Trial) -> bool:
    return not trial.alone.near


SPILL = {"alone": 0.03, "plate": 0.03, "under": 0.01}
FALSE_ALARM = {"alone": 0.01, "plate": 0.01, "under": 0.0}
IOU = {"alone": 0.98, "plate": 0.99, "under": 0.98}
ROWS = (
    Row("clip", "clip level, part of it", _same(0.001), ".4f"),
    Row("white", "white fraction", _same(0.002), ".4f"),
    Row("ev_p1", "backdrop, 1st percentile, stops", _same(0.05)),
    Row("ev_p50", "backdrop, median, stops", _same(0.05)),
    Row("ev_p99", "backdrop, 99th percentile, stops", _same(0.05)),
    Row("depth", "depth, stops", _same(0.1)),
    Row("veil", "veil, part of it", _same(0.1)),
    Row("ramp", "ramp, part of it", _same(0.05)),
    Row("spill_fraction", "spill fraction", SPILL),
    Row("spill_fraction", "spill fraction, clear frames", SPILL, only=_clear),
    Row("window_low", "window, low end, stops", _same(1 / 6)),
    Row("window_high", "window, high end, stops", _same(1 / 6)),
    Row("backdrop_iou", "backdrop, overlap", IOU, overlap=True, low_goal=0.95),
    Row("subject_iou", "subject, overlap, no spill", IOU, only=_clean, overlap=True, low_goal=0.95),
    Row("boundary_f", "boundary F at 3 px, no spill", _same(0.97), only=_clean, overlap=True),
    Row("subject_iou", "subject, overlap, spill", {}, only=_spilled, overlap=True),
    Row("boundary_f", "boundary F at 3 px, spill", {}, only=_spilled, overlap=True),
)


@dataclass(frozen=True)
class Count:
    """A count of the table: its name in ``Comparison.flags``, what it is called, and its goal.

    ``goal`` is the least part in which the flag holds, or the greatest where ``bad``; ``only``
    picks frames.
    """

    name: str
    title: str
    goal: dict[str, float]
    bad: bool = False
    only: Callable[[Trial], bool] | None = None


COUNTS = (
    Count("found", "backdrop found, or rightly not", {}),
    Count("deep_spill_found", "frames with spill deeper than 0.45 % found", _same(0.98)),
    Count("spill_found", "frames with any spill found", {"under": 0.99}),
    Count("spill_found", "the same, clear frames", {"under": 0.99}, only=_clear),
    Count("spill_false_alarm", "frames without spill that alarm", FALSE_ALARM, bad=True),
    Count("spill_false_alarm", "the same, clear frames", FALSE_ALARM, bad=True, only=_clear),
    Count("island_found", "frames whose hot islands all warn", {}),
    Count("island_listed", "frames whose hot islands are all listed", {}),
    Count("island_false_alarm", "frames with a false hot island", {}, bad=True),
    Count("window_low_bound", "`at_most`, `at_least` of the low end that hold", _same(1.0)),
    Count("window_high_bound", "`at_most`, `at_least` of the high end that hold", _same(1.0)),
    Count("window_low_missing", "low ends missing", _same(0.0), bad=True),
    Count("window_high_missing", "high ends missing", _same(0.0), bad=True),
    Count("veil_bound", "`at_most` of the veil that hold", _same(1.0)),
    Count("clip_mistaken", "unclipped frames whose levels were taken for clipped", {}, bad=True),
)  # fmt: skip
