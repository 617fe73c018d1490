"""Shoulders that leave the picture at the left and right: no foot of the backdrop's face."""

from __future__ import annotations

import numpy as np

from inspector.arrays import Mask, Points
from inspector.polygon import headings, lengths, outward, reached_along, sides_of, turned_by
from inspector.side_ends import leaves_at_an_angle

SHOULDER_DEG, LEVEL_DEG, SHOULDER = 30.0, 60.0, 0.25
"""A piece of outline that leaves the picture at the left or right, runs so near level, is bent by
so little towards a hidden side and no longer, part of the long side, than this is a shoulder's, not
the face's foot."""
MOST_SIDES, MOSTLY = 2, 0.6
"""It has no more sides of the hull, and the backdrop reaches so much of each."""
LEAST_FOOT = 0.04
"""A foot in sight is no shorter than such a part of the long side."""


def shoulders(hull: Points, seen: Mask, near: Mask, backdrop: Mask) -> Mask:
    """Which sides of the backdrop's hull are where someone close by, cut below, ends beside.

    The foot of the face is straight: in sight on one side of a body, it goes on to the other. A
    shoulder is in sight out to the picture's border only, and the hull bends away from it.

    Parameters
    ----------
    hull : ndarray, float64
        (N, 2) corners of the convex hull, x, y, working pixels.
    seen : ndarray, bool
        (N,) whether the backdrop is in sight along the side that begins at a corner.
    near : ndarray, bool
        (h, w) where the backdrop is so near that a side counts as reached.
    backdrop : ndarray, bool
        (h, w) what of it is in sight.

    Returns
    -------
    ndarray, bool
        (N,)
    """
    sides, (height, width) = sides_of(hull), near.shape
    level = outward(sides, hull.mean(axis=0))[:, 1] > np.cos(np.radians(LEVEL_DEG))
    long = lengths(sides) / max(height, width)
    reached = np.array([reached_along(side, near).mean() for side in sides])
    found = np.zeros(len(hull), bool)
    for k in map(int, np.flatnonzero(level & ~seen)):
        angled = leaves_at_an_angle(sides[k], backdrop)
        for step in (1, -1):
            if angled[step > 0]:
                continue  # a foot that goes on behind the body
            shoulder = _out_to_border(sides, k, step, seen & level, width)
            if long[shoulder].sum() < SHOULDER:
                found[shoulder] |= reached[shoulder] > MOSTLY
    foot = seen & level & ~found & (long >= LEAST_FOOT)
    return np.asarray(found & ~foot.any(), bool)


def _out_to_border(sides: Points, hidden: int, step: int, may: Mask, width: int) -> list[int]:
    """The sides from a hidden one on to the picture's left or right border, if they bend little."""
    heading, found = headings(sides), [hidden]
    while len(found) <= MOST_SIDES:
        last, k = found[-1], (found[-1] + step) % len(sides)
        if not may[k] or turned_by(heading[last], heading[k]) > SHOULDER_DEG:
            return []
        found.append(k)
        if not 2 <= sides[k, int(step > 0), 0] <= width - 3:
            return found[1:]
    return []
