"""A colour cast of the light, seen where green clips: other channels go on telling the level."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask
from inspector.levels import RESPONDS, Levels, stops

LEAST_CAST_EV = 0.1
"""Smaller casts make no step that could be taken for a border, stops."""
MOST_SPREAD_EV = 0.1
"""Standard deviation of a cast beyond which it is not one of the light, stops."""
NEAR_THE_TOP = 0.9
"""Level of green, over its own top, from which on a surface is about to clip."""
LEAST_PIXELS = 200
"""On so many working pixels a cast is told."""
CLOSE_TO_THE_TOP, LEAST_CLOSE = 0.97, 0.05
"""Part of a surface, the second, that is brighter than the first times the top, if it goes over
into what has clipped; one with a border of its own there keeps its own level up to it."""
MOSTLY = 0.5
"""A working pixel is white where so much of it is."""
SMOOTH_PX, SMOOTH_EV = 5, 0.15
"""A surface rises no more than this over so many working pixels: steeper is an outline's blur."""


def with_cast(levels: Levels) -> Levels:
    """Levels whose stops are read by the light's own tint, if that is plainly not neutral.

    Where green has clipped, stops are told by the other channels. In light that lacks green, or has
    too much of it, they jump there by the cast, and a smooth wall seems to end. With the cast the
    ceiling changes, too: blue that is twice as strong clips a stop sooner.
    """
    tint = _tint_at_the_top(levels)
    if np.abs(np.log2(tint)).max() < LEAST_CAST_EV:
        return levels
    return read_through(replace(levels, tint=tint))


def read_through(levels: Levels) -> Levels:
    """Levels whose stops and ceiling are those of their rendered light, read by its tint."""
    ceiling = np.float32(np.log2((levels.top / levels.tint).max()))
    ev = stops(levels.rendered, levels.top, levels.frame.channels, tint=levels.tint)
    ev = at_least_white(np.minimum(ev, ceiling), levels.white, levels.tint)
    return replace(levels, ev=ev, ceiling_ev=float(ceiling))


def at_least_white(ev: Floats, white: Floats, tint: NDArray[np.float64]) -> Floats:
    """Stops read by a ``tint`` (C,), not below nought where the light is paper white.

    A cast is seldom quite the same everywhere; what it makes of white light is no reading.
    ``white`` is the part of each place that is so. Neutral light is read as it is.
    """
    return ev if (tint == 1).all() else np.where(white > MOSTLY, np.maximum(ev, 0), ev)


def _tint_at_the_top(levels: Levels) -> NDArray[np.float64]:
    """(C,) level over that of green where a smooth surface is about to clip in green.

    A channel that has clipped there has no more to say than green. One where nothing is known.
    """
    names = levels.frame.channels
    tint = np.ones(len(names))
    greens = [c for c, name in enumerate(names) if name[0] in "GL"]
    others = [c for c in range(len(names)) if c not in greens]
    if not greens or not others:
        return tint
    top = RESPONDS * float(levels.top[greens].min())
    green = np.asarray(levels.rendered[..., greens].mean(axis=2), np.float32)
    surface = _about_to_clip(green, top)
    if np.count_nonzero(surface) < LEAST_PIXELS:
        return tint
    for c in others:
        tells = surface & (levels.rendered[..., c] < RESPONDS * levels.top[c])
        if np.count_nonzero(tells) < LEAST_PIXELS:
            tint[c] = levels.top[c] / levels.top[greens].min()
            continue
        ratio = np.log2(np.maximum(levels.rendered[..., c][tells], 1e-3) / green[tells])
        cast = float(np.median(ratio))
        if 1.4826 * float(np.median(np.abs(ratio - cast))) < MOST_SPREAD_EV:
            tint[c] = 2.0**cast
    return tint


def _about_to_clip(green: Floats, top: float) -> Mask:
    """Where (h, w) green, just below its ``top``, is on a smooth surface that goes beyond it."""
    below, lost = (green > NEAR_THE_TOP * top) & (green < top), green >= top
    if not (below.any() and lost.any()):
        return np.zeros_like(below)
    ev = np.log2(np.maximum(green, 1e-3))
    square = np.ones((SMOOTH_PX, SMOOTH_PX), np.uint8)
    smooth = (below | lost) & (cv2.dilate(ev, square) - cv2.erode(ev, square) < SMOOTH_EV)
    _, part = cv2.connectedComponents(smooth.astype(np.uint8))
    goes_beyond = below & np.isin(part, np.unique(part[smooth & lost])) & smooth
    if not goes_beyond.any() or (green[goes_beyond] > CLOSE_TO_THE_TOP * top).mean() < LEAST_CLOSE:
        return np.zeros_like(below)
    return goes_beyond
