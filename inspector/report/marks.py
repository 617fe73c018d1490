"""Everything that is drawn on the proof: bands' contours, spill runs, rings, the edge."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from contourpy import contour_generator
from numpy.typing import NDArray

from inspector.edge import SpillRun
from inspector.inspect import Inspection
from inspector.report import figures, lines
from inspector.report.lettering import Canvas, Type, width
from inspector.report.lines import Points, Tags
from inspector.report.palette import (
    BANDS,
    BRIGHT,
    HOT,
    INK,
    LIGHT,
    MAYBE,
    PLAIN,
    QUIET,
    RGB,
    SPILL,
    band,
)
from inspector.report.proof import WHITE_EV, Shortfall

NUMBERED = 6
"""Most runs, and most islands, that get a number."""
LABELLED = 3
"""Most lines of one level that get a figure."""
LEAST_FLAT = 900
"""Points of the coarse field from which a part without a contour gets a figure."""
FIGURE = Type(30, 600, INK)
QUERIED = 3
"""Most possible runs that get a question mark."""
GROUND: RGB = (236, 236, 236)
"""Plate under a figure on the picture."""
NUMBER = Type(28, 700, BRIGHT)


@dataclass(frozen=True)
class Place:
    """Where the picture as viewed lies in the drawn one: drawn = (viewed - origin) * zoom."""

    origin: tuple[float, float]
    zoom: tuple[float, float]

    def __call__(self, points: NDArray[np.float64]) -> Points:
        """Viewed pixels, (N, 2), to drawn pixels."""
        return np.asarray((np.asarray(points, float) - self.origin) * self.zoom)


def place(inspection: Inspection, size: tuple[int, int]) -> Place:
    """The place of a working picture drawn at ``size`` (w, h)."""
    levels = inspection.levels
    h, w = levels.ev.shape
    zoom = size[0] / (w * levels.scale), size[1] / (h * levels.scale)
    return Place((float(levels.origin[0]), float(levels.origin[1])), zoom)


def outline(picture: Canvas, outlines: tuple[Points, ...], at: Place) -> None:
    """A hairline along the clean edge: it was found and looked at."""
    lines.solid(picture, [at(o) for o in outlines], (150, 150, 150), 1)


def contours(picture: Canvas, short: Shortfall, tags: Tags) -> None:
    """Contour lines at each third of a stop under white, each with its figure."""
    rows, columns = short.ev.shape[:2]
    if min(rows, columns) < 2:
        return
    zoom = np.array([picture.shape[1] / columns, picture.shape[0] / rows])
    field = np.ma.masked_array(short.ev, ~short.inside)
    generator = contour_generator(z=field, name="serial")
    labelled = np.zeros(short.ev.shape, bool)
    for k in range(len(BANDS)):
        level = WHITE_EV if k == 0 else -k / 3
        found = [np.asarray(p, float) for p in generator.lines(level)]
        found = [(lines.smooth(p, 2.0) + 0.5) * zoom for p in found if len(p) > 4]
        lines.solid(picture, found, BANDS[-1], 2 if k % 3 == 0 and k else 1)
        if k == 0 or not found:
            continue
        found.sort(key=lambda p: -float(lines.length(p)[-1]))
        for line in found[:LABELLED]:
            if lines.length(line)[-1] < 90:
                break
            ways = [line[int(f * (len(line) - 1))] for f in (0.5, 0.35, 0.65, 0.2, 0.8)]
            anchors = [(float(p[0]), float(p[1])) for p in ways]
            stands = tags.add(figures.thirds(level), anchors, _on_band(k), BANDS[k])
            if stands:
                column, row = np.asarray(stands) / zoom
                labelled[int(min(row, rows - 1)), int(min(column, columns - 1))] = True
    _flat_regions(short, zoom, labelled, tags)


def _flat_regions(
    short: Shortfall, zoom: NDArray[np.float64], labelled: NDArray[np.bool_], tags: Tags
) -> None:
    """A figure in each part that no contour's figure stands in: its median stops."""
    mask = (short.inside & (short.ev < WHITE_EV)).astype(np.uint8)
    count, part, stats, _ = cv2.connectedComponentsWithStats(mask)
    near = cv2.dilate(labelled.astype(np.uint8), np.ones((15, 15), np.uint8)).astype(bool)
    order = sorted(range(1, count), key=lambda k: -int(stats[k, cv2.CC_STAT_AREA]))
    for k in order[:4]:
        here = part == k
        if stats[k, cv2.CC_STAT_AREA] < LEAST_FLAT or (here & near).any():
            continue
        room = cv2.distanceTransform(np.pad(here, 1).astype(np.uint8), cv2.DIST_L2, 3)[1:-1, 1:-1]
        y, x = np.unravel_index(int(room.argmax()), room.shape)
        ev = float(np.median(short.ev[here]))
        anchor = (float(x) + 0.5) * zoom[0], (float(y) + 0.5) * zoom[1]
        tags.add(figures.stops(ev), [anchor], _on_band(band(ev)), BANDS[band(ev)])


def _on_band(k: int) -> Type:
    """The type of a figure that stands on a band."""
    return FIGURE if sum(BANDS[k]) > 330 else Type(FIGURE.size, FIGURE.weight, BRIGHT)


def light_subject(picture: Canvas, inspection: Inspection, limit_ev: float, at: Place) -> None:
    """Dots around what of the subject is less than ``limit_ev`` stops under white."""
    levels, core = inspection.levels, inspection.edge.core
    step = max(1, levels.ev.shape[1] // 400)
    ev = np.where(core, levels.ev, np.float32(-20.0))[::step, ::step]
    if min(ev.shape) < 2:
        return
    ev = np.asarray(cv2.GaussianBlur(ev, (0, 0), 2.0), np.float32)
    for found in contour_generator(z=ev, name="serial").lines(-limit_ev):
        path = np.asarray(found, float) * step + 0.5
        drawn = at(levels.to_view(path))
        if lines.length(drawn)[-1] < 100:
            continue
        dots = lines.along(drawn, drawn, 14)
        lines.dots(picture, dots, LIGHT.casing, 4.0)
        lines.dots(picture, dots, LIGHT.rgb, 3.0)


def spill(picture: Canvas, inspection: Inspection, at: Place, tags: Tags, *, warns: bool) -> None:
    """Spilled runs: sure ones bold, ticked and numbered, longest first; possible ones dashed.

    What stays within the limit is no fault: a plain line without colour.
    """
    runs = [r for r in inspection.edge.spill if len(r.points)]
    for run in runs:
        if not run.sure:
            _possible_run(picture, run, at)
        elif not warns:
            path = _run_geometry(run, at)[0]
            lines.solid(picture, [path], MAYBE.casing, 6)
            lines.solid(picture, [path], MAYBE.rgb, 2)
    if warns:
        sure = [r for r in runs if r.sure]
        for run in sure:
            _sure_run(picture, run, at)
        for n, run in enumerate(sure[:NUMBERED], start=1):
            _number_run(run, n, at, tags)
    for run in [r for r in runs if not r.sure][:QUERIED]:
        path, inward, _ = _run_geometry(run, at)
        tags.add("?", _beside(path, inward), Type(26, 700, PLAIN), MAYBE.rgb)


def _sure_run(picture: Canvas, run: SpillRun, at: Place) -> None:
    path, _, ticks = _run_geometry(run, at)
    for colour, wide, thin in ((SPILL.casing, 10, 5), (SPILL.rgb, 6, 3)):
        lines.solid(picture, list(ticks), colour, thin)
        lines.solid(picture, [path], colour, wide)


def _number_run(run: SpillRun, number: int, at: Place, tags: Tags) -> None:
    path, inward, _ = _run_geometry(run, at)
    stands = tags.add(str(number), _beside(path, inward), NUMBER, SPILL.rgb)
    if stands is None:
        return
    label = f"{run.depth_px:.0f} px"
    aside = 36 + width(label, FIGURE.size, FIGURE.weight) / 2
    aside *= -1 if inward[:, 0].mean() > 0 else 1
    x, y = stands
    around = [(x + aside, y), (x, y - 42), (x, y + 42), (x - aside, y)]
    tags.add(label, around, FIGURE, GROUND)


def _possible_run(picture: Canvas, run: SpillRun, at: Place) -> None:
    path = _run_geometry(run, at)[0]
    lines.solid(picture, [path], MAYBE.casing, 6)
    lines.solid(picture, lines.dashes(path, 14, 8), MAYBE.rgb, 3)


def _run_geometry(run: SpillRun, at: Place) -> tuple[Points, Points, NDArray[np.float64]]:
    """The drawn line, its inward unit vectors, and the ticks (M, 2, 2), one every 16 pixels."""
    zoom = float(np.mean(at.zoom))
    path = at(run.points)
    if len(path) == 1 or lines.length(path)[-1] < 8:  # a mere point still has to be seen
        middle, normal = path.mean(0), run.inward.mean(0)
        side = np.array([-normal[1], normal[0]])
        path = middle + np.outer((-4.0, 4.0), side)
        inward, depths = np.repeat(normal[None], 2, 0), np.full(2, run.depths.max())
    else:
        inward, depths = np.asarray(run.inward, float), np.asarray(run.depths, float)
    table = lines.along(path, np.column_stack((path, inward, depths)), 16)
    reach = np.maximum(table[:, 4:] * zoom, 14)
    starts = table[:, :2]
    return path, inward, np.stack((starts, starts + table[:, 2:4] * reach), axis=1)


def _beside(path: Points, inward: Points) -> list[tuple[float, float]]:
    """Anchors for a tag off the subject's side of a run, the nearest to its middle first."""
    spots = []
    for f in (0.5, 0.3, 0.7, 0.1, 0.9):
        k = int(f * (len(path) - 1))
        for away in (38, 62):
            x, y = path[k] - inward[k] * away
            spots.append((float(x), float(y)))
    return spots


def islands(
    picture: Canvas, inspection: Inspection, at: Place, tags: Tags, *, first: int, warns: bool
) -> None:
    """Rings around paper-white islands: numbered if they warn, a hairline for a mere glint."""
    number = first
    for spot in inspection.edge.hot_spots:
        corners = at(np.array(spot.box, float).reshape(2, 2))
        middle, half = corners.mean(0), np.abs(corners[1] - corners[0]) / 2
        radii = np.maximum(half * 1.25 + 6, 9)
        if not (spot.warns and warns):
            _ring(
                picture, middle, radii, QUIET if spot.sure else MAYBE.casing, 1 if spot.sure else 5
            )
            if not spot.sure:
                _ring(picture, middle, radii, MAYBE.rgb, 2, dashed=True)
            continue
        _ring(picture, middle, radii, HOT.casing, 8)
        _ring(picture, middle, radii, HOT.rgb, 4)
        if number - first < NUMBERED:
            reach = radii + 24
            ways = [(0.75, -0.75), (0.75, 0.75), (-0.75, -0.75), (-0.75, 0.75)]
            spots = [(middle[0] + a * reach[0], middle[1] + b * reach[1]) for a, b in ways]
            tags.add(str(number), spots, Type(28, 700, INK), HOT.rgb)
            number += 1


def _ring(
    picture: Canvas,
    middle: NDArray[np.float64],
    radii: NDArray[np.float64],
    colour: tuple[int, int, int],
    thickness: int,
    *,
    dashed: bool = False,
) -> None:
    angle = np.linspace(0, 2 * np.pi, 73)
    ring = middle + np.column_stack((np.cos(angle), np.sin(angle))) * radii
    lines.solid(picture, lines.dashes(ring, 8, 5) if dashed else [ring], colour, thickness)
