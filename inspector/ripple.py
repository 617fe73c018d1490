"""Light that ripples along the edge shines through hair: strands and gaps take turns.

Light that lies on a subject falls inwards as evenly as it came, and changes little along the edge.
Between strands of hair the backdrop itself shows, so that light changes as much along the edge as
across it. The structure tensor tells the two apart: its larger eigenvalue is the mean square of the
slope in the direction in which light changes most, its smaller one that at right angles to it
(Bigun and Granlund, Optimal orientation detection of linear symmetry, ICCV 1987, from memory).
Where the edge bends, light that bends with it ripples in neither: it is straightened to tell.
"""

from __future__ import annotations

import cv2
import numpy as np

from inspector.arrays import Floats, Mask, Points
from inspector.outline import read_along

SIGMA, WINDOW = 1.0, 3.0
"""Sigma of the Gaussians over which light's slope and its squares are averaged, working pixels."""
FALLS = (0.15, 0.97)
"""Where light is seen to fall: parts of the backdrop's."""
BEYOND_PX = 2.0
"""So far past either end of the white light the fall is looked at, working pixels."""
LEAST_PIXELS = 10
"""Fewer working pixels tell nothing."""
RIPPLED, COHERENT = 0.021, 0.85
"""Hair: the slope along the edge is steeper, in parts of the backdrop's light per pixel for a
tolerance of 3 px, and the coherence of the two slopes lower."""
BENT, ENOUGH_PX = 0.06, 60
"""Light is only bent with the edge where, straightened along it, its slopes lack less than this in
coherence; on a shorter stretch, which may be so by chance, in proportion less; working pixels."""


def rippled(light: Floats, points: Points, inward: Points, *, depth: float, slope: float) -> bool:
    """Whether light ripples along a stretch of the edge as it does in hair.

    Parameters
    ----------
    light : ndarray, float32
        (h, w) working picture in parts of the backdrop's light.
    points, inward : ndarray
        (N, 2) x, y along the stretch, and unit vectors into the subject, working pixels.
    depth : float
        How far white reaches inwards, working pixels.
    slope : float
        Slope that makes a ripple, per working pixel.
    """
    band, corner = _band(light.shape, points, inward, depth)
    near = light[corner[1] : corner[1] + band.shape[0], corner[0] : corner[0] + band.shape[1]]
    across, along = _slopes(near, band)
    if not along > slope**2 or _coherence(across, along) >= COHERENT:
        return False
    straight = _straightened(light, points, inward, depth)
    lacks = 1 - _coherence(*_slopes(straight, np.ones(straight.shape, bool)))
    return bool(lacks > BENT * min(1.0, len(straight) / ENOUGH_PX))


def _band(
    shape: tuple[int, ...], points: Points, inward: Points, depth: float
) -> tuple[Mask, tuple[int, int]]:
    """The band in which light falls, cut out with a margin, and its corner x, y."""
    outer, inner = points - BEYOND_PX * inward, points + (depth + 2 * BEYOND_PX) * inward
    ends, margin = np.concatenate([outer, inner]), 4 * WINDOW
    low = np.maximum(np.floor(ends.min(axis=0) - margin), 0).astype(int)
    high = np.minimum(np.ceil(ends.max(axis=0) + margin), shape[1::-1]).astype(int)
    band = np.zeros(high[::-1] - low[::-1], np.uint8)
    lines = np.round(np.stack([outer, inner], axis=1) - low).astype(np.int32)
    cv2.polylines(band, list(lines), False, 1, 2)
    return band > 0, (int(low[0]), int(low[1]))


def _straightened(light: Floats, points: Points, inward: Points, depth: float) -> Floats:
    """(S, T) light read along the edge and inwards, a pixel apart."""
    to = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    along = np.linspace(0, to[-1], round(to[-1]) + 1)
    start, towards = (
        np.stack([np.interp(along, to, values[:, k]) for k in (0, 1)], axis=1)
        for values in (points, inward)
    )
    towards /= np.maximum(np.hypot(*towards.T), 1e-9)[:, None]
    inwards = np.arange(-BEYOND_PX, depth + 2 * BEYOND_PX + 0.01)
    return read_along(light, start, towards, inwards)


def _slopes(light: Floats, band: Mask) -> tuple[float, float]:
    """Mean squares of the slope where light changes most, and at right angles, over a band.

    Of what falls there, that is; noughts where too little does.
    """
    band = band & (light > FALLS[0]) & (light < FALLS[1])
    if np.count_nonzero(band) < LEAST_PIXELS:
        return 0.0, 0.0
    quiet = cv2.GaussianBlur(light, (0, 0), SIGMA)
    dx, dy = (cv2.Sobel(quiet, cv2.CV_32F, *d, scale=1 / 8) for d in ((1, 0), (0, 1)))
    weight = band.astype(np.float32)
    share = np.maximum(cv2.GaussianBlur(weight, (0, 0), WINDOW)[band], 1e-6)
    xx, yy, xy = (
        cv2.GaussianBlur(square * weight, (0, 0), WINDOW)[band] / share
        for square in (dx * dx, dy * dy, dx * dy)
    )
    apart = np.hypot(xx - yy, 2 * xy)
    return float((xx + yy + apart).mean() / 2), float((xx + yy - apart).mean() / 2)


def _coherence(across: float, along: float) -> float:
    """Of two mean squares of slopes: 1 where light changes one way only, 0 where it does both."""
    return (across - along) / max(across + along, 1e-12)
