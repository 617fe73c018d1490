"""The figure of a set's drift: background, evenness, subject from frame to frame, events named."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from inspector.drift import Event, in_order
from inspector.report.charts import GREY, INK, PALE, STYLE, WIDTH, as_svg, hexed
from inspector.report.palette import WARN

Record = dict[str, Any]
LEAST_SPAN = 0.6
"""Stops that each row shows at least."""
ROWS = (
    ("Background: stops over (+) or under (−) white", "background"),
    ("Weakest hundredth against the middle, stops", "weakest"),
    ("Subject: stops under white", "subject"),
)


def draw(records: Sequence[Record], events: Sequence[Event]) -> str:
    """The figure as an SVG element; a square on its corner and a number for each event."""
    ordered = in_order(records)
    place = {r["frame"]["path"]: k for k, r in enumerate(ordered, 1)}
    with mpl.rc_context(STYLE | {"svg.hashsalt": "drift"}):
        figure = Figure(figsize=(WIDTH, 4.8), layout="constrained")
        axes = figure.subplots(len(ROWS), 1, sharex=True)
        for ax, (title, name) in zip(axes, ROWS, strict=True):
            _row(ax, ordered, name)
            ax.set_title(title, pad=14 if ax is axes[0] else None)
        for number, event in enumerate(events, 1):
            _mark(axes, place[event.path], number)
        axes[-1].set_xlabel("frame")
        axes[-1].xaxis.set_major_locator(MaxNLocator(integer=True))
        return as_svg(figure)


def _row(axes: Axes, records: Sequence[Record], name: str) -> None:
    told = [(k, v) for k, r in enumerate(records, 1) if (v := _value(r, name)) is not None]
    axes.plot([k for k, _ in told], [v for _, v in told], "o", markersize=3, color=GREY)
    low, high = axes.get_ylim()
    if high - low < LEAST_SPAN:  # a hundredth of a stop must not look like a fall
        middle = (low + high) / 2
        axes.set_ylim(middle - LEAST_SPAN / 2, middle + LEAST_SPAN / 2)
    axes.grid(axis="y", color="#ececec", linewidth=0.8)
    axes.set_axisbelow(True)


def _value(record: Record, name: str) -> float | None:
    backdrop = record["backdrop"]
    if name == "subject":
        depth = record["subject"]["depth_ev"]
        return None if depth is None else float(depth)
    if backdrop["ev_p50"] is None:
        return None
    return float(backdrop["ev_p50" if name == "background" else "ev_p1"]) - (
        float(backdrop["ev_p50"]) if name == "weakest" else 0.0
    )


def _mark(axes: Sequence[Axes], at: int, number: int) -> None:
    for ax in axes:
        ax.axvline(at, color=PALE, linewidth=1.0, zorder=0)
    top = axes[0].get_xaxis_transform()
    axes[0].plot([at], [1.0], "D", transform=top, clip_on=False, markersize=11, color=hexed(WARN))
    axes[0].text(
        at, 1.0, str(number), transform=top, ha="center", va="center", fontsize=7.5, color=INK
    )
