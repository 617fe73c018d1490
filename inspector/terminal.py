"""One line a frame for the terminal: verdict as word and shape, the figures, the one advice."""

from __future__ import annotations

import os
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TextIO

import click

from inspector.recognise import is_under_frame, said_of_pair
from inspector.report import figures

SHAPES = {"pass": "●", "warn": "▲", "under": "▽", "unreadable": "×"}
PLAIN_SHAPES = {"pass": "o", "warn": "^", "under": "v", "unreadable": "x"}
COLOURS = {"pass": "green", "warn": "yellow", "under": "white", "unreadable": "magenta"}
NAME_CELLS = 36
"""Widest that the column of names gets by itself."""


PROGRESS_FROM = 8
"""Frames from which a run counts as long."""


def plain(text: str) -> str:
    """Text that does nothing to a terminal: what does not print stands as an escape."""
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)


def wants_colour(stream: TextIO) -> bool:
    """Colour on a terminal, unless NO_COLOR is set to anything (no-color.org)."""
    return stream.isatty() and not os.environ.get("NO_COLOR")


def has_shapes(stream: TextIO) -> bool:
    """Whether the stream's encoding has the shapes of the verdicts."""
    try:
        "".join(SHAPES.values()).encode(stream.encoding or "ascii")
    except UnicodeEncodeError:
        return False
    return True


def name_width(paths: Iterable[str]) -> int:
    """Cells for the column of names."""
    return min(max((cells(plain(Path(p).name)) for p in paths), default=NAME_CELLS), NAME_CELLS)


def verdict_line(record: dict[str, Any], *, width: int, colour: bool, shapes: bool = True) -> str:
    """The line of one frame; `width` cells for its name."""
    verdict = word(record)
    mark = f"{(SHAPES if shapes else PLAIN_SHAPES)[verdict]} {verdict}"
    # A verdict that could not be had takes the place of the figures.
    figures = [] if verdict == "unreadable" else _figures(record)
    parts = [
        _pad(mark, 12),
        _pad(fit(plain(Path(record["frame"]["path"]).name), width), width),
        *figures,
        plain(advice(record)),
    ]
    line = "  ".join(parts).rstrip()
    if not colour:
        return line
    return (
        click.style(line[: len(parts[0])], fg=COLOURS[verdict], bold=True) + line[len(parts[0]) :]
    )


def word(record: dict[str, Any]) -> str:
    """The verdict; ``under`` of a frame that was meant to be too dark, as an under frame."""
    under = is_under_frame(record) and record["verdict"] == "warn"
    return "under" if under else str(record["verdict"])


def advice(record: dict[str, Any]) -> str:
    """The one thing to say of a frame: what is wrong and what to do first."""
    pair = said_of_pair(record)
    if record.get("under_of"):
        return str(pair)
    said = _advice(record)
    return f"{pair}: {said}" if pair and said else pair or said


def _advice(record: dict[str, Any]) -> str:
    for reason in record["reasons"]:
        if reason["advice"]:
            if record["verdict"] == "unreadable":
                return f"{reason['text']}; {reason['advice']}"
            return str(reason["advice"])
    return str(record["reasons"][0]["text"]) if record["reasons"] else ""


def tally(verdicts: Sequence[str]) -> str:
    """How many frames came to which verdict: "3 frames: 2 pass, 1 warn"."""
    counts = [f"{verdicts.count(word)} {word}" for word in SHAPES if word in verdicts]
    head = f"{len(verdicts)} frame{'' if len(verdicts) == 1 else 's'}"
    return f"{head}: {', '.join(counts)}" if counts else head


@dataclass
class Tally:
    """What came of many frames, without holding on to any of them.

    ``stored`` counts those whose verdict was taken from a record of before.
    """

    verdicts: Counter[str] = field(default_factory=Counter)
    reasons: Counter[str] = field(default_factory=Counter)
    stored: int = 0

    def add(self, record: dict[str, Any], *, stored: bool = False) -> None:
        """Count one frame."""
        self.verdicts[record["verdict"]] += 1
        self.reasons.update({reason["code"] for reason in record["reasons"]})
        self.stored += stored

    def text(self, seconds: float) -> str:
        """One line: "120 frames: 100 pass, 20 warn; background-short 15, spill 6; in 54 s"."""
        parts = [tally(list(self.verdicts.elements()))]
        if self.reasons:
            parts.append(", ".join(f"{code} {n}" for code, n in self.reasons.most_common()))
        if self.stored:
            parts.append(f"{self.stored} of them from the record")
        return "; ".join([*parts, f"in {_time_text(round(seconds))}"])


class Progress:
    """How far a long run is, on a terminal: a last line that is written over.

    Silent on anything that is no terminal, and for a few frames.
    """

    def __init__(self, total: int, stream: TextIO, now: Callable[[], float]) -> None:
        self._total, self._stream, self._now = total, stream, now
        self._begin = now()
        self._shown = stream.isatty() and total >= PROGRESS_FROM

    def show(self, done: int) -> None:
        """Write the line after so many frames; `clear` takes it away for other output."""
        if self._shown and done:
            seconds = self._now() - self._begin
            self._stream.write(progress_text(done, self._total, seconds))
            self._stream.flush()

    def clear(self) -> None:
        """Empty the line."""
        if self._shown:
            self._stream.write("\r\x1b[K")
            self._stream.flush()


def progress_text(done: int, total: int, seconds: float) -> str:
    """For example "120 of 340 frames, 4.1 a second, 54 s left"."""
    rate = done / max(seconds, 1e-3)
    left = _time_text(round((total - done) / rate))
    return f"{done} of {total} frames, {rate:.1f} a second, {left} left"


def _time_text(seconds: int) -> str:
    return f"{seconds // 60} min {seconds % 60:02} s" if seconds >= 60 else f"{seconds} s"


def cells(text: str) -> int:
    """Columns that a text takes in a terminal (Unicode Annex 11)."""
    return sum(map(_cells, text))


def fit(text: str, width: int) -> str:
    """The text, its middle left out if it is wider than `width` cells."""
    if cells(text) <= width:
        return text
    head, tail = _take(text, (width - 1) // 2), _take(text[::-1], width // 2)[::-1]
    return f"{head}…{tail}"


def _figures(record: dict[str, Any]) -> list[str]:
    white = record["backdrop"]["white_fraction"]
    spill = record["edge"]["spill_fraction"]
    depth = record["subject"]["depth_ev"]
    background = "background not found"
    if record["backdrop"]["found"]:
        background = "background ?" if white is None else f"background {_percent(white)} white"
    edge = "edge clean" if spill == 0 else ""
    if spill:
        edge = f"edge {figures.share(spill, up=True)} spill"
    subject = "" if depth is None else f"subject {figures.depth(depth)} stops under"
    if record.get("plate"):
        edge, subject = "plate", ""
    return [_pad(background, 24), _pad(edge, 17), _pad(subject, 23)]


def _percent(fraction: float) -> str:
    """Percent, rounded down: 99.97 is not all."""
    tenths = int(fraction * 1000 + 1e-9)
    return f"{tenths // 10}.{tenths % 10} %"


def _pad(text: str, width: int) -> str:
    return text + " " * (width - cells(text))


def _cells(character: str) -> int:
    if unicodedata.combining(character):
        return 0
    return 2 if unicodedata.east_asian_width(character) in "WF" else 1


def _take(text: str, width: int) -> str:
    taken = 0
    for index, character in enumerate(text):
        taken += _cells(character)
        if taken > width:
            return text[:index]
    return text
