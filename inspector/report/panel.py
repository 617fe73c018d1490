"""The words beside the picture: verdict, the figures that matter, the window, the advice."""

from __future__ import annotations

from pathlib import PurePath

import cv2
import numpy as np

from inspector.frame import Frame
from inspector.inspect import Inspection, record
from inspector.report import figures, lines, words
from inspector.report.layout import COLUMN, Layout, Rect
from inspector.report.lettering import OVERHANG, Canvas, Type, fit, paragraph, shorten, width, write
from inspector.report.palette import BRIGHT, PLAIN, QUIET, RGB, RULE, WARN, Mark
from inspector.report.scale import window_scale
from inspector.report.words import Row as Row

VERDICT = 112
FIGURE = 60
LABEL = 26
NOTE = 28


def wrong(inspection: Inspection) -> tuple[Mark, ...]:
    """The marks of the verdict's reasons, the most useful first."""
    return words.wrong(record(inspection))


def rows(inspection: Inspection) -> tuple[Row, ...]:
    """The figures to show for one frame; a plate has no edge."""
    every = words.rows(record(inspection))
    return tuple(row for row in every if not (inspection.verdict.is_plate and row.label == "Edge"))


def least_depth(inspection: Inspection) -> float:
    """Depth in stops that the look asks for."""
    limits = inspection.limits
    filled = inspection.verdict.look == "filled"
    return limits.filled_depth_ev if filled else limits.silhouette_depth_ev


def draw(canvas: Canvas, inspection: Inspection, layout: Layout) -> None:
    """Write verdict, figures, window, advice and name into their places."""
    x0, y, x1, y1 = layout.column
    word = inspection.verdict.word
    verdict_head(canvas, word.capitalize(), (x0, y, x1, y + 92), good=word == "pass")
    y += 134
    inline = x1 - x0 > COLUMN
    for row in rows(inspection):
        height = 126 if inline else 166
        figure_row(canvas, row, (x0, y, x1, y + height), inline=inline)
        y += height
    window_scale(canvas, inspection.exposure.window, (x0, y, x1, y1))
    _advice(canvas, inspection, layout.advice)
    frame_name(canvas, inspection.frame, layout.name)


def verdict_head(canvas: Canvas, word: str, box: Rect, *, good: bool) -> None:
    """The word with its shape: an open ring if all is well, a square on its corner if not."""
    x0, y0, x1, y1 = box
    middle, radius = (x0 + 44.0, (y0 + y1) / 2), 44.0
    if good:
        _ring(canvas, middle, radius - 6, BRIGHT, 12)
    else:
        _wedge(canvas, middle, radius, WARN)
    left = x0 + 118
    write(canvas, word, left, y1 - 4, fit(word, x1 - left, Type(VERDICT, 600, BRIGHT)))


def _ring(
    canvas: Canvas, middle: tuple[float, float], radius: float, colour: RGB, thickness: int
) -> None:
    angle = np.linspace(0, 2 * np.pi, 121)
    ring = np.asarray(middle) + radius * np.column_stack((np.cos(angle), np.sin(angle)))
    lines.solid(canvas, [ring], colour, thickness)


def _wedge(canvas: Canvas, middle: tuple[float, float], reach: float, colour: RGB) -> None:
    """A solid square on its corner: no one takes it for the pass's open ring."""
    turn = np.array([[0, -1], [1, 0], [0, 1], [-1, 0]], float)
    corners = np.asarray(middle) + reach * turn
    cv2.fillPoly(
        canvas, [lines.fixed(corners)], colour[::-1], lineType=cv2.LINE_AA, shift=lines.SHIFT
    )


def figure_row(canvas: Canvas, row: Row, box: Rect, *, inline: bool) -> None:
    """A figure under its label, its note beside it (``inline``) or below."""
    x0, y0, x1, y1 = box
    lines.solid(canvas, [np.array([[x0, y0 + 0.5], [x1, y0 + 0.5]])], RULE, 1)
    end = write(canvas, row.label, x0, y0 + 38, Type(LABEL, 500, QUIET)) + 22
    for mark in row.marks + row.quiet:
        end = swatch(canvas, mark, end, y0 + 29) + 8
        end = write(canvas, mark.name, end, y0 + 38, Type(22, 500, QUIET)) + 18
    kind = fit(row.value, x1 - x0, Type(FIGURE, 600, BRIGHT if row.marks else PLAIN))
    end = write(canvas, row.value, x0, y0 + 102, kind)
    note = Type(NOTE, 400, PLAIN if row.marks else QUIET)
    if inline:
        room = x1 - end - 28
        size = fit(row.note, room, note, least=20)
        line = shorten(row.note, room, size.size, size.weight)
        write(canvas, line, end + 28, y0 + 102, size)
        return
    paragraph(canvas, row.note, (x0, y0 + 112, x1, y1), note, sizes=(NOTE, 26, 24, 22, 20))


def swatch(canvas: Canvas, mark: Mark, x: float, y: float) -> int:
    """A short piece of a mark's own line, as drawn in the picture; return where it ends."""
    ends = np.array([[x, y], [x + 44, y]])
    if mark.line == "ring":
        _ring(canvas, (x + 12, y), 10, mark.rgb, 4)
        return round(x + 26)
    if mark.line == "contour":
        cv2.rectangle(
            canvas, (round(x), round(y) - 9), (round(x) + 44, round(y) + 9), mark.rgb[::-1], -1
        )
    elif mark.line == "dotted":
        lines.dots(canvas, lines.along(ends, ends, 12), mark.rgb, 3.6)
    elif mark.line == "dashed":
        lines.solid(canvas, [ends], mark.casing, 8)
        lines.solid(canvas, lines.dashes(ends, 14, 8), mark.rgb, 4)
    else:
        lines.solid(canvas, [ends - (0, 5)], mark.rgb, 6)
        ticks = [np.array([[x + d, y - 5], [x + d, y + 9]]) for d in (5, 16, 27, 38)]
        lines.solid(canvas, ticks, mark.rgb, 3)
    return round(x + 46)


def _advice(canvas: Canvas, inspection: Inspection, box: Rect) -> None:
    verdict = inspection.verdict
    if verdict.word == "pass":
        write(canvas, "Nothing to change.", box[0], box[1] + 38, Type(38, 400, QUIET))
        return
    text = verdict.advice or next((r.text for r in verdict.reasons if r.text), "")
    advice_text(canvas, text, box, BRIGHT)


def advice_text(canvas: Canvas, text: str, box: Rect, colour: RGB) -> None:
    """The one sentence, as large as its place allows."""
    paragraph(canvas, text, box, Type(38, 400, colour), sizes=(38, 36, 34, 32, 30, 26, 22, 18, 15))


def frame_name(canvas: Canvas, frame: Frame, box: Rect) -> None:
    """The frame's file name and its exposure, in one line."""
    x0, y0, x1, y1 = box
    inside = canvas[y0:y1, x0 - OVERHANG : x1]
    shot = frame.shot
    parts = [
        f"f/{shot.aperture_f:g}" if shot.aperture_f else "",
        figures.shutter(shot.shutter_s) if shot.shutter_s else "",
        f"ISO {shot.iso:g}" if shot.iso else "",
    ]
    exposure = " · ".join(p for p in parts if p)
    room = x1 - x0 - (width(exposure, LABEL, 400) + 28 if exposure else 0) - OVERHANG
    name = shorten(PurePath(frame.path).name, room, LABEL, 500)
    baseline = y1 - y0 - 8
    end = write(inside, name, OVERHANG, baseline, Type(LABEL, 500, QUIET))
    if exposure:
        write(inside, exposure, end + 24, baseline, Type(LABEL, 400, QUIET))
