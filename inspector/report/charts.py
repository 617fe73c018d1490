"""Figures of a set as SVG: background, depth, spill and window over time, levels, worst edge."""

from __future__ import annotations

import io
import math
import re
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator, NullLocator

from inspector.exposure import Window
from inspector.report.palette import BY_CODE, LIGHT, RGB, SHORT, SPILL, Mark

Record = dict[str, Any]

WIDTH = 7.1
"""Inches: the text width of an A4 page."""
REACH = 3.0
"""Stops to either side that the window's figure shows."""
INK = "#1e1e1e"
GREY = "#8c8c8c"
PALE = "#c9c9c9"
STYLE: dict[Any, Any] = {
    "svg.fonttype": "none",  # text stays text, in the page's own face
    "text.parse_math": False,  # a dollar in a file name is no formula
    "date.converter": "concise",
    "font.family": "sans-serif",
    "font.size": 8.5,
    "axes.edgecolor": PALE,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "axes.titlesize": 8.5,
    "axes.titlelocation": "left",
    "xtick.color": GREY,
    "ytick.color": GREY,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
}


def hexed(colour: RGB) -> str:
    """The colour as CSS and matplotlib write it."""
    return "#{:02x}{:02x}{:02x}".format(*colour)


def over_time(records: Sequence[Record]) -> str:
    """Background, depth, spill and window of each frame, in order or by the clock."""
    with mpl.rc_context(STYLE | {"svg.hashsalt": "time"}):
        figure = Figure(figsize=(WIDTH, 6.4), layout="constrained")
        axes = figure.subplots(4, 1, sharex=True)
        x = _positions(records)
        _background(axes[0], x, records)
        _dots(axes[1], x, records, lambda r: r["subject"]["depth_ev"], LIGHT)
        axes[1].set_title("Subject: stops under white")
        _dots(axes[2], x, records, _spill_percent, SPILL)
        axes[2].set_title("Edge: spill, % of its length")
        axes[2].set_ylim(bottom=-0.05 * axes[2].get_ylim()[1])  # a dot at 0 is a whole one
        _windows(axes[3], x, records)
        if not isinstance(x[0], datetime):
            axes[3].set_xlabel("frame")
            axes[3].xaxis.set_major_locator(MaxNLocator(integer=True))
        return as_svg(figure)


def _positions(records: Sequence[Record]) -> Sequence[Any]:
    """When each was taken if every frame tells it and time moves on, else the frame's number."""
    times = [_time(r["frame"]["taken_at"]) for r in records]
    told = [t for t in times if t is not None]
    if len(told) == len(records) and len(set(told)) > 1:
        return told
    return range(1, len(records) + 1)


def _time(text: str | None) -> datetime | None:
    try:
        return datetime.fromisoformat(text or "").replace(tzinfo=None)
    except ValueError:
        return None


def _background(axes: Axes, x: Sequence[Any], records: Sequence[Record]) -> None:
    """Darkest to lightest hundredth of the backdrop as a bar, its median as a dot."""
    read = [
        (at, r) for at, r in zip(x, records, strict=True) if r["backdrop"]["ev_p50"] is not None
    ]
    for colour, wrong in ((PALE, False), (hexed(SHORT.rgb), True)):
        some = [(at, r["backdrop"]) for at, r in read if _has(r, SHORT) == wrong]
        low, high = ([b[k] for _, b in some] for k in ("ev_p1", "ev_p99"))
        axes.vlines([at for at, _ in some], low, high, color=colour, linewidth=2.4)
    middles = [r["backdrop"]["ev_p50"] for _, r in read]
    axes.plot([at for at, _ in read], middles, "o", markersize=3, color=INK)
    axes.axhline(0, color=INK, linewidth=0.8)
    axes.set_title("Background: stops over (+) or under (−) white, middle 98 %")


def _dots(
    axes: Axes,
    x: Sequence[Any],
    records: Sequence[Record],
    value: Callable[[Record], float | None],
    mark: Mark,
) -> None:
    """A grey dot a frame, a coloured square on its corner where the figure is wrong."""
    told = [(at, v, r) for at, r in zip(x, records, strict=True) if (v := value(r)) is not None]
    for wrong, shape, size, colour in ((False, "o", 3.5, GREY), (True, "D", 5, hexed(mark.rgb))):
        some = [(at, v) for at, v, r in told if _has(r, mark) == wrong]
        xs, ys = [at for at, _ in some], [v for _, v in some]
        axes.plot(xs, ys, shape, markersize=size, color=colour)
    axes.grid(axis="y", color="#ececec", linewidth=0.8)
    axes.set_axisbelow(True)


def _spill_percent(record: Record) -> float | None:
    part = record["edge"]["spill_fraction"]
    return None if part is None else 100 * float(part)


def _windows(axes: Axes, x: Sequence[Any], records: Sequence[Record]) -> None:
    """The window as a grey bar with its ends; the exposure as shot is the line through 0."""
    bars, ends = [], []
    for at, record in zip(x, records, strict=True):
        window = Window(**record["window"])
        low, high = window.low_ev, window.shown_high_ev
        ends += [(at, end) for end in (low, high) if end is not None and abs(end) <= REACH]
        top = REACH if high is None else min(high, REACH)
        if low is not None and low < top:
            bars.append((at, max(low, -REACH), top))
    axes.vlines(
        [b[0] for b in bars], [b[1] for b in bars], [b[2] for b in bars], color=PALE, linewidth=2.4
    )
    axes.plot([at for at, _ in ends], [end for _, end in ends], "_", markersize=5, color=INK)
    axes.axhline(0, color=INK, linewidth=0.8)
    axes.set_ylim(-REACH, REACH)
    axes.set_title("Exposure window: change in stops that still passes (0: as shot)")


def _has(record: Record, mark: Mark) -> bool:
    return any(BY_CODE.get(r["code"]) == mark for r in record["reasons"])


TITLE = "Share of photosites, % (log scale), all frames; dashed: the clip as the files state it"


def levels(records: Sequence[Record]) -> str | None:
    """Level histograms of the whole set, one for each colour, with the clip levels marked."""
    found = [h for r in records if (h := r.get("histogram"))]
    if not found:
        return None
    names = list(found[0]["channels"])
    found = [h for h in found if list(h["channels"]) == names]
    low, step = found[0]["low_ev"], found[0]["step_ev"]
    with mpl.rc_context(STYLE | {"svg.hashsalt": "levels"}):
        figure = Figure(figsize=(WIDTH, 0.8 + 1.05 * len(names)), layout="constrained")
        axes = np.atleast_1d(figure.subplots(len(names), 1, sharex=True))
        for ax, name in zip(axes, names, strict=True):
            channels = [h["channels"][name] for h in found]
            share = np.mean([c["millionths"] for c in channels], axis=0) / 1e4
            edges = low + step * np.arange(len(share) + 1)
            ax.stairs(np.maximum(share, 1e-4), edges, fill=True, color=PALE, baseline=1e-4)
            ax.set_yscale("log")
            ax.set_ylim(1e-3, 100)
            ax.set_yticks([0.01, 1, 100], ["0.01", "1", "100"])
            ax.yaxis.set_minor_locator(NullLocator())
            ax.set_ylabel({"R": "red", "G": "green", "B": "blue", "L": "all"}.get(name, name))
            _mark_levels(ax, channels)
        axes[0].set_title(TITLE, pad=20)
        axes[-1].set_xlabel("stops over the level at which the channel clips")
        return as_svg(figure)


def _mark_levels(axes: Axes, channels: Sequence[dict[str, Any]]) -> None:
    """Clip as a line, the stated one dashed, paper white as a short line from the top."""
    axes.axvline(0, color=INK, linewidth=1.2)
    axes.text(0, 1.02, "clips", transform=axes.get_xaxis_transform(), ha="left", fontsize=7.5)
    stated = [c["stated_ev"] for c in channels if c["stated_ev"] is not None]
    if stated and abs(float(np.median(stated))) > 0.02:
        axes.axvline(float(np.median(stated)), color=INK, linewidth=0.9, linestyle=(0, (3, 2)))
    white = [c["white_ev"] for c in channels if c["white_ev"] is not None]
    if white:
        at = float(np.median(white))
        axes.axvline(at, ymin=0.6, color=GREY, linewidth=1.2)
        if at < -0.4:
            kind = axes.get_xaxis_transform()
            axes.text(at, 1.02, "paper white ", transform=kind, ha="right", fontsize=7.5)


def worst_edge(records: Sequence[Record], names: Sequence[str]) -> str | None:
    """The edge profile at the set's worst spot, beside the steepest one of the set."""
    found = [
        (r["profile"], n, _depth(r))
        for r, n in zip(records, names, strict=True)
        if r.get("profile")
    ]
    if not found:
        return None
    worst = max(found, key=lambda f: (f[0]["sure"] is True, f[2]))
    clean = [f for f in found if not f[0]["sure"] and f is not worst]
    with mpl.rc_context(STYLE | {"svg.hashsalt": "edge"}):
        figure = Figure(figsize=(WIDTH, 2.7), layout="constrained")
        axes = figure.subplots()
        axes.axhline(0, color=INK, linewidth=0.8)
        axes.axvline(0, color=PALE, linewidth=0.8)
        if clean:
            best = min(clean, key=lambda f: _fall(f[0]))
            _curve(axes, best[0], GREY, 1.2, f"{best[1]}: the steepest edge of the set")
        sure = worst[0]["sure"] is True
        label = f"{worst[1]}: {worst[0]['where'] or 'whole edge'}"
        _curve(axes, worst[0], hexed(SPILL.rgb) if sure else INK, 2.0, label)
        axes.set_xlabel("pixels from the outline into the subject")
        axes.set_ylabel("stops over white")
        figure.legend(frameon=False, loc="outside upper left")
        return as_svg(figure)


def _depth(record: Record) -> float:
    spill = record["edge"]["spill"]
    sure = [s for s in spill if s["sure"]] or spill
    return max((s["depth_px"] for s in sure), default=0.0)


def _fall(profile: dict[str, Any]) -> float:
    """Pixels from white down to two stops under it; endless where it does not begin at white."""
    if profile["ev"][0] is None or profile["ev"][0] < -0.1:
        return math.inf
    for x, ev in zip(profile["offset_px"], profile["ev"], strict=True):
        if x > 0 and ev is not None and ev < -2:
            return float(x)
    return math.inf


def _curve(axes: Axes, profile: dict[str, Any], colour: str, width: float, label: str) -> None:
    ev = [math.nan if v is None else v for v in profile["ev"]]
    axes.plot(profile["offset_px"], ev, color=colour, linewidth=width, label=label)


def as_svg(figure: Figure) -> str:
    """The figure as an SVG element for a page: no prolog, no date, nothing from outside."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    return text.replace("<svg ", '<svg role="img" ', 1)
