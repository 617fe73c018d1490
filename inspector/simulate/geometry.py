"""Smooth vector shapes, and how much of each pixel they cover.

Scene coordinates: x to the right, y down, one unit is the long side of the picture as viewed.
A shape is a tuple of polygons, each (N, 2) float64; the shape is their union.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

Polygon = NDArray[np.float64]
Shape = tuple[Polygon, ...]

SUPERSAMPLING = 4
_SUBPIXEL_BITS = 4
_TILE = 256
"""Side of the blocks in which coverage is worked out, in pixels."""


def closed_spline(points: Sequence[Sequence[float]], *, steps: int = 12) -> Polygon:
    """Closed Catmull-Rom curve through (N, 2) points, as a polygon of N * steps corners."""
    p = np.asarray(points, float)
    return _catmull_rom(np.roll(p, 1, 0), p, np.roll(p, -1, 0), np.roll(p, -2, 0), steps)


def open_spline(points: Sequence[Sequence[float]], *, steps: int = 12) -> NDArray[np.float64]:
    """Catmull-Rom curve through (N, K) points, ends included; columns beyond x, y ride along."""
    p = np.asarray(points, float)
    before = np.vstack((2 * p[0] - p[1], p[:-2])) if len(p) > 2 else 2 * p[:1] - p[1:]
    after = np.vstack((p[2:], 2 * p[-1] - p[-2])) if len(p) > 2 else 2 * p[1:] - p[:1]
    return np.vstack((_catmull_rom(before, p[:-1], p[1:], after, steps), p[-1:]))


def _catmull_rom(
    a: NDArray[np.float64],
    b: NDArray[np.float64],
    c: NDArray[np.float64],
    d: NDArray[np.float64],
    steps: int,
) -> NDArray[np.float64]:
    t = (np.arange(steps) / steps)[None, :, None]
    a, b, c, d = (q[:, None, :] for q in (a, b, c, d))
    curve = 0.5 * (
        2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t**2 + (3 * b - a - 3 * c + d) * t**3
    )
    return curve.reshape(-1, b.shape[2])


def limb(points: Sequence[Sequence[float]], *, steps: int = 10) -> Shape:
    """A tapering stroke: (x, y, radius) along its middle, round at both ends."""
    spine = open_spline(points, steps=steps)
    spine[:, 2] = np.maximum(spine[:, 2], 1e-5)
    return tuple(_round_cone(p, q) for p, q in pairwise(spine))


def _round_cone(p: NDArray[np.float64], q: NDArray[np.float64]) -> Polygon:
    """Convex hull of two discs (x, y, radius)."""
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    circle = np.stack((np.cos(turn), np.sin(turn)), axis=1)
    rim = np.vstack((p[:2] + p[2] * circle, q[:2] + q[2] * circle))
    centre, reach = rim.mean(0), np.ptp(rim) or 1.0
    hull = cv2.convexHull(((rim - centre) / reach).astype(np.float32))[:, 0]
    return np.asarray(hull.astype(float) * reach + centre)


def ellipse(
    centre: tuple[float, float], radii: tuple[float, float], *, turn_deg: float = 0.0
) -> Polygon:
    """An ellipse of 96 corners, turned clockwise on the picture."""
    angle = np.linspace(0, 2 * np.pi, 96, endpoint=False)
    x, y = radii[0] * np.cos(angle), radii[1] * np.sin(angle)
    turn = np.deg2rad(turn_deg)
    return np.stack(
        (
            centre[0] + x * np.cos(turn) - y * np.sin(turn),
            centre[1] + x * np.sin(turn) + y * np.cos(turn),
        ),
        axis=1,
    )


def cover(
    shapes: Iterable[Shape],
    size: tuple[int, int],
    *,
    sigma: float = 0.0,
    unit: float | None = None,
    origin: tuple[int, int] = (0, 0),
) -> NDArray[np.float32]:
    """Share of each pixel that the union of the shapes covers, from 4 x 4 samples a pixel.

    ``size`` is (width, height); the result is (H, W) float32, 0 to 1. With a ``sigma`` (in
    pixels, under 1) a pixel weighs its surroundings by that Gaussian instead of by its own
    square. ``unit`` is pixels to a scene unit, by default the longer of the sizes, ``origin``
    the (x, y) pixel of the whole picture at which the result begins. Shapes come out an eighth
    of a pixel larger all round, since border samples count.
    """
    width, height = size
    fine = (unit or max(size)) * SUPERSAMPLING
    shift = np.asarray(origin, float) * SUPERSAMPLING
    corners = [_to_fixed(polygon * fine - shift) for shape in shapes for polygon in shape]
    out = np.zeros((height, width), np.float32)
    for top in range(0, height, _TILE):
        rows = min(_TILE, height - top)
        _fill_band(corners, top, out[top : top + rows], sigma)
    return out


def _fill_band(
    corners: list[NDArray[np.int32]], top: int, out: NDArray[np.float32], sigma: float
) -> None:
    rows, width = out.shape
    margin = 4 if sigma else 0
    n = SUPERSAMPLING
    first = (top - margin) * n << _SUBPIXEL_BITS
    last = first + ((rows + 2 * margin) * n << _SUBPIXEL_BITS)
    mine = [c for c in corners if c[:, 1].max() >= first and c[:, 1].min() <= last]
    if not mine:
        return
    fine = np.zeros(((rows + 2 * margin) * n, (width + 2 * margin) * n), np.uint8)
    shift = np.array([-margin * n << _SUBPIXEL_BITS, first], np.int32)
    for polygon in mine:
        cv2.fillPoly(fine, [polygon - shift], 255, cv2.LINE_8, _SUBPIXEL_BITS)
    for left in range(0, width, _TILE):
        right = min(left + _TILE, width)
        tile = fine[:, left * n : (right + 2 * margin) * n]
        low, high = int(tile.min()), int(tile.max())
        part = out[:, left:right]
        if low == high:
            part[:] = low
        elif sigma:
            part[:] = _weigh(tile, sigma)[margin:-margin, margin:-margin]
        else:
            part[:] = cv2.resize(tile, (right - left, rows), interpolation=cv2.INTER_AREA)
    out /= 255


def _weigh(fine: NDArray[np.uint8], sigma: float) -> NDArray[np.float32]:
    """Gaussian-weighted mean around the middle of each block of samples."""
    n = SUPERSAMPLING
    reach = int(np.ceil(4 * sigma)) * n
    # The middle of a pixel lies between two samples: an even kernel, anchored left of it.
    x = (np.arange(2 * reach) - reach + 0.5) / n
    weights = np.exp(-0.5 * (x / sigma) ** 2)
    weights /= weights.sum()
    anchor = (reach - 1, reach - 1)
    soft = cv2.sepFilter2D(
        fine, cv2.CV_32F, weights, weights, anchor=anchor, borderType=cv2.BORDER_REPLICATE
    )
    return np.asarray(soft[n // 2 - 1 :: n, n // 2 - 1 :: n])


def bounds(shape: Shape, unit: float, size: tuple[int, int], margin: int) -> tuple[slice, slice]:
    """Rows and columns of the picture around a shape, empty where it lies outside."""
    corners = np.vstack(shape) * unit
    x0, y0 = np.clip(np.floor(corners.min(axis=0)).astype(int) - margin, 0, size)
    x1, y1 = np.clip(np.ceil(corners.max(axis=0)).astype(int) + margin, 0, size)
    return slice(int(y0), int(y1)), slice(int(x0), int(x1))


def _to_fixed(points: NDArray[np.float64]) -> NDArray[np.int32]:
    """Continuous fine-grid points to OpenCV's fixed point, whose pixel centres are whole."""
    return np.round((points - 0.5) * (1 << _SUBPIXEL_BITS)).astype(np.int32)


def move(
    shape: Shape,
    *,
    scale: float = 1.0,
    mirror: bool = False,
    to: tuple[float, float] = (0.0, 0.0),
) -> Shape:
    """The shape scaled about the origin, mirrored left to right if asked, then moved."""
    factor = np.array([-scale if mirror else scale, scale])
    return tuple(polygon * factor + np.asarray(to) for polygon in shape)


def smooth_noise(
    size: tuple[int, int], *, cells: int, rng: np.random.Generator
) -> NDArray[np.float32]:
    """(H, W) float32 of zero mean and unit spread, ``cells`` blobs along the long side."""
    width, height = size
    long_side = max(size)
    grid = (max(2, round(cells * height / long_side)), max(2, round(cells * width / long_side)))
    coarse = rng.standard_normal(grid).astype(np.float32)
    fine = cv2.resize(coarse, size, interpolation=cv2.INTER_CUBIC)
    return np.asarray((fine - fine.mean()) / max(float(fine.std()), 1e-6), np.float32)
