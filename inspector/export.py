"""The record of a set as JSON Lines and as a table."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator
from typing import Any

from inspector.record import Row

COLUMNS = (
    "path",
    "judged_at",
    "verdict",
    "camera",
    "taken_at",
    "iso",
    "shutter_s",
    "aperture_f",
    "ceiling_ev",
    "white_fraction",
    "blown_fraction",
    "ev_p1",
    "ev_p50",
    "ev_p99",
    "depth_ev",
    "ramp_px",
    "spill_fraction",
    "veil_fraction",
    "low_ev",
    "low_is",
    "high_ev",
    "high_is",
    "safe_high_ev",
    "subject_high_ev",
    "reasons",
    "advice",
    "clip_map",
)
"""One a figure, named as in the record."""


def json_lines(rows: Iterable[Row]) -> Iterator[str]:
    """The records as they are, one object a line."""
    return (json.dumps(row.record) for row in rows)


def csv_lines(rows: Iterable[Row]) -> Iterator[str]:
    """A table (RFC 4180) with a heading; what could not be measured stays empty."""
    yield _line(COLUMNS)
    for row in rows:
        cells = _cells(row)
        yield _line([cells[column] for column in COLUMNS])


def _cells(row: Row) -> dict[str, Any]:
    record = row.record
    groups = ("frame", "clip", "backdrop", "subject", "edge", "flare", "window")
    figures = {name: value for group in groups for name, value in record[group].items()}
    reasons = record["reasons"]
    return figures | {
        "path": row.path,
        "judged_at": row.judged_at,
        "verdict": row.verdict,
        "reasons": " ".join(reason["code"] for reason in reasons),
        "advice": next((reason["advice"] for reason in reasons if reason["advice"]), None),
        "clip_map": row.clip_map,
    }


def _line(cells: Iterable[Any]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="").writerow(cells)
    return text.getvalue().encode("utf-8", "backslashreplace").decode()
