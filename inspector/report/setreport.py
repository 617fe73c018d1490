"""The report of a set: one self-contained page, a table and JSON Lines, for the next morning."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from inspector.export import csv_lines, json_lines
from inspector.files import write_whole
from inspector.record import Row, read_rows
from inspector.report.webpage import page

PAGE, TABLE, LINES = "report.html", "report.csv", "report.jsonl"


@dataclass(frozen=True)
class Written:
    """A written report: its page, and the rows it shows in their order."""

    page: Path
    rows: tuple[Row, ...]


def write_report(folder: Path) -> Written:
    """Write the report of a watched set into its report folder: page, table and JSON Lines.

    Raises
    ------
    RecordError
        If there is no record in the folder, or it cannot be used.
    OSError
        If the folder cannot be written.
    """
    rows = newest(read_rows(folder))
    write_whole(folder / TABLE, _lines(csv_lines(rows), "\r\n"))
    write_whole(folder / LINES, _lines(json_lines(rows), "\n"))
    write_whole(folder / PAGE, page(rows, folder.resolve(), names(rows)).encode("utf-8"))
    return Written(folder / PAGE, tuple(rows))


def newest(rows: Iterable[Row]) -> list[Row]:
    """The last judgement of each file, in the order in which the frames were taken.

    Frames without a time keep their place by judgement, after those that tell it.
    """
    last = {row.path: row for row in sorted(rows, key=lambda r: r.id)}
    return sorted(last.values(), key=_order)


def _order(row: Row) -> tuple[bool, str, int]:
    taken = row.record["frame"]["taken_at"]
    return taken is None, taken or "", row.id


def _lines(lines: Iterable[str], end: str) -> bytes:
    return "".join(line + end for line in lines).encode("utf-8")


def names(rows: Sequence[Row]) -> list[str]:
    """How each frame is called: its file name, with as much of its folder as tells it apart."""
    plain = [Path(row.path).name for row in rows]
    twice = {name for name in plain if plain.count(name) > 1}
    return [
        f"{Path(row.path).parent.name}/{name}" if name in twice else name
        for row, name in zip(rows, plain, strict=True)
    ]
