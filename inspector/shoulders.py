"""Shoulders that leave the picture at the left and right: no foot of the backdrop's face."""

from __future__ import annotations

import numpy as np

from inspector.arrays import Mask, Points
from inspector.outline import within
from inspector.polygon import headings, lengths, outward, reached_along, sides_of, turned_by

SHOULDER_DEG, LEVEL_DEG, SHOULDER = 30.0, 60.0, 0.25
"""A piece of outline that leaves the picture at the left or right, runs so near level, is bent by
so little towards a hidden side and no longer, part of the long side, than this is a shoulder's, not
the face's foot."""
LEAST_FOOT = 0.04
"""A foot in sight is no shorter than such a part of the long side."""


def shoulders(hull: Points, seen: Mask, backdrop: Mask, tolerance: float) -> Mask:
    """For each side: whether it is where someone close by, cut by the picture below, ends beside.

    The foot of the face is straight: in sight on one side of a body, it goes on to the other. A
    shoulder is in sight out to the picture's border only, and the hull bends away from it.
    """
    sides, near = sides_of(hull), within(backdrop, tolerance)
    level = outward(sides, hull.mean(axis=0))[:, 1] > np.cos(np.radians(LEVEL_DEG))
    long = lengths(sides) / max(backdrop.shape)
    found = np.zeros(len(hull), bool)
    for k in map(int, np.flatnonzero(level & ~seen)):
        for step in (1, -1):
            shoulder = _out_to_border(hull, k, step, seen & level, backdrop.shape[1])
            if long[shoulder].sum() < SHOULDER:
                found[[i for i in shoulder if reached_along(sides[i], near).all()]] = True
    foot = seen & level & ~found & (long >= LEAST_FOOT)
    return np.asarray(found & ~foot.any(), bool)


def _out_to_border(hull: Points, hidden: int, step: int, may: Mask, width: int) -> list[int]:
    """The sides from a hidden one on to the picture's left or right border, if they bend little."""
    heading, count, found = headings(sides_of(hull)), len(hull), [hidden]
    while len(found) < count:
        last, k = found[-1], (found[-1] + step) % count
        if not may[k] or turned_by(heading[last], heading[k]) > SHOULDER_DEG:
            return []
        found.append(k)
        if not 2 <= hull[(k + (step > 0)) % count, 0] <= width - 3:
            return found[1:]
    return []
