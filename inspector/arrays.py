"""Names for the kinds of array that pass between the stages, and how to take some of one."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Mask = NDArray[np.bool_]
"""True where something is."""
Floats = NDArray[np.float32]
"""A picture: light, stops or fractions."""
Points = NDArray[np.float64]
"""Positions x, y, and figures along a line of them."""

ENOUGH_PIXELS = 60_000
"""So many pixels of a mask give its median."""


def some(picture: Floats, mask: Mask, *, most: int) -> Floats:
    """(M, ...) values of a (h, w, ...) picture where a (h, w) mask is, in even steps.

    All of them if there are fewer than twice ``most``.
    """
    place = np.flatnonzero(mask)
    rows = picture.reshape(mask.size, *picture.shape[2:])
    return rows.take(place[:: max(1, place.size // most)], axis=0)


def median_of(picture: Floats, mask: Mask) -> float:
    """Median of a (h, w) picture where a mask is; it must be somewhere."""
    return float(np.median(some(picture, mask, most=ENOUGH_PIXELS)))


def share_of(mask: Mask) -> float:
    """The part of a picture where a mask is."""
    return float(np.count_nonzero(mask) / mask.size)


def around(stats: NDArray[np.int32], margin: int) -> tuple[slice, slice]:
    """Rows and columns of a connected component, by its statistics, and of a margin around it."""
    x, y, w, h = (int(v) for v in stats[:4])
    return np.s_[max(0, y - margin) : y + h + margin, max(0, x - margin) : x + w + margin]


def disc(radius: int) -> NDArray[np.uint8]:
    """(2 radius + 1, 2 radius + 1) a disc, for morphology."""
    shape = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1,) * 2)
    return np.asarray(shape, np.uint8)


def grown(mask: Mask, pixels: int) -> Mask:
    """A mask and what lies within so many pixels of it, along both axes."""
    return cv2.dilate(mask.astype(np.uint8), np.ones((2 * pixels + 1,) * 2, np.uint8)) > 0


def distance_to(mask: Mask) -> Floats:
    """(h, w) pixels to the nearest pixel of a mask, 0 within."""
    away = cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 5)
    return np.asarray(away, np.float32)


def binned(picture: Floats, by: int) -> Floats:
    """Means of a (h, w) picture over squares of ``by`` pixels; what fills no square is left out."""
    height, width = (n // by for n in picture.shape)
    whole = picture[: by * height, : by * width]
    return np.asarray(cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA), np.float32)


def averaged(ev: Floats, by: int) -> Floats:
    """Stops of the mean light of a (h, w) picture, ``ev`` stops, over such squares."""
    return np.log2(binned(np.exp2(ev), by), dtype=np.float32)


def without_specks(mask: Mask, least: int) -> Mask:
    """A mask less its connected parts of fewer pixels."""
    _, label, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    kept = stats[:, cv2.CC_STAT_AREA] >= least
    kept[0] = False
    return np.asarray(kept[label], bool)
