"""Bites: where the edge leaves its course inwards for a while, and light steps across the mouth.

Light on the subject that ends as sharply as a clean edge, and is nearly as bright as the backdrop,
eats a bite out of the outline and shows little else. But there the true outline goes on beneath the
light, across the mouth of the bite; all that lies inside is dimmer than the backdrop, which keeps
its level right up to it. A shade on the backdrop, a seam or a fold seldom ends just where the
outline would have gone on; but the subject's own shadow at its neck may, and is not told apart. A
gap between limbs, which has such a shape, shows the backdrop itself, as bright inside as outside.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.across import Across
from inspector.arrays import Floats, Mask, Points
from inspector.clean_part import Falls
from inspector.halfway import past_the_middle
from inspector.levels import Levels
from inspector.outline import TOLERANCE_PX, Outline, average_along, read_along, runs_of

# All lengths below are for a tolerance of 3 px, and grow with it.
MOUTHS_PX = (24.0, 34.0, 48.0, 68.0, 96.0, 136.0)
"""Mouths are looked for about so wide, from one side of the bite to the other."""
EDGE_PARTS, MOUTH_PARTS = (1.0, 1.25, 1.6), (0.7, 1.05)
"""The edge of a bite is so many times as long, and the mouth between its ends then so."""
STRIDE = 8
"""Mouths are tried so many times in their width."""
BOWS = (-0.2, -0.16, -0.12, -0.09, -0.06, -0.03, 0.0, 0.03, 0.06)
"""The outline across a mouth bends by such parts of its width, inwards where above zero."""
MOST_BOWED = 0.06
"""By no more than this one whose course the outline does not surely take up on either side."""
COURSE, TURNS, TURNS_MORE = 6, np.radians(20.0), np.radians(10.0)
"""It does, where its course over so many points turns into the mouth's by less than the first, and
into that of the bite's own edge by so much more."""
LEAST_HOLLOW_PX = 5.0
"""Where it does not, the edge of a bite lies so far inside the straight line between its ends,
somewhere: beside an edge without a hollow a shade may lie, or light whose own end bends."""
BLURRED, LEAST_BLURRED = 2.0, 1.5
"""So near the middle of an edge's fall light belongs to neither side: sigmas of the lens's blur,
besides half a working pixel, and working pixels at least."""
OUTER_PX, BESIDE_PX = 12.0, 6.5
"""So far outside the mouth the backdrop's level is read, and so far right beside it."""
INNER_PX = 3.0
"""So far inside the mouth the light must have stepped already."""
OFFSETS_PX = np.arange(-40.0, 0.0)
"""Where light is read, offsets inwards from the outline."""
COLUMN_PX, LEAST_COLUMNS, LEAST_READINGS, LEAST_INSIDE = 4.0, 4, 3, 24
"""Light is compared in columns across the mouth so wide; so many are needed, of so many readings on
either side, and so many inside in all."""
DIM_EV = 0.02
"""A bite is looked for where light by the edge is so much dimmer than further out, stops."""
LEAST_STEP_EV, COURSE_STEP_EV = 0.12, 0.09
"""The light inside is dimmer by so many stops; by so many where the outline takes up the mouth's
course on both sides. Measured on frames without spill, where strands and the lens's blur make the
like: up to 0.11 stop, and up to 0.08."""
OVER_NOISE, LEAST_NOISE_EV = 15.0, 0.004
"""It is by so many standard errors, no less than the last each."""
ALIKE, LEAST_ALIKE = 0.4, 0.85
"""In so many of the columns it steps by such a part of what it does on the median."""
MOST_SLOPE, SHARP, INNERMOST = 0.12, (0.75, 1.3), 2 / 3
"""Outside it slopes by less than such a part of the step, and right inside it has stepped so far.
Past such a part of the readings it is no brighter than there: so it is past a strand."""
MOST_TANGLED, MOST_SHADED = 0.15, 0.3
"""Of its edge no more than such parts lie behind strands or in a shade."""


@dataclass(frozen=True, eq=False)
class _Edge:
    """The edge at N points, and the light beside it.

    ``ends`` (N, 2) is where white ends, ``course`` (N, 2) the angle at which those points go on
    before and after each, radians (NaN next to an outline's own ends), ``inward`` (N, 2) unit
    vectors into the subject; ``light`` (N, K) stops over the backdrop, ``at`` (N, K, 2) where, and
    ``seen`` (N, K) which of them lie in white outside the edge.
    """

    ends: Points
    inward: Points
    course: Points
    at: Points
    light: Floats
    seen: Mask


class _Mouth(NamedTuple):
    """A bite's mouth: the points it lies between, how far inwards they lie, and how sure it is."""

    certainty: float
    span: slice
    depths: Points


def find_bites(
    levels: Levels,
    backdrop_ev: Floats,
    across: Across,
    falls: Falls,
    *,
    blur: float,
    tolerance: float,
) -> Points:
    """Pixels to which white reaches past the mouth of a bite at N outline points; 0 elsewhere.

    Parameters
    ----------
    backdrop_ev : ndarray, float32
        (h, w) stops of the backdrop, carried on behind the subject.
    falls : Falls
        Where light falls on the backdrop already: shades are no bites.
    blur : float
        Sigma of the lens, pixels.
    tolerance : float
        Pixels by which white may cross the outline.
    """
    unit, outline = tolerance / TOLERANCE_PX, across.outline
    offsets = OFFSETS_PX * unit
    start, step = levels.from_view(outline.points), outline.inward / levels.scale
    light = read_along(levels.ev, start, step, offsets)
    backdrop = read_along(backdrop_ev, start, step, offsets)
    white_at = np.nan_to_num(across.white_at)
    near = (BLURRED + past_the_middle(backdrop[:, -1])) * blur + levels.scale / 2
    near = np.maximum(near, LEAST_BLURRED * levels.scale)
    seen = _white_from_the_edge(light, offsets <= (white_at - near)[:, None])
    light -= backdrop
    seen &= read_along(_from_dark(levels.ev), start, step, offsets) * levels.scale > near[:, None]
    ends = outline.inwards(white_at)
    at = outline.points[:, None] + offsets[None, :, None] * outline.inward[:, None]
    edge = _Edge(ends, outline.inward, _courses(ends, outline), at, light, seen)
    found = [
        mouth
        for span in _spans(ends, outline, _dim(light, seen, outline.line), unit)
        if np.isfinite(across.white_at[span]).all()
        and across.tangled[span].mean() < MOST_TANGLED
        and falls.shaded[span].mean() < MOST_SHADED
        and (mouth := _mouth(edge, span, near=near[span].max(), least=tolerance, unit=unit))
    ]
    depths = np.zeros(len(ends))
    for mouth in sorted(found, key=lambda m: -m.certainty):
        if not depths[mouth.span].any():
            depths[mouth.span] = np.where(mouth.depths > tolerance, mouth.depths, 0.0)
    return depths


def _white_from_the_edge(light: Floats, beyond: Mask) -> Mask:
    """(N, K) readings ``beyond`` the edge's blur with nothing dark between, looking outwards."""
    dark = (light < 0) & beyond
    between = np.cumsum(dark[:, ::-1], axis=1)[:, ::-1]
    return np.asarray(beyond & (between == 0))


def _from_dark(ev: Floats) -> Floats:
    """(h, w) distance to the nearest place under white, working pixels."""
    white = (ev >= 0).astype(np.uint8)
    return np.asarray(cv2.distanceTransform(white, cv2.DIST_L2, 5), np.float32)


def _dim(light: Floats, seen: Mask, line: NDArray[np.intp]) -> Mask:
    """(N,) where the light by the edge is dimmer than further out, averaged along the edge."""
    count = seen.sum(axis=1)
    light = average_along(np.where(seen, light, np.float32(np.nan)), line)
    first = light[np.arange(len(light)), np.maximum(count - 1, 0)]
    brightest = np.where(seen & np.isfinite(light), light, -np.inf).max(axis=1)
    return np.asarray((count > 0) & (brightest - first > DIM_EV))


def _spans(ends: Points, outline: Outline, dim: Mask, unit: float) -> Iterator[slice]:
    """Stretches of the edge that may be a bite's, from where it is ``dim``."""
    for line in runs_of(np.ones(len(ends), bool), outline.line):
        along = np.cumsum(outline.step[line])
        dims = np.concatenate([[0], np.cumsum(dim[line])])
        for width in unit * np.array(MOUTHS_PX):
            starts = np.arange(0.0, along[-1] - width, width / STRIDE)
            first = np.searchsorted(along, starts)
            for part in EDGE_PARTS:
                last = np.searchsorted(along, starts + part * width)
                there = last < len(along)
                a, b = first[there], last[there]
                mouth = np.hypot(*(ends[line][b] - ends[line][a]).T)
                fits = (mouth > MOUTH_PARTS[0] * width) & (mouth < MOUTH_PARTS[1] * width)
                fits &= 2 * (dims[b + 1] - dims[a]) > b - a
                for i, j in zip(a[fits].tolist(), b[fits].tolist(), strict=True):
                    yield slice(line.start + i, line.start + j + 1)


def _courses(ends: Points, outline: Outline) -> Points:
    """(N, 2) angle of the way over the last few points and over the next, radians; NaN if none."""
    courses = np.full(ends.shape, np.nan)
    for line in runs_of(np.ones(len(ends), bool), outline.line):
        way = ends[line][COURSE:] - ends[line][:-COURSE]
        angle = np.arctan2(way[:, 1], way[:, 0])
        courses[line][COURSE:, 0] = angle
        courses[line][: len(angle), 1] = angle
    return courses


def _mouth(edge: _Edge, span: slice, *, near: float, least: float, unit: float) -> _Mouth | None:
    """The likeliest mouth between the ends of a stretch of edge, if there is one."""
    origin = edge.ends[span.start]
    chord = edge.ends[span.stop - 1] - origin
    width = float(np.hypot(*chord))
    along = chord / width
    into = np.array([-along[1], along[0]])
    side = float(np.sign(into @ edge.inward[span].mean(axis=0))) or 1.0
    into *= side
    u, v = (edge.ends[span] - origin) @ along, (edge.ends[span] - origin) @ into
    if u.min() < -2 * unit or u.max() > width + 2 * unit:
        return None
    turns = edge.course[[span.start, span.stop - 1]] - np.arctan2(chord[1], chord[0])
    hollow = v.max() >= LEAST_HOLLOW_PX * unit
    depths = v - np.outer(BOWS, _bowed(u, width))
    deep = (depths.min(axis=1) >= -unit) & (depths.max(axis=1) >= least + near)
    shapes = [
        (i, COURSE_STEP_EV if goes_on else LEAST_STEP_EV)
        for i in np.flatnonzero(deep)
        if (goes_on := _takes_up(turns, side * np.arctan(4 * BOWS[i])))
        or (hollow and abs(BOWS[i]) <= MOST_BOWED)
    ]
    if not shapes:
        return None
    there = edge.at[span] - origin
    x, y = there @ along, there @ into
    sight = edge.seen[span] & (x > 0) & (x < width)
    x, y, read = x[sight], y[sight], edge.light[span][sight]
    bowed = _bowed(x, width)
    best = None
    for i, least_ev in shapes:
        certainty = _step(x, y - BOWS[i] * bowed, read, least_ev, near=near, unit=unit)
        if certainty and (best is None or certainty > best.certainty):
            best = _Mouth(certainty, span, depths[i])
    return best


def _bowed(along: Points, width: float) -> Points:
    """How far inwards an outline lies that bends by all of the width of the mouth it spans."""
    return 4 * along * (width - along) / width


def _takes_up(turns: Points, bend: float) -> bool:
    """Whether the outline goes on into a mouth on both sides rather than along the bite's edge.

    ``turns`` (2, 2) is how far it turns from the mouth's chord before and after either end, and
    ``bend`` how far the mouth does where it begins; radians.
    """
    outer, inner = turns[[0, 1], [0, 1]], turns[[0, 1], [1, 0]]
    off, edge_off = (
        np.abs((t - [bend, -bend] + np.pi) % (2 * np.pi) - np.pi) for t in (outer, inner)
    )
    return bool((off < TURNS).all() and (edge_off > off + TURNS_MORE).all())


def _step(
    along: Points, past: Points, light: Floats, least_ev: float, *, near: float, unit: float
) -> float:
    """By how many standard errors light steps at a mouth, or 0 if it does not step as a bite's.

    ``past`` is how far inwards from the mouth each reading of ``light`` lies.
    """
    inside, outside = past > near, (past < -near) & (past > -OUTER_PX * unit)
    beside, right_inside = past > -BESIDE_PX * unit, past < near + INNER_PX * unit
    column = (along / (COLUMN_PX * unit)).astype(int)
    inner, outer = (_means(column, light, side) for side in (inside, outside))
    steps = outer[: len(inner)] - inner[: len(outer)]
    steps = steps[np.isfinite(steps)]
    if len(steps) < LEAST_COLUMNS:
        return 0.0
    innermost = inside & (past >= np.quantile(past[inside], INNERMOST))
    parts = (outside & beside, outside & ~beside, inside & right_inside, innermost)
    if inside.sum() < LEAST_INSIDE or min(part.sum() for part in parts) < LEAST_READINGS:
        return 0.0
    step = float(np.median(steps))
    here, further, first, last = (float(light[part].mean()) for part in parts)
    told = (
        step > least_ev
        and (steps > ALIKE * step).mean() >= LEAST_ALIKE
        and abs(further - here) < MOST_SLOPE * step
        and SHARP[0] * step < here - first < SHARP[1] * step
        and last < first
    )
    noise = max(float(steps.std()) / np.sqrt(len(steps)), LEAST_NOISE_EV)
    return step / noise if told and step > OVER_NOISE * noise else 0.0


def _means(column: NDArray[np.intp], light: Floats, some: Mask) -> Points:
    """Mean light of each column, of some readings; NaN where there are too few."""
    number = np.bincount(column[some], minlength=1)
    total = np.bincount(column[some], light[some], minlength=1)
    return np.where(number >= LEAST_READINGS, total / np.maximum(number, 1), np.nan)
