"""The three figures of a frame in words, from its record: for the clip map and the live page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from inspector.report import figures
from inspector.report.palette import BY_CODE, HOT, LIGHT, MAYBE, SHORT, SPILL, Mark

Record = dict[str, Any]


@dataclass(frozen=True)
class Row:
    """One figure: what it is of, its value, a note, the marks of what is wrong and not sure."""

    label: str
    value: str
    note: str
    marks: tuple[Mark, ...] = ()
    quiet: tuple[Mark, ...] = ()


def wrong(record: Record) -> tuple[Mark, ...]:
    """The marks of the verdict's reasons, the most useful first."""
    found = (BY_CODE.get(reason["code"]) for reason in record["reasons"])
    return tuple(dict.fromkeys(mark for mark in found if mark))


def rows(record: Record) -> tuple[Row, Row, Row]:
    """Background, edge and subject."""
    marks = wrong(record)
    unsure = any(not run["sure"] for run in record["edge"]["spill"])
    return (
        Row("Background", *_background(record, marks), _of(marks, SHORT)),
        Row("Edge", *_edge(record, marks), _of(marks, SPILL), (MAYBE,) if unsure else ()),
        Row("Subject", *_subject(record, marks), _of(marks, LIGHT, HOT)),
    )


def _of(marks: tuple[Mark, ...], *these: Mark) -> tuple[Mark, ...]:
    return tuple(mark for mark in marks if mark in these)


def _background(record: Record, marks: tuple[Mark, ...]) -> tuple[str, str]:
    backdrop = record["backdrop"]
    if record["verdict"] == "unreadable":
        return "–", "not measured"
    if not backdrop["found"] or backdrop["white_fraction"] is None:
        return "None", "no lit white surface found"
    value = figures.share(backdrop["white_fraction"])
    if SHORT not in marks or not backdrop["short_regions"]:
        return value, "paper white"
    worst = min(backdrop["short_regions"], key=lambda region: region["ev"])
    short = figures.stops(-worst["ev"])
    unit = "stop" if float(short) <= 1 else "stops"
    what = "shadow " if worst.get("shadow") else ""
    return value, f"white; {what}{short} {unit} short, {worst['where']}"


def _edge(record: Record, marks: tuple[Mark, ...]) -> tuple[str, str]:
    edge = record["edge"]
    if record.get("plate"):
        return "–", "nobody in front of it"
    if edge["spill_fraction"] is None:
        return "–", "not measured"
    part = figures.share(edge["spill_fraction"], up=True)
    sure = [run for run in edge["spill"] if run["sure"]]
    if SPILL in marks:
        deepest = max(sure, key=lambda run: run["depth_px"], default=None)
        return part, f"spilled; deepest at {deepest['where']}" if deepest else "spilled"
    possible = len(edge["spill"]) - len(sure)
    if possible:
        return "Clean", f"{possible} possible spill{'s' if possible > 1 else ''}"
    return "Clean", f"spill {part}, within the limit" if sure else "no spill"


def _subject(record: Record, marks: tuple[Mark, ...]) -> tuple[str, str]:
    subject = record["subject"]
    if record.get("plate"):
        return "None", "an empty plate"
    if subject["depth_ev"] is None:
        return "–", "not measured"
    note = "stops under white"
    if LIGHT in marks:
        limits = (r.get("limit") for r in record["reasons"] if BY_CODE.get(r["code"]) == LIGHT)
        least = next(limits, None)
        note += f", wants {least:g}" if least is not None else ""
    elif HOT in marks:
        count = sum(spot["warns"] for spot in subject["hot_spots"])
        note += f"; {count} hot spot{'s' if count > 1 else ''}"
    return figures.depth(subject["depth_ev"]), note
