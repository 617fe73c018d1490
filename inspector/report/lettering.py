"""Text in a picture: OpenCV's own TrueType face, measured, wrapped and never cut off."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.report.palette import RGB, bgr

Canvas = NDArray[np.uint8]
"""(H, W, 3) uint8, blue first."""

FACE = cv2.FontFace("sans")
OVERHANG = 2
"""Pixels by which a letter may stand out to the left of its line."""
CAP_HEIGHT = 0.75
"""Height of a capital or a figure, in units of the size (measured from the face)."""


@dataclass(frozen=True)
class Type:
    """``size`` in pixels (the em), ``weight`` 100 to 900, ``colour`` sRGB."""

    size: int
    weight: int
    colour: RGB


def clean(text: str) -> str:
    """Printable text only: controls, lone surrogates and direction marks become ``?``.

    OpenCV crashes on a lone surrogate, and a file name may hold one.
    """
    return "".join(c if c.isprintable() else _replacement(c) for c in text)


def _replacement(char: str) -> str:
    return " " if unicodedata.category(char) == "Zs" else "?"


def width(text: str, size: int, weight: int) -> int:
    """Width of a line of text in pixels."""
    box = cv2.getTextSize((0, 0), clean(text), (0, 0), FACE, size, weight)
    return int(box[0] + box[2])


def write(canvas: Canvas, text: str, x: float, baseline: float, kind: Type) -> int:
    """Write one line from ``x`` on; return the x at which it ends."""
    org = (round(x), round(baseline))
    cv2.putText(canvas, clean(text), org, bgr(kind.colour), FACE, kind.size, kind.weight)
    return org[0] + width(text, kind.size, kind.weight)


def fit(text: str, room: int, kind: Type, *, least: int = 16) -> Type:
    """The type in the largest size down to ``least`` in which a line fits into ``room``."""
    size = kind.size
    while size > least and width(text, size, kind.weight) > room:
        size -= 1
    return Type(size, kind.weight, kind.colour)


def wrap(text: str, room: int, size: int, weight: int) -> list[str]:
    """Break text into lines of at most ``room`` pixels, within a word only when it must."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if width(longer, size, weight) <= room:
            line = longer
            continue
        if line:
            lines.append(line)
        pieces = _pieces(word, room, size, weight)
        lines += pieces[:-1]
        line = pieces[-1]
    return [*lines, line] if line else lines


def _pieces(word: str, room: int, size: int, weight: int) -> list[str]:
    pieces = [""]
    for char in word:
        if pieces[-1] and width(pieces[-1] + char, size, weight) > room:
            pieces.append("")
        pieces[-1] += char
    return pieces


def shorten(text: str, room: int, size: int, weight: int) -> str:
    """Leave out the middle of a line that is too long; its end tells frames apart."""
    if width(text, size, weight) <= room:
        return text
    low, high = 0, len(text)
    while low < high:
        keep = (low + high + 1) // 2
        fits = width(_without_middle(text, keep), size, weight) <= room
        low, high = (keep, high) if fits else (low, keep - 1)
    return _without_middle(text, low)


def _without_middle(text: str, keep: int) -> str:
    tail = (keep + 1) // 2
    return text[: keep - tail] + "…" + (text[-tail:] if tail else "")


def paragraph(
    canvas: Canvas,
    text: str,
    box: tuple[int, int, int, int],
    kind: Type,
    *,
    sizes: Sequence[int],
    leading: float = 1.32,
) -> int:
    """Set text into ``box`` (x0, y0, x1, y1) from the top, in the largest of ``sizes`` that fits.

    Returns the y below the last line. At the smallest size what still does not fit is left out
    with an ellipsis; what a glyph hangs over the box is clipped, so that nothing ever leaves it.
    """
    x0, y0, x1, y1 = box
    inside = canvas[y0:y1, x0 - OVERHANG : x1]
    for size in sizes:
        lines = wrap(text, x1 - x0, size, kind.weight)
        if len(lines) * size * leading <= y1 - y0:
            break
    most = max(1, int((y1 - y0) / (size * leading)))
    if len(lines) > most:
        rest = " ".join(lines[most - 1 :])
        lines = [*lines[: most - 1], shorten(rest, x1 - x0, size, kind.weight)]
    for n, line in enumerate(lines):
        baseline = size * (leading * n + 1)
        write(inside, line, OVERHANG, baseline, Type(size, kind.weight, kind.colour))
    return round(y0 + len(lines) * size * leading)
