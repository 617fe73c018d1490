"""The distance over which light falls from a bright patch to the dark around it."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats
from inspector.outline import read, read_along, right_hand
from inspector.profile import crossing

REACH = 12
"""How far around a patch its fall is followed, working pixels."""
FIRST_EV = 0.45
"""The part of the fall that tells a sharp edge, stops."""
ENOUGH_POINTS = 1000
"""So many points of an outline tell how its light falls."""


def edge_falls(inside: NDArray[np.uint8], ev: Floats) -> NDArray[np.float64]:
    """(N,) distance over which light falls from a bright patch to the dark, all round it.

    From 0.3 stop under the light just inside to 0.45 stop lower (less where the dark is near), in
    pixels of the picture; NaN where there is no dark. Further down a lit rim fades slowly.
    """
    contours, _ = cv2.findContours(inside, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    lines = [_thinned(np.asarray(c).reshape(-1, 2)) + 0.5 for c in contours if len(c) >= 6]
    return np.concatenate([np.zeros(0), *(_falls(line, inside, ev) for line in lines)])


def _thinned(line: NDArray[Any]) -> NDArray[np.float64]:
    """Every point of a short line, enough points of a long one."""
    return np.asarray(line[:: 1 + len(line) // ENOUGH_POINTS], np.float64)


def _falls(line: NDArray[np.float64], inside: NDArray[np.uint8], ev: Floats) -> NDArray[np.float64]:
    normal = right_hand(np.concatenate([line, line[:1]]))[:-1]
    solid = inside.astype(np.float32)
    if read(solid, line + 1.5 * normal).sum() > read(solid, line - 1.5 * normal).sum():
        normal = -normal
    steps = np.arange(-4, REACH + 0.1, 0.5)
    along = read_along(ev, line, normal, steps).astype(np.float64)
    level = np.minimum(along[:, steps <= 0].max(axis=1), 0.0)
    dark = np.maximum(along.min(axis=1), level - 4)
    high = level - 0.3
    start = crossing(along, steps, high)
    stop = crossing(along, steps, high - np.minimum(0.6 * (high - dark), FIRST_EV))
    height, width = ev.shape
    x, y = line[:, 0], line[:, 1]
    framed = (x < 2) | (y < 2) | (x > width - 2) | (y > height - 2)
    return np.where((level - dark > 1.2) & ~framed, stop - start, np.nan)
