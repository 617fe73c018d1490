"""The picture of an empty set: how even the background is, as contours at each third of a stop."""

from __future__ import annotations

import cv2
import numpy as np
from contourpy import contour_generator

from inspector.place import Box
from inspector.plate import Plate
from inspector.report import figures, lines, marks, panel, proof
from inspector.report.layout import COLUMN, SIZE, arrange
from inspector.report.lettering import Canvas, Type
from inspector.report.lines import Points, Tags
from inspector.report.palette import BRIGHT, CANVAS, INK, MAYBE, PLAIN, QUIET, RGB, RULE, SHORT, bgr
from inspector.report.words import Row

CONTOUR: RGB = (122, 122, 122)
"""Lines of equal light over white."""
TAG: RGB = (236, 236, 236)
NUMBERED = 6
"""Most strays that get a number."""


def draw(plate: Plate) -> Canvas:
    """The whole picture, ``SIZE`` pixels, (H, W, 3) uint8 blue first."""
    height, width = plate.ev.shape
    layout = arrange(width, height)
    canvas = np.full((SIZE[1], SIZE[0], 3), CANVAS[0], np.uint8)
    x0, y0, x1, y1 = layout.picture
    canvas[y0:y1, x0:x1] = picture(plate, layout.picture_size)
    cv2.rectangle(canvas, (x0 - 1, y0 - 1), (x1, y1), bgr(RULE), 1)
    left, y, right, _ = layout.column
    word = "Ready" if plate.ready else "Not yet"
    panel.verdict_head(canvas, word, (left, y, right, y + 92), good=plate.ready)
    y += 134
    inline = right - left > COLUMN
    for row in rows(plate):
        height = 126 if inline else 166
        panel.figure_row(canvas, row, (left, y, right, y + height), inline=inline)
        y += height
    panel.advice_text(canvas, plate.advice, layout.advice, QUIET if plate.ready else BRIGHT)
    panel.frame_name(canvas, plate.inspection.frame, layout.name)
    return canvas


def rows(plate: Plate) -> tuple[Row, ...]:
    """White, over white, evenness, and what can come off."""
    x = plate.inspection.exposure
    if not plate.over_ev or x.white_fraction is None:
        return (Row("Background", "None", "no lit white surface found"),)
    short = (plate.spare_ev or 0) < 0
    white = Row(
        "Background", figures.share(x.white_fraction), "paper white", (SHORT,) if short else ()
    )
    middle = plate.over_ev[50]
    more = " or more" if plate.at_ceiling(middle) else ""
    over = Row("Over white", figures.signed(middle) + more, "stops, in the middle of its range")
    return white, over, _even(plate), _spare(plate)


def _even(plate: Plate) -> Row:
    even, weakest = plate.evenness_ev or 0.0, plate.weakest
    pinned = plate.at_ceiling(plate.over_ev[99])
    if plate.at_ceiling(plate.over_ev[1]):
        return Row("Evenness", "–", "over what the frame can tell; a bracket shows it")
    value = f"{figures.stops(even)}{' or more' if pinned else ''}"
    note = "stops from weakest to strongest hundredth"
    if weakest is not None:
        note = f"stops; weakest {weakest.where}, {figures.signed(weakest.ev)}"
    return Row("Evenness", value, note)


def _spare(plate: Plate) -> Row:
    spare = plate.spare_ev or 0.0
    if spare < 0:
        return Row("Lacks", figures.stops(-spare), "stops, in its weakest part", (SHORT,))
    least = " or more" if plate.spare_is == "at_least" else ""
    return Row("To spare", figures.depth(spare) + least, "stops that power can come down")


def picture(plate: Plate, size: tuple[int, int]) -> Canvas:
    """The proof with its contours, the weakest place, strays and the box, for ``size`` (w, h)."""
    seen = plate.inspection
    ground = proof.grey(plate.levels, size)
    at = marks.place(seen, size)
    short = proof.shortfall(plate.levels, seen.zones, size)
    if seen.zones.found and (plate.spare_ev or 0) < 0:
        drawn = proof.paint(ground, short)
    else:
        drawn = np.asarray(cv2.cvtColor(ground, cv2.COLOR_GRAY2BGR), np.uint8)
    tags = Tags(drawn)
    if seen.zones.found:
        _stand(drawn, plate, at, tags)
        if (plate.spare_ev or 0) < 0:
            marks.contours(drawn, short, tags)
        _over_white(drawn, plate, at, tags)
        _strays(drawn, plate, at, tags)
        _weakest(plate, at, tags)
    return drawn


def _over_white(drawn: Canvas, plate: Plate, at: marks.Place, tags: Tags) -> None:
    """Contours from white up, whole stops bolder; none above the ceiling, which is named."""
    field = np.ma.masked_array(plate.ev, ~plate.inner)
    generator = contour_generator(z=field, name="serial")
    levels = plate.levels
    top = plate.ceiling_ev - 0.05
    highest = min(top, plate.over_ev.get(99, top) + 1 / 3)
    for k in range(int(np.floor(highest * 3)) + 1):
        found = [np.asarray(p, float) + 0.5 for p in generator.lines(k / 3)]
        drawn_lines = [at(levels.to_view(lines.smooth(p, 2.0))) for p in found if len(p) > 12]
        lines.solid(drawn, drawn_lines, CONTOUR, 2 if k % 3 == 0 else 1)
        drawn_lines.sort(key=lambda p: -float(lines.length(p)[-1]))
        for line in drawn_lines[:2]:
            if lines.length(line)[-1] > 90:
                tags.add(figures.thirds(k / 3), _ways(line), Type(26, 600, INK), TAG)
    beyond = plate.inner & (plate.ev > top)
    if beyond.mean() > 0.01:
        spot = at(levels.to_view(lines.roomiest(beyond)))[0]
        text = f"{figures.signed(plate.ceiling_ev)} or more"
        tags.add(text, [(float(spot[0]), float(spot[1]))], Type(26, 600, INK), TAG)


def _ways(line: Points) -> list[tuple[float, float]]:
    ways = [line[int(f * (len(line) - 1))] for f in (0.5, 0.35, 0.65, 0.2, 0.8)]
    return [(float(p[0]), float(p[1])) for p in ways]


def _weakest(plate: Plate, at: marks.Place, tags: Tags) -> None:
    if plate.weakest is None or plate.at_ceiling(plate.weakest.ev):
        return
    spot = at(np.array([plate.weakest.at], float))[0]
    x, y = float(spot[0]), float(spot[1])
    text = f"weakest {figures.signed(plate.weakest.ev)}"
    around = [(x + dx, y + dy) for dy in (0, -44, 44, -88, 88) for dx in (0, 110, -110)]
    tags.add(text, around, Type(26, 600, BRIGHT), INK)


def _strays(drawn: Canvas, plate: Plate, at: marks.Place, tags: Tags) -> None:
    """A numbered frame around what will be seen, a hairline around what goes white."""
    number = 1
    for stray in plate.strays:
        frame = _frame(stray.box, at, 8)
        if not stray.matters:
            lines.solid(drawn, [frame], QUIET, 1)
            continue
        lines.solid(drawn, [frame], MAYBE.casing, 7)
        lines.solid(drawn, [frame], MAYBE.rgb, 3)
        if number <= NUMBERED:
            spots = [(float(x), float(y)) for x, y in frame[[1, 0, 2, 3]]]
            tags.add(str(number), spots, Type(28, 700, PLAIN), MAYBE.rgb)
            number += 1


def _stand(drawn: Canvas, plate: Plate, at: marks.Place, tags: Tags) -> None:
    """The box in which the subject will stand, dashed."""
    if plate.stand is None:
        return
    frame = _frame(plate.stand.box, at, 0)
    lines.solid(drawn, [frame], MAYBE.casing, 5)
    lines.solid(drawn, lines.dashes(frame, 16, 10), MAYBE.rgb, 2)
    share = figures.share(plate.stand.background)
    below, above = frame[2:4].mean(axis=0).tolist(), frame[:2].mean(axis=0).tolist()
    anchors = [(below[0], below[1]), (above[0], above[1])]
    tags.add(f"box {share} filled", anchors, Type(26, 600, INK), TAG)


def _frame(box: Box, at: marks.Place, margin: float) -> Points:
    """(5, 2) the closed line around a box, so many drawn pixels outside it."""
    low, high = at(np.array(box, float).reshape(2, 2))
    (x0, y0), (x1, y1) = (low - margin).tolist(), (high + margin).tolist()
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1], [x0, y0]])
