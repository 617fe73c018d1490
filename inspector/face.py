"""The face of the backdrop: its whole outline, also where the subject covers it.

A softbox or wall is convex as seen from the camera. Each straight side that is visible
anywhere bounds a half-plane; the face is where all of them meet, within the frame.
"""

from __future__ import annotations

import cv2
import numpy as np

from inspector.arrays import Mask, Points
from inspector.outline import within

SUPPORT = 0.25
"""A side of the hull counts as seen when the backdrop touches this part of it."""
LEAST_SIDE = 0.04
"""A hidden side shorter than this, part of the long side of the picture, is kept as it is."""
SAME_TURN = 1.3
"""A hidden corner may turn this much more than the sharpest corner in sight."""
PARALLEL_DEG = 150.0
"""Two sides that turn by more than this do not meet within the picture."""


def backdrop_face(backdrop: Mask) -> Mask:
    """(h, w) True inside the face of a backdrop of which ``backdrop`` (h, w) is visible."""
    contours, _ = cv2.findContours(
        backdrop.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    points = np.concatenate([c.reshape(-1, 2) for c in contours])
    tolerance = max(1.5, 0.003 * max(backdrop.shape))
    rough = cv2.approxPolyDP(cv2.convexHull(points), tolerance, closed=True)
    hull = np.asarray(rough.reshape(-1, 2), np.float64)
    if len(hull) < 3:
        return backdrop
    seen = _seen_sides(hull, backdrop, 2 * tolerance)
    short = np.hypot(*(np.roll(hull, -1, axis=0) - hull).T) < LEAST_SIDE * max(backdrop.shape)
    keep = seen | short | ~_may_extend(hull, seen, backdrop.shape)
    height, width = backdrop.shape
    face = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], float)
    middle = hull.mean(axis=0)
    for i in np.flatnonzero(keep):
        face = _keep_side(face, hull[i], hull[(i + 1) % len(hull)], middle)
    mask = np.zeros(backdrop.shape, np.uint8)
    if len(face) >= 3:
        cv2.fillConvexPoly(mask, np.round(face).astype(np.int32), 1)
    return np.asarray((mask > 0) | backdrop, bool)


def _seen_sides(hull: Points, backdrop: Mask, tolerance: float) -> Mask:
    near = within(backdrop, tolerance)
    ends = np.roll(hull, -1, axis=0)
    support = [_support(a, b, near) for a, b in zip(hull, ends, strict=True)]
    return np.array(support) >= SUPPORT


def _may_extend(hull: Points, seen: Mask, shape: tuple[int, ...]) -> Mask:
    """For each side: whether its neighbours may be drawn on to where they meet.

    A rectangle's hidden corner is as square as those in sight; an octagon with a hidden side
    has no corner that sharp, so there the chord is the better guess.
    """
    side = np.roll(hull, -1, axis=0) - hull
    heading = np.degrees(np.arctan2(side[:, 1], side[:, 0]))
    turn = np.abs((heading - np.roll(heading, 1) + 180) % 360 - 180)  # at the start of each side
    height, width = shape
    x, y = hull[:, 0], hull[:, 1]
    in_frame = (x > 2) & (y > 2) & (x < width - 3) & (y < height - 3)
    corner = seen & np.roll(seen, 1) & in_frame
    sharpest = float(turn[corner].max()) if corner.any() else 0.0
    across = turn + np.roll(turn, -1)
    may = (across <= SAME_TURN * sharpest) | (across >= PARALLEL_DEG) | ~corner.any()
    return np.asarray(may, bool)


def _support(a: Points, b: Points, near: Mask) -> float:
    """Part of the side from a to b along which the backdrop reaches it."""
    steps = max(2, int(np.hypot(*(b - a))))
    at = np.round(a + np.linspace(0, 1, steps)[:, None] * (b - a)).astype(int)
    return float(near[at[:, 1], at[:, 0]].mean())


def _keep_side(polygon: Points, a: Points, b: Points, inside: Points) -> Points:
    """Clip a polygon by the line through a and b, keeping the side of ``inside``.

    Sutherland and Hodgman, CACM 17(1), 1974.
    """
    normal = np.array([a[1] - b[1], b[0] - a[0]]) / max(1e-9, float(np.hypot(*(b - a))))
    if (inside - a) @ normal < 0:
        normal = -normal
    height = (polygon - a) @ normal + 0.5
    kept = []
    for i in range(len(polygon)):
        j = (i + 1) % len(polygon)
        if height[i] >= 0:
            kept.append(polygon[i])
        if (height[i] >= 0) != (height[j] >= 0):
            t = height[i] / (height[i] - height[j])
            kept.append(polygon[i] + t * (polygon[j] - polygon[i]))
    return np.array(kept).reshape(-1, 2)
