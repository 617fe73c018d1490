"""The picture of a comparison: a signed stop map, both frames small, and the table of changes."""

from __future__ import annotations

from pathlib import PurePath

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Mask
from inspector.compare import AT_LEAST, AT_MOST, UNKNOWN, Change, Comparison
from inspector.inspect import Inspection
from inspector.report import figures, lines, marks, proof
from inspector.report.layout import COLUMN, MARGIN, SIZE, Layout, Rect, arrange
from inspector.report.lettering import OVERHANG, Canvas, Type, paragraph, shorten, width, write
from inspector.report.lines import Tags
from inspector.report.palette import (
    BRIGHT,
    CANVAS,
    CHANGES,
    INK,
    PLAIN,
    QUIET,
    RULE,
    bgr,
)

ROW = 52
THUMB_GAP = 16
SCALE_STEPS = len(CHANGES) // 2
TAG = (236, 236, 236)
_LOOK_UP = np.array([bgr(c) for c in CHANGES], np.uint8)


def draw(found: Comparison) -> Canvas:
    """The whole picture, ``SIZE`` pixels, (H, W, 3) uint8 blue first."""
    height, width_ = found.change.shape
    layout = arrange(width_, height)
    canvas = np.full((SIZE[1], SIZE[0], 3), CANVAS[0], np.uint8)
    x0, y0, x1, y1 = layout.picture
    canvas[y0:y1, x0:x1] = picture(found, layout.picture_size)
    cv2.rectangle(canvas, (x0 - 1, y0 - 1), (x1, y1), bgr(RULE), 1)
    y = _thumbnails(canvas, found, layout)
    y = _table(canvas, found, (layout.column[0], y, _right(layout), layout.column[3]))
    _scale(canvas, (layout.column[0], y + 14, _right(layout), layout.column[3]))
    kind = Type(36, 400, BRIGHT)
    paragraph(canvas, found.sentence + ".", layout.advice, kind, sizes=(36, 34, 32, 30, 27, 24, 20))
    _names(canvas, found, layout.name)
    return canvas


def picture(found: Comparison, size: tuple[int, int]) -> Canvas:
    """The map alone, for ``size`` (w, h): stepped by thirds of a stop; dark where it is unknown."""
    seen = found.pair.first
    at = marks.place(seen, size)
    grey = proof.grey(seen.levels, size)
    # What cannot be told stays a dim proof, far darker than any step of the palette.
    drawn = cv2.cvtColor((grey * np.float32(0.18) + 14).astype(np.uint8), cv2.COLOR_GRAY2BGR)
    known = np.isfinite(found.change)
    change = np.where(known, found.change, 0).astype(np.float32)
    cover = cv2.resize(known.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)
    smooth = cv2.resize(_grown(change, known), size, interpolation=cv2.INTER_LINEAR)
    step = np.clip(np.rint(smooth * 3), -SCALE_STEPS, SCALE_STEPS).astype(int) + SCALE_STEPS
    drawn = np.where((cover > 0.5)[..., None], _LOOK_UP[step], drawn)
    canvas = np.ascontiguousarray(drawn, np.uint8)
    marks.outline(canvas, seen.zones.outlines, at)
    tags = Tags(canvas)
    _tag_parts(found, at, tags)
    return canvas


def _grown(change: NDArray[np.float32], known: Mask) -> NDArray[np.float32]:
    """The change carried a little over the border of what is known, for enlarging it."""
    weight = cv2.GaussianBlur(known.astype(np.float32), (0, 0), 1.5)
    near = cv2.GaussianBlur(change, (0, 0), 1.5) / np.maximum(weight, 1e-3)
    return np.where(known, change, near).astype(np.float32)


def _tag_parts(found: Comparison, at: marks.Place, tags: Tags) -> None:
    """The figures of both sides and the background, each where there is most room for it."""
    levels, zones = found.pair.first.levels, found.pair.first.zones
    for change in found.changes:
        mask = zones.backdrop if change.part == "background" else found.parts.get(change.part)
        if change.part not in ("left", "right", "background") or mask is None or not mask.any():
            continue
        text = value(change)
        if change.known == UNKNOWN:
            text = "not known: over white"
        spot = at(levels.to_view(lines.roomiest(mask)))[0]
        aside = {"left": -70.0, "right": 70.0}.get(change.part, 0.0)
        anchors = [(float(spot[0]) + aside, float(spot[1]) + dy) for dy in (0, -44, 44, 88)]
        tags.add(text, anchors, Type(28, 600, INK), TAG)


def value(change: Change) -> str:
    """The change of the light alone: +0.8, +0.3 or more, or a dash."""
    if change.light_ev is None:
        return "–"
    more = {AT_LEAST: " or more", AT_MOST: " or less"}.get(change.known, "")
    return figures.signed(change.light_ev) + more


def _right(layout: Layout) -> int:
    """The column's right end: a wide one is not filled by a table of figures."""
    return min(layout.column[2], layout.column[0] + COLUMN + 60)


def _thumbnails(canvas: Canvas, found: Comparison, layout: Layout) -> int:
    """Both frames, side by side over the table or one under the other beside it; the y below."""
    left, top = layout.column[0], layout.column[1]
    height, wide = found.change.shape
    beside = layout.column[2] - _right(layout) > MARGIN + 160
    room = (_right(layout) - left - THUMB_GAP) // 2, 250
    if beside:
        left = _right(layout) + MARGIN
        room = layout.column[2] - left, 260
    zoom = min(room[0] / wide, room[1] / height)
    size = round(wide * zoom), round(height * zoom)
    step = (0, size[1] + 56) if beside else (room[0] + THUMB_GAP, 0)
    pair = (found.pair.first, "Before"), (found.pair.second, "After")
    for k, (seen, word) in enumerate(pair):
        x, y = left + k * step[0], top + k * step[1]
        canvas[y : y + size[1], x : x + size[0]] = _proof(seen, size)
        cv2.rectangle(canvas, (x - 1, y - 1), (x + size[0], y + size[1]), bgr(RULE), 1)
        write(canvas, word, x, y + size[1] + 32, Type(24, 500, QUIET))
    return top if beside else top + size[1] + 58


def _proof(seen: Inspection, size: tuple[int, int]) -> Canvas:
    grey = proof.grey(seen.levels, size, lift_ev=1.0)
    return np.asarray(cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR), np.uint8)


def _table(canvas: Canvas, found: Comparison, box: Rect) -> int:
    """Part, stops before and after, change of the light; the y below it."""
    x0, y, x1, _ = box
    columns = x0 + 0.56 * (x1 - x0), x0 + 0.76 * (x1 - x0), float(x1)
    head = Type(21, 500, QUIET)
    for text, x in zip(("before", "after", "light"), columns, strict=True):
        write(canvas, text, x - width(text, head.size, head.weight), y + 22, head)
    y += 32
    for change in found.changes:
        lines.solid(canvas, [np.array([[x0, y + 0.5], [x1, y + 0.5]])], RULE, 1)
        write(canvas, label(change.part), x0, y + 36, Type(25, 500, QUIET))
        texts = (_ev(change.before_ev), _ev(change.after_ev), value(change).replace(" or ", " "))
        moved = change.light_ev is not None and abs(change.light_ev) >= 0.1
        kinds = (
            Type(25, 400, QUIET),
            Type(25, 400, QUIET),
            Type(30, 600, BRIGHT if moved else PLAIN),
        )
        for text, x, kind in zip(texts, columns, kinds, strict=True):
            write(canvas, text, x - width(text, kind.size, kind.weight), y + 37, kind)
        y += ROW
    return y


def _ev(ev: float | None) -> str:
    return "–" if ev is None else figures.signed(ev)


def label(part: str) -> str:
    """A part's name in the table."""
    sides = {"left": "Left side", "right": "Right side", "top": "Facing up", "front": "Front"}
    return sides.get(part, part.capitalize())


def _scale(canvas: Canvas, box: Rect) -> None:
    """The palette as a row of steps, the whole stops named."""
    x0, y0, x1, y1 = box
    if y0 + 60 > y1:
        return
    steps = len(CHANGES)
    wide = (x1 - x0) / steps
    for k in range(steps):
        corners = (round(x0 + k * wide), y0), (round(x0 + (k + 1) * wide) - 1, y0 + 20)
        cv2.rectangle(canvas, *corners, bgr(CHANGES[k]), -1)
        if (k - SCALE_STEPS) % 3 == 0:
            ev = (k - SCALE_STEPS) / 3
            text = figures.thirds(ev)
            kind = Type(21, 500, QUIET)
            middle = x0 + (k + 0.5) * wide
            write(canvas, text, middle - width(text, kind.size, kind.weight) / 2, y0 + 46, kind)


def _names(canvas: Canvas, found: Comparison, box: Rect) -> None:
    x0, y0, x1, y1 = box
    room = (x1 - x0 - OVERHANG - width(" → ", 24, 500)) // 2
    names = (PurePath(i.frame.path).name for i in (found.pair.first, found.pair.second))
    text = " → ".join(shorten(name, room, 24, 500) for name in names)
    inside = canvas[y0:y1, x0 - OVERHANG : x1]
    write(inside, text, OVERHANG, y1 - y0 - 8, Type(24, 500, QUIET))
