"""Light that ripples along the edge shines through hair: strands and gaps take turns.

Light that lies on a subject falls inwards as evenly as it came, and changes little along the edge.
Between strands of hair the backdrop itself shows, so that light changes as much along the edge as
across it. The structure tensor tells the two apart: its larger eigenvalue is the mean square of the
slope in the direction in which light changes most, its smaller one that at right angles to it
(Bigun and Granlund, Optimal orientation detection of linear symmetry, ICCV 1987, from memory).
Around a bend of the edge the slope turns with it: light is straightened along the edge, too, before
it is called hair. Strands that lie along the edge do not make it ripple; but light falls in stairs
there, one to each strand, while light on a subject falls in one piece.
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
AMONG_STRANDS = 0.65
"""Where strands are seen, a slope of this part of that is enough, however coherent."""
ALONG, ENOUGH_PX, LEAST_PX = 0.045, 60, 5
"""And of the squared slopes more than the first part lies along the straightened edge. A stretch
shorter than the second may look coherent by chance: in proportion less is enough; one shorter than
the third, working pixels, tells nothing more."""
OUTSIDE_PX, INSIDE_PX = 14.0, 8.0
"""Stairs are looked for from so far outside, pixels for a tolerance of 3 px, to so far beyond the
white light, working pixels."""
STAIR_STEP, STAIR_SIGMA, STAIR_OVER = 0.5, 0.8, 5
"""Light is read in such steps for them and smoothed so, working pixels, and over so many points."""
MARGIN_PX = 4
"""So far past either end of the band light is read for the slopes within it."""


def rippled(
    light: Floats,
    points: Points,
    inward: Points,
    *,
    depth: float,
    slope: float,
    strands: bool = False,
) -> bool:
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
    strands : bool
        Whether strands are seen there: then a lesser slope is enough, however coherent.
    """
    band, corner = _band(light.shape, points, inward, depth)
    near = light[corner[1] : corner[1] + band.shape[0], corner[0] : corner[0] + band.shape[1]]
    band &= (near > FALLS[0]) & (near < FALLS[1])
    if np.count_nonzero(band) < LEAST_PIXELS:
        return False
    across, along = _slopes(near, band)
    if strands and along > (AMONG_STRANDS * slope) ** 2:
        return True
    if along <= slope**2 or (across - along) / (across + along) >= COHERENT:
        return False
    enough = ALONG * min(1.0, len(points) / ENOUGH_PX)
    return len(points) < LEAST_PX or _along_share(light, points, inward, depth) > enough


def in_stairs(
    light: Floats, points: Points, inward: Points, *, depth: float, unit: float
) -> Points:
    """(N,) how unevenly light falls across the edge: 0 where its slope has but one peak.

    What the slope varies beyond the rise to and the fall from its steepest, in parts of that.

    Parameters
    ----------
    light, points, inward, depth
        As for ``rippled``.
    unit : float
        Working pixels to a pixel, for a tolerance of 3 px.
    """
    offsets = np.arange(-OUTSIDE_PX * unit, depth + INSIDE_PX, STAIR_STEP)
    falls = cv2.blur(read_along(light, points, inward, offsets), (1, STAIR_OVER))
    falls = cv2.GaussianBlur(falls, (0, 0), STAIR_SIGMA / STAIR_STEP, sigmaY=1e-3)
    slope = np.pad(-np.diff(falls, axis=1), ((0, 0), (1, 1)))
    steepest = np.maximum(slope.max(axis=1), 1e-6)
    return np.asarray(np.abs(np.diff(slope, axis=1)).sum(axis=1) / (2 * steepest) - 1, np.float64)


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


def _along_share(light: Floats, points: Points, inward: Points, depth: float) -> float:
    """Part of the squared slopes of falling light that lies along the edge, straightened."""
    inwards = np.arange(-BEYOND_PX - MARGIN_PX, depth + 2 * BEYOND_PX + MARGIN_PX + 0.01)
    # The points lie about a pixel apart, so this is a picture.
    straight = read_along(light, points, inward, inwards)
    within = np.s_[:, MARGIN_PX:-MARGIN_PX]
    falls = ((straight > FALLS[0]) & (straight < FALLS[1]))[within]
    across, along = (float(np.square(d[within][falls]).sum()) for d in _gradient(straight))
    return along / max(across + along, 1e-12)


def _slopes(light: Floats, band: Mask) -> tuple[float, float]:
    """Mean squares of the slope where light changes most, and at right angles, over a band."""
    dx, dy = _gradient(light)
    weight = band.astype(np.float32)
    share = np.maximum(cv2.GaussianBlur(weight, (0, 0), WINDOW)[band], 1e-6)
    xx, yy, xy = (
        cv2.GaussianBlur(square * weight, (0, 0), WINDOW)[band] / share
        for square in (dx * dx, dy * dy, dx * dy)
    )
    apart = np.hypot(xx - yy, 2 * xy)
    return float((xx + yy + apart).mean() / 2), float((xx + yy - apart).mean() / 2)


def _gradient(light: Floats) -> tuple[Floats, Floats]:
    """Slopes of smoothed light along x and y, per pixel."""
    quiet = cv2.GaussianBlur(light, (0, 0), SIGMA)
    dx, dy = (cv2.Sobel(quiet, cv2.CV_32F, *d, scale=1 / 8) for d in ((1, 0), (0, 1)))
    return np.asarray(dx, np.float32), np.asarray(dy, np.float32)
