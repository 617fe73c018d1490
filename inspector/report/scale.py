"""The exposure window as a scale of third stops, with today's exposure inside or outside."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from inspector.exposure import Window
from inspector.report import figures, lines
from inspector.report.layout import Rect
from inspector.report.lettering import Canvas, Type, fit, width, write
from inspector.report.palette import BRIGHT, PLAIN, QUIET, RGB, RULE, WARN, bgr

SPAN = 3
"""Stops shown on either side of today's exposure."""
OPEN: RGB = (112, 112, 112)
"""The window itself."""


@dataclass(frozen=True)
class Axis:
    """Stops -span to span drawn from x ``left`` to ``right``."""

    left: float
    right: float
    span: float

    def at(self, ev: float) -> float:
        """The x of an exposure change; what lies beyond stands at the end."""
        part = (min(max(ev, -self.span), self.span) + self.span) / (2 * self.span)
        return self.left + (self.right - self.left) * part


def window_scale(canvas: Canvas, window: Window, box: Rect) -> None:
    """Draw the window into ``box``; nothing where it was not measured."""
    if window.low_ev is None and window.high_ev is None:
        return
    x0, y0, x1, _ = box
    lines.solid(canvas, [np.array([[x0, y0 + 0.5], [x1, y0 + 0.5]])], RULE, 1)
    left = write(canvas, "Window", x0, y0 + 38, Type(26, 500, QUIET)) + 18
    words = figures.window(window)
    write(canvas, words, left, y0 + 38, fit(words, x1 - left, Type(26, 500, PLAIN)))
    left, right, y = x0 + 22, x1 - 22, y0 + 84

    axis = Axis(left, right, SPAN)
    _bar(canvas, window, axis, y)
    for n in range(-3 * SPAN, 3 * SPAN + 1):
        tall = 14 if n % 3 == 0 else 7
        x = axis.at(n / 3)
        lines.solid(canvas, [np.array([[x, y + 14], [x, y + 14 + tall]])], QUIET, 2)
        if n % 3 == 0:
            text = figures.signed(n / 3)[:-2] if n else "0"
            kind = Type(22, 500, QUIET)
            write(canvas, text, x - width(text, kind.size, kind.weight) / 2, y + 54, kind)
    _today(canvas, axis.at(0), y, inside=window.holds_today)


def _bar(canvas: Canvas, window: Window, axis: Axis, y: float) -> None:
    at, span = axis.at, axis.span
    low = window.low_ev if window.low_ev is not None else -span
    high = window.shown_high_ev if window.shown_high_ev is not None else span
    if low < high:
        corners = np.array(
            [[at(low), y - 9], [at(high), y - 9], [at(high), y + 6], [at(low), y + 6]]
        )
        cv2.fillPoly(canvas, [lines.fixed(corners)], bgr(OPEN), cv2.LINE_AA, lines.SHIFT)
    for ev, opens in ((window.low_ev, 1), (window.shown_high_ev, -1)):
        if ev is None or abs(ev) > span:
            continue
        x = at(ev)
        hook = np.array(
            [[x + 9 * opens, y - 15], [x, y - 15], [x, y + 10], [x + 9 * opens, y + 10]]
        )
        lines.solid(canvas, [hook], BRIGHT, 3)


def _today(canvas: Canvas, x: float, y: float, *, inside: bool) -> None:
    colour = BRIGHT if inside else WARN
    corners = np.array([[x, y + 6], [x - 11, y - 22], [x + 11, y - 22]])
    cv2.fillPoly(canvas, [lines.fixed(corners)], bgr(colour), cv2.LINE_AA, lines.SHIFT)
