"""The exposure window as a scale of third stops, with today's exposure inside or outside."""

from __future__ import annotations

import cv2
import numpy as np

from inspector.exposure import Window
from inspector.report import figures, lines
from inspector.report.layout import Rect
from inspector.report.lettering import Canvas, Type, width, write
from inspector.report.palette import BRIGHT, PLAIN, QUIET, RULE, Mark, bgr

SPAN = 2
"""Stops shown on either side of today's exposure, doubled where a figure needs it."""


def window_scale(canvas: Canvas, window: Window, box: Rect, marks: tuple[Mark, ...]) -> None:
    """Draw the window into ``box``; nothing where it was not measured."""
    if window.low_ev is None and window.high_ev is None:
        return
    x0, y0, x1, _ = box
    cv2.line(canvas, (x0, y0), (x1 - 1, y0), bgr(RULE), 1)
    end = write(canvas, "Exposure", x0, y0 + 38, Type(26, 500, QUIET))
    write(canvas, figures.window(window), end + 16, y0 + 38, Type(26, 500, PLAIN))
    ends = [abs(v) for v in (window.low_ev, window.high_ev) if v is not None]
    span = SPAN if max(ends) <= SPAN else 2 * SPAN
    left, right, y = x0 + 22, x1 - 22, y0 + 84

    def at(ev: float) -> float:
        return left + (right - left) * (min(max(ev, -span), span) + span) / (2 * span)

    _bar(canvas, window, at, y, span)
    for n in range(-3 * span, 3 * span + 1):
        tall = 14 if n % 3 == 0 else 7
        x = at(n / 3)
        lines.solid(canvas, [np.array([[x, y + 14], [x, y + 14 + tall]])], QUIET, 2)
        if n % 3 == 0:
            text = figures.signed(n / 3)[:-2] if n else "0"
            kind = Type(22, 500, QUIET)
            write(canvas, text, x - width(text, kind.size, kind.weight) / 2, y + 54, kind)
    _today(canvas, at(0), y, marks, inside=_inside(window))


def _inside(window: Window) -> bool:
    low, high = window.low_ev, window.high_ev
    return low is not None and low <= 0 and (high is None or high >= 0)


def _bar(canvas: Canvas, window: Window, at, y: float, span: float) -> None:  # type: ignore[no-untyped-def]
    low = window.low_ev if window.low_ev is not None else -span
    high = window.high_ev if window.high_ev is not None else span
    if low < high:
        lines.solid(canvas, [np.array([[at(low), y], [at(high), y]])], (120, 120, 120), 16)
    for ev, opens in ((window.low_ev, 1), (window.high_ev, -1)):
        if ev is None or abs(ev) > span:
            continue
        x = at(ev)
        hook = np.array(
            [[x + 9 * opens, y - 15], [x, y - 15], [x, y + 10], [x + 9 * opens, y + 10]]
        )
        lines.solid(canvas, [hook], BRIGHT, 3)


def _today(canvas: Canvas, x: float, y: float, marks: tuple[Mark, ...], *, inside: bool) -> None:
    colour = BRIGHT if inside or not marks else marks[0].rgb
    corners = np.array([[x, y + 6], [x - 11, y - 22], [x + 11, y - 22]])
    cv2.fillPoly(canvas, [lines.fixed(corners)], bgr(colour), cv2.LINE_AA, lines.SHIFT)
