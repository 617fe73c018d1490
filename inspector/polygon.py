"""Sides of a convex polygon in the picture: how they run, and what they bound."""

from __future__ import annotations

import numpy as np

from inspector.arrays import Mask, Points


def sides_of(hull: Points) -> Points:
    """(N, 2, 2) both ends of each side of a polygon (N, 2)."""
    return np.stack([hull, np.roll(hull, -1, axis=0)], axis=1)


def lengths(sides: Points) -> Points:
    """(N,) lengths of sides (N, 2, 2)."""
    return np.asarray(np.hypot(*(sides[:, 1] - sides[:, 0]).T), np.float64)


def headings(sides: Points) -> Points:
    """(N,) degrees in which sides (N, 2, 2) run."""
    along = sides[:, 1] - sides[:, 0]
    return np.asarray(np.degrees(np.arctan2(along[:, 1], along[:, 0])), np.float64)


def turned_by(one: Points, other: Points) -> Points:
    """By how many degrees headings differ, 0 to 180."""
    return np.asarray(np.abs((one - other + 180) % 360 - 180), np.float64)


def outward(sides: Points, inside: Points) -> Points:
    """(N, 2) unit normals of sides (N, 2, 2), away from a point inside."""
    along = sides[:, 1] - sides[:, 0]
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1)
    normal /= np.maximum(lengths(sides), 1e-9)[:, None]
    inwards = ((sides[:, 0] - inside) * normal).sum(axis=1) < 0
    return np.asarray(np.where(inwards[:, None], -normal, normal), np.float64)


def keep_side(polygon: Points, a: Points, b: Points, inside: Points) -> Points:
    """Clip a polygon by the line through a and b, keeping the side of ``inside``.

    Sutherland and Hodgman, CACM 17(1), 1974.
    """
    height = 0.5 - (polygon - a) @ outward(np.array([[a, b]]), inside)[0]
    kept = []
    for i in range(len(polygon)):
        j = (i + 1) % len(polygon)
        if height[i] >= 0:
            kept.append(polygon[i])
        if (height[i] >= 0) != (height[j] >= 0):
            t = height[i] / (height[i] - height[j])
            kept.append(polygon[i] + t * (polygon[j] - polygon[i]))
    return np.array(kept).reshape(-1, 2)


def reached_along(side: Points, near: Mask) -> Mask:
    """(M,) where along a side (2, 2) the backdrop is ``near`` (h, w)."""
    a, b = side
    steps = max(2, int(np.hypot(*(b - a))))
    at = np.round(a + np.linspace(0, 1, steps)[:, None] * (b - a)).astype(int)
    return np.asarray(near[at[:, 1], at[:, 0]], bool)
