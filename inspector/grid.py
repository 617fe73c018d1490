"""An egg-crate grid on the softbox: fine dark lines over the whole of its face.

The lines part the face into cells, each too small for a backdrop, and look like strands. They are
closed (grey-scale closing: Serra, Image Analysis and Mathematical Morphology, 1982) to tell what is
backdrop; how dark they are counts as ever.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from inspector.arrays import Floats, Mask, disc, median_of, without_specks
from inspector.levels import Levels
from inspector.surface import brightest_part, coarsened

AS_BRIGHT_EV, LEAST_FACE = 0.6, 0.01
"""The face is whatever is hardly darker than its brightest part, stops, and so large a part of the
picture: on both sides of a sitter."""
WIDEST = 3
"""Half of the widest line of a grid, coarse pixels."""
LINE_EV = 0.1
"""A line is this much darker than what it crosses, stops."""
OVER_NOISE = 3.0
"""And so many times darker than noise is, by which most of the face is closed."""
LEAST_LINE = 40
"""Shorter lines are noise or hair, coarse pixels."""
LEAST_SHARE = 0.02
"""A grid's lines take up so much of every part of the face; seams, cables and hair do not."""
PART = 20
"""Side of such a part, coarse pixels."""
MOST_PARTS = 0.75
"""So many of the parts show lines, as far as they lie in the face."""
SQUARE, DEEPEST_EV = 0.45, 1.0
"""So squarely, at least, do its lines cross: grids by 0.55 or more, seen from aside, too, long hair
by 0.3 or less. Deeper lines count no more, stops."""
LEAST_PARTS = 6
"""A face of fewer parts shows no grid."""


def levels_without_grid(levels: Levels) -> tuple[Levels, bool]:
    """The levels with a grid's lines closed, and whether there is one."""
    ev = without_grid(levels.ev)
    return replace(levels, ev=ev), ev is not levels.ev


def without_grid(ev: Floats) -> Floats:
    """(h, w) stops with the lines of a grid closed; the picture itself where there is no grid."""
    coarse, factor = coarsened(ev)
    closed = _closed(coarse, WIDEST)
    brightest, depth = brightest_part(closed), closed - coarse
    if brightest is None:
        return ev
    face = closed > median_of(closed, brightest) - AS_BRIGHT_EV
    face = without_specks(face, int(LEAST_FACE * face.size))
    lines = _long(face & (depth > max(LINE_EV, OVER_NOISE * median_of(depth, face))))
    if not _all_over(lines, face) or _squareness(depth, lines) < SQUARE:
        return ev
    return _closed(ev, WIDEST * factor)


def _closed(ev: Floats, radius: int) -> Floats:
    return np.asarray(cv2.morphologyEx(ev, cv2.MORPH_CLOSE, disc(radius)), np.float32)


def _long(lines: Mask) -> Mask:
    """What of a mask (h, w) goes on for long; noise does not."""
    _, label, stats, _ = cv2.connectedComponentsWithStats(lines.astype(np.uint8), connectivity=8)
    reach = stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].max(axis=1)
    reach[0] = 0
    return np.asarray((reach >= LEAST_LINE)[label], bool)


def _all_over(lines: Mask, face: Mask) -> bool:
    """Whether lines run through most parts of the face."""
    size = (max(1, face.shape[1] // PART), max(1, face.shape[0] // PART))
    both = np.dstack([face, lines]).astype(np.float32)
    held, crossed = cv2.split(cv2.resize(both, size, interpolation=cv2.INTER_AREA))
    whole = held > 0.5
    if np.count_nonzero(whole) < LEAST_PARTS:
        return False
    return bool((crossed[whole] > LEAST_SHARE * held[whole]).mean() > MOST_PARTS)


def _squareness(depth: Floats, lines: Mask) -> float:
    """How squarely lines (h, w) cross, 1 if all do, by their depth (h, w) in stops.

    The fourth power of a gradient, as a complex number, is the same for all four sides of a
    square: its mean, by the gradient's energy, is large only if they alone occur (after the double
    angle of Granlund and Knutsson, Signal Processing for Computer Vision, 1995, from memory).
    """
    shallow = np.minimum(depth, DEEPEST_EV)
    across, down = (cv2.Sobel(shallow, cv2.CV_32F, *axis) for axis in ((1, 0), (0, 1)))
    gradient = (across + 1j * down)[cv2.dilate(lines.astype(np.uint8), disc(1)) > 0]
    energy = np.abs(gradient) ** 2
    turned = gradient**4 / np.maximum(energy, np.finfo(np.float32).tiny)
    return float(abs(turned.sum()) / max(energy.sum(), np.finfo(np.float32).tiny))
