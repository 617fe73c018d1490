"""What the page shows of one frame: the clip map's words and figures, from the record."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from inspector.exposure import Window
from inspector.record import Row
from inspector.report import figures
from inspector.report.palette import BY_CODE, MARKS, MAYBE
from inspector.terminal import plain

Record = dict[str, Any]

KINDS = {mark.name: mark.name.split()[0] for mark in (*MARKS, MAYBE)}
"""The page's class names of the marks: short, spill, hot, too, possible."""


def view(row: Row) -> dict[str, Any]:
    """All that the page shows of a frame, ready for JSON."""
    record = row.record
    frame, verdict = record["frame"], record["verdict"]
    reason, advice = _said(record)
    return {
        "name": plain(PurePath(row.path).name),
        "verdict": verdict,
        "plate": bool(record.get("plate")),
        "settings": _settings(frame),
        "size": [frame["width"], frame["height"]],
        "picture": row.clip_map is not None,
        "figures": _figures(record),
        "window": _window(record["window"]),
        "reason": reason,
        "advice": advice,
        "series": {
            "background": record["backdrop"]["ev_p50"],
            "depth": record["subject"]["depth_ev"],
            "spill": record["edge"]["spill_fraction"],
            "wrong": _marks(record),
        },
    }


def _said(record: Record) -> tuple[str, str]:
    """What is wrong, where no figure shows it, and the one advice."""
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
    return f"{plain(text[:1].upper() + text[1:]).rstrip('.')}."


def _marks(record: Record) -> list[str]:
    """Class names of what is wrong, the most useful first."""
    found = (BY_CODE.get(r["code"]) for r in record["reasons"])
    return list(dict.fromkeys(KINDS[mark.name] for mark in found if mark))


def _settings(frame: Record) -> str:
    aperture, shutter, iso = frame["aperture_f"], frame["shutter_s"], frame["iso"]
    parts = (
        f"f/{aperture:g}" if aperture else "",
        figures.shutter(shutter) if shutter else "",
        f"ISO {iso:g}" if iso else "",
    )
    return " · ".join(part for part in parts if part)


def _figures(record: Record) -> list[dict[str, Any]]:
    """Background, edge, subject: label, value, note and the marks of what is wrong with it."""
    marks = _marks(record)
    return [
        _figure("Background", *_background(record, marks), marks, ("short",)),
        _figure("Edge", *_edge(record, marks), marks, ("spill",), quiet=_possible(record)),
        _figure("Subject", *_subject(record, marks), marks, ("too", "hot")),
    ]


def _figure(
    label: str,
    value: str,
    note: str,
    marks: list[str],
    these: tuple[str, ...],
    *,
    quiet: tuple[str, ...] = (),
) -> dict[str, Any]:
    own = [mark for mark in marks if mark in these]
    return {"label": label, "value": value, "note": note, "marks": own, "quiet": list(quiet)}


def _background(record: Record, marks: list[str]) -> tuple[str, str]:
    if record["verdict"] == "unreadable":
        return "–", "not measured"
    backdrop = record["backdrop"]
    if not backdrop["found"] or backdrop["white_fraction"] is None:
        return "None", "no lit white surface found"
    value = figures.share(backdrop["white_fraction"])
    if "short" not in marks or not backdrop["short_regions"]:
        return value, "paper white"
    worst = min(backdrop["short_regions"], key=lambda region: region["ev"])
    short = figures.stops(-worst["ev"])
    unit = "stop" if float(short) <= 1 else "stops"
    return value, f"white; {short} {unit} short, {worst['where']}"


def _possible(record: Record) -> tuple[str, ...]:
    return ("possible",) if any(not run["sure"] for run in record["edge"]["spill"]) else ()


def _edge(record: Record, marks: list[str]) -> tuple[str, str]:
    edge = record["edge"]
    if record.get("plate"):
        return "–", "nobody in front of it"
    if edge["spill_fraction"] is None:
        return "–", "not measured"
    sure = [run for run in edge["spill"] if run["sure"]]
    if "spill" in marks:
        deepest = max(sure, key=lambda run: run["depth_px"], default=None)
        note = f"spilled; deepest at {deepest['where']}" if deepest else "spilled"
        return figures.share(edge["spill_fraction"], up=True), note
    possible = len(edge["spill"]) - len(sure)
    if possible:
        return "Clean", f"{possible} possible spill{'s' if possible > 1 else ''}"
    if sure:
        return "Clean", f"spill {figures.share(edge['spill_fraction'], up=True)}, within the limit"
    return "Clean", "no spill"


def _subject(record: Record, marks: list[str]) -> tuple[str, str]:
    subject = record["subject"]
    if record.get("plate"):
        return "None", "an empty plate"
    if subject["depth_ev"] is None:
        return "–", "not measured"
    note = "stops under white"
    if "too" in marks:
        wants = next(r.get("limit") for r in record["reasons"] if r["code"] == "subject-light")
        note += f", wants {wants:g}" if wants is not None else ""
    elif "hot" in marks:
        count = sum(spot["warns"] for spot in subject["hot_spots"])
        note += f"; {count} hot spot{'s' if count > 1 else ''}"
    return figures.depth(subject["depth_ev"]), note


def _window(ends: Record) -> dict[str, Any] | None:
    """Its ends, in words too, and whether today's exposure stands inside; None: not measured."""
    low, high = ends["low_ev"], ends["high_ev"]
    if low is None and high is None:
        return None
    inside = low is not None and low <= 0 and (high is None or high >= 0)
    words = figures.window(Window(low, ends["low_is"], high, ends["high_is"]))
    return {"low": low, "high": high, "words": words, "inside": inside}
