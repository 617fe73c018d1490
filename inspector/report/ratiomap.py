"""The picture of a lighting ratio: where both points were read, and the ratio beside it."""

from __future__ import annotations

import cv2
import numpy as np

from inspector.levels import Levels
from inspector.ratio import LightingRatio
from inspector.report import figures, lines, panel, proof
from inspector.report.layout import COLUMN, SIZE, arrange
from inspector.report.lettering import Canvas, Type, fit, paragraph, write
from inspector.report.lines import Points, Tags
from inspector.report.palette import BRIGHT, CANVAS, INK, MAYBE, QUIET, RULE, bgr
from inspector.report.words import Row

TAG = (236, 236, 236)
LIFTED_EV = -1.0
"""The picture is brightened until its brightest part stands here, stops under white."""


def draw(found: LightingRatio, levels: Levels) -> Canvas:
    """The whole picture, ``SIZE`` pixels, (H, W, 3) uint8 blue first."""
    height, wide = levels.ev.shape
    layout = arrange(wide, height)
    canvas = np.full((SIZE[1], SIZE[0], 3), CANVAS[0], np.uint8)
    x0, y0, x1, y1 = layout.picture
    canvas[y0:y1, x0:x1] = _picture(found, levels, layout.picture_size)
    cv2.rectangle(canvas, (x0 - 1, y0 - 1), (x1, y1), bgr(RULE), 1)
    left, top, right, _ = layout.column
    words = times(found.times)
    kind = fit(words, right - left, Type(panel.VERDICT, 600, BRIGHT))
    write(canvas, words, left, top + 88, kind)
    y = top + 134
    inline = right - left > COLUMN
    for row in _rows(found):
        tall = 126 if inline else 166
        panel.figure_row(canvas, row, (left, y, right, y + tall), inline=inline)
        y += tall
    warning = " ".join(map(_sentence, found.warnings))
    text = warning or "Both points lie well within what the frame can tell."
    colour = BRIGHT if found.warnings else QUIET
    paragraph(canvas, text, layout.advice, Type(36, 400, colour), sizes=(36, 32, 28, 24, 20))
    panel.frame_name(canvas, levels.frame, layout.name)
    return canvas


def times(ratio: float | None) -> str:
    """The ratio as n:1, or 1:n if the point called lit is the darker."""
    if ratio is None:
        return "–"
    return f"{ratio:.1f}:1" if ratio >= 1 else f"1:{1 / ratio:.1f}"


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}{'' if text.endswith('?') else '.'}"


def _rows(found: LightingRatio) -> tuple[Row, ...]:
    least = " or more" if found.state == "at_least" else ""
    stops = "–" if found.stops is None else figures.stops(found.stops) + least
    note = "stops from shadow to lit side"
    if found.error_ev is not None:
        note += f", ± {max(found.error_ev, 0.01):.2f}"
    return (
        Row("Ratio", stops, note),
        Row("Lit", figures.signed(found.lit.ev), "stops from white"),
        Row("Shadow", figures.signed(found.shadow.ev), "stops from white"),
    )


def _picture(found: LightingRatio, levels: Levels, size: tuple[int, int]) -> Canvas:
    lift = float(np.clip(LIFTED_EV - np.percentile(levels.ev, 99), 0, 6))
    drawn = np.asarray(
        cv2.cvtColor(proof.grey(levels, size, lift_ev=lift), cv2.COLOR_GRAY2BGR), np.uint8
    )
    tags = Tags(drawn)
    zoom = np.array(size) / np.array(levels.frame.size)
    for name, at in (("lit", found.lit_at), ("shadow", found.shadow_at)):
        square = _square(at, found.size, zoom)
        lines.solid(drawn, [square], MAYBE.casing, 5)
        lines.solid(drawn, [square], MAYBE.rgb, 2)
        x, y = (np.array(at) * zoom).tolist()
        reading = found.lit if name == "lit" else found.shadow
        text = f"{name} {figures.signed(reading.ev)}"
        reach = found.size * zoom[1] / 2 + 32
        # Each figure stands on its own side, clear of the other patch.
        to_right = (name == "lit") == (found.lit_at[0] > found.shadow_at[0])
        aside = (reach + 66) * (1 if to_right else -1)
        anchors = [(x + aside, y), (x + aside, y - 40), (x + aside, y + 40), (x, y - reach)]
        tags.add(text, anchors, Type(26, 600, INK), TAG)
    return drawn


def _square(at: tuple[float, float], side: float, zoom: Points) -> Points:
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]]) * max(side, 6 / zoom[0]) / 2
    return np.asarray((np.array(at) + corners) * zoom)
