"""What the page shows of one frame: the clip map's words and figures, from the record."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from inspector.exposure import Window
from inspector.recognise import said_of_pair
from inspector.record import Row
from inspector.report import figures, words
from inspector.report.palette import BY_CODE, MARKS, MAYBE
from inspector.terminal import plain, word

Record = dict[str, Any]

KINDS = {mark.name: mark.name.split()[0] for mark in (*MARKS, MAYBE)}
"""The page's class names of the marks: short, spill, hot, too, possible."""


def view(row: Row) -> dict[str, Any]:
    """All that the page shows of a frame, ready for JSON."""
    record = row.record
    frame = record["frame"]
    reason, advice = _said(record)
    return {
        "name": plain(PurePath(row.path).name),
        "verdict": word(record),
        "plate": bool(record.get("plate")),
        "settings": _settings(frame),
        "size": [frame["width"], frame["height"]],
        "picture": row.clip_map is not None,
        "figures": [_figure(row) for row in words.rows(record)],
        "window": _window(record["window"]),
        "reason": reason,
        "advice": advice,
        "series": {
            "background": record["backdrop"]["ev_p50"],
            "depth": record["subject"]["depth_ev"],
            "spill": record["edge"]["spill_fraction"],
            "wrong": [KINDS[mark.name] for mark in words.wrong(record)],
        },
    }


def _said(record: Record) -> tuple[str, str]:
    """What a neighbour adds, what is wrong where no figure shows it, and the one advice."""
    pair = said_of_pair(record)
    if record.get("under_of"):
        return "", _sentence(str(pair))
    reason, advice = _said_alone(record)
    return " ".join(part for part in (_sentence(pair) if pair else "", reason) if part), advice


def _said_alone(record: Record) -> tuple[str, str]:
    if record["verdict"] == "pass":
        return "", "Nothing to change."
    reasons = record["reasons"]
    first = next((r for r in reasons if r["advice"]), reasons[0] if reasons else None)
    if first is None:
        return "", ""
    shown = first["code"] in BY_CODE
    advice = first["advice"] or first["text"]
    return "" if shown or advice == first["text"] else _sentence(first["text"]), _sentence(advice)


def _sentence(text: str) -> str:
    whole = plain(text[:1].upper() + text[1:]).rstrip(".")
    return f"{whole}.".replace(" × ", "\u00a0×\u00a0")  # a line must not end before the figure


def _settings(frame: Record) -> str:
    aperture, shutter, iso = frame["aperture_f"], frame["shutter_s"], frame["iso"]
    parts = (
        f"f/{aperture:g}" if aperture else "",
        figures.shutter(shutter) if shutter else "",
        f"ISO {iso:g}" if iso else "",
    )
    return " · ".join(part for part in parts if part)


def _figure(row: words.Row) -> dict[str, Any]:
    return {
        "label": row.label,
        "value": row.value,
        "note": row.note.replace(" o'clock", "\u00a0o'clock"),
        "marks": [KINDS[mark.name] for mark in row.marks],
        "quiet": [KINDS[mark.name] for mark in row.quiet],
    }


def _window(ends: Record) -> dict[str, Any] | None:
    """Its ends, in words too, and whether today's exposure stands inside; None: not measured."""
    window = Window(**ends)
    low, high = window.low_ev, window.shown_high_ev
    if low is None and high is None:
        return None
    words = figures.window(window)
    return {"low": low, "high": high, "words": words, "inside": window.holds_today}
