"""How a pose sways between two frames: a shift that changes slowly from place to place.

Nobody holds quite still: an arm turns by half a degree about the shoulder. What is left along the
outline after the one shift of the whole is smoothed over the neighbourhood, by the same normal
equations as that shift, weighed with a Gaussian around each place.
"""

from __future__ import annotations

import cv2
import numpy as np

from inspector.align import OWN_PX, Line, Shift
from inspector.arrays import Floats, Points
from inspector.outline import read

AROUND = 0.02
"""Width of the Gaussian, sigma, part of the long side."""
REACH = 0.008
"""A place that has moved further than this part of the long side against the whole is not found."""
COARSE = 4
"""The shift is worked out for squares of so many working pixels."""
HELD = 0.03
"""How much it is held to nought, beside a weight of 1 along the outline's normals."""
FEW_POINTS = 5.0
"""So few points near a place may all be wrong: there it is nought; thrice as many are enough."""
ROUNDS = 3
"""Of weighing down what does not fit (Huber)."""
LEAST_PX = 0.4
"""A lesser sway is none: clipped light, noise and the grid shift the line by tenths of a working
pixel."""
LEAST_MISFIT_PX = 0.1
"""No finer than this is told what does not fit, working pixels."""


def find_sway(line: Line, here: Floats, there: Floats, shift: Shift) -> Floats:
    """(h, w, 2) x, y by which each place lies elsewhere in ``there``, working pixels.

    Parameters
    ----------
    line : Line
        A line of light in ``here``.
    here, there : ndarray, float32
        (h, w) stops.
    shift : Shift
        That of the whole, to which the sway is added; far from the line it is this alone.
    """
    whole = np.array([shift.x, shift.y])
    own = line.passes(here, moved=np.zeros(2), reach=OWN_PX)[0]
    away, known = line.passes(there, moved=whole, reach=max(OWN_PX, REACH * max(here.shape)))
    known &= np.isfinite(own)
    points, normals, residual = line.points[known], line.normals[known], (away - own)[known]
    if len(points) == 0:
        return np.zeros((*here.shape, 2), np.float32) + whole.astype(np.float32)
    # Clipped light puts its line further out all around.
    residual = residual - np.median(residual)
    weight: Points = np.ones(len(points))
    for _ in range(ROUNDS):
        sway = _smoothed(points, normals, residual, weight, here.shape)
        at = np.stack([read(np.ascontiguousarray(sway[..., k]), points) for k in (0, 1)], axis=1)
        left = np.abs(residual - (at * normals).sum(axis=1))
        scale = 1.5 * float(np.median(left)) + LEAST_MISFIT_PX
        weight = np.minimum(1.0, scale / np.maximum(left, 1e-9))
    size = np.hypot(sway[..., :1], sway[..., 1:])
    sway = sway * np.maximum(0, 1 - (LEAST_PX / np.maximum(size, LEAST_PX)) ** 2)
    return np.asarray(sway + whole, np.float32)


def moved_to(picture: Floats, sway: Floats) -> Floats:
    """(h, w, C) a picture read where ``sway`` (h, w, 2) takes each place."""
    y, x = np.mgrid[: sway.shape[0], : sway.shape[1]].astype(np.float32)
    at = x + sway[..., 0], y + sway[..., 1]
    read_at = cv2.remap(picture, *at, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(read_at.reshape(picture.shape), np.float32)


def _smoothed(
    points: Points, normals: Points, residual: Points, weight: Points, shape: tuple[int, ...]
) -> Floats:
    """(h, w, 2) the shift whose part along the normals near each place explains the residuals."""
    size = (-(-shape[0] // COARSE), -(-shape[1] // COARSE))
    cell = (points / COARSE).astype(int)
    sums: Floats = np.zeros((*size, 6), np.float32)
    nx, ny = normals.T
    terms = np.stack([nx * nx, nx * ny, ny * ny, nx * residual, ny * residual, np.ones(len(nx))])
    np.add.at(sums, (cell[:, 1], cell[:, 0]), (terms * weight).T.astype(np.float32))
    sigma = AROUND * max(shape) / COARSE
    xx, xy, yy, x, y, count = np.moveaxis(cv2.GaussianBlur(sums, (0, 0), sigma), 2, 0)
    held = HELD * count + 1e-6
    xx, yy = xx + held, yy + held
    det = xx * yy - xy * xy
    near = np.clip((count * 2 * np.pi * sigma**2 / FEW_POINTS - 1) / 2, 0, 1) / det
    coarse = np.dstack([(yy * x - xy * y) * near, (xx * y - xy * x) * near]).astype(np.float32)
    return np.asarray(cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_LINEAR), np.float32)
