"""Counting and averaging on the mosaic itself: a verdict needs no demosaicing.

A Bayer mosaic is looked at two rows at a time, each as a picture of two channels, so that no
photosite is copied before it is averaged or compared.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.frame import BAYER, Frame

Floats = NDArray[np.float32]
Bytes = NDArray[np.uint8]
Size = tuple[int, int]

ENOUGH_SITES = 1_000_000
"""Sites of a channel that are enough for its histogram."""


def tile_sizes(frame: Frame) -> tuple[int, int]:
    """(block, cell): smallest squares that hold every channel; the cell is a whole pattern."""
    cell = frame.pattern.shape[0]
    return (3 if cell == 6 else cell), cell


def channel_sites(frame: Frame, channel: int) -> list[NDArray[np.uint16]]:
    """Views of the mosaic, one for each place that the channel has in the pattern."""
    if frame.mosaic.ndim == 3:
        return [frame.mosaic[..., channel]]
    ph, pw = frame.pattern.shape
    return [frame.mosaic[y::ph, x::pw] for y, x in np.argwhere(frame.pattern == channel)]


def block_means(frame: Frame, scale: int, size: Size) -> list[Floats]:
    """For each channel its (h, w) mean raw level over squares of ``scale`` pixels.

    ``size`` is (w, h); rows and columns that fill no square are left out.
    """
    if frame.channels == BAYER:
        means: list[Floats] = [np.zeros(0, np.float32)] * 4
        for y, rows in enumerate(_row_pairs(frame)):
            small = _shrink(rows, scale // 2, size)
            for x in (0, 1):
                means[int(frame.pattern[y, x])] = np.ascontiguousarray(small[..., x])
        return means
    return [_block_mean(frame, c, scale, size) for c in range(len(frame.channels))]


def cell_fraction(frame: Frame, level: NDArray[np.float64], scale: int, size: Size) -> Floats:
    """(h, w) part of each working pixel's cells whose every channel reaches its raw level (C,)."""
    _, cell = tile_sizes(frame)
    mask = cells_at_least(frame, level)
    if scale >= cell:
        cells = (scale // cell) ** 2
        full = 255 // cells * cells  # so that the mean of bytes is exact
        return _shrink(np.minimum(mask, np.uint8(full)), scale // cell, size) / np.float32(full)
    width, height = size
    times = cell // scale
    whole = np.repeat(np.repeat(mask, times, axis=0), times, axis=1)
    pad = ((0, max(0, height - whole.shape[0])), (0, max(0, width - whole.shape[1])))
    return np.pad(whole, pad, mode="edge")[:height, :width].astype(np.float32) / np.float32(255)


def cells_at_least(frame: Frame, level: NDArray[np.float64]) -> Bytes:
    """255 for each cell whose every channel reaches its raw ``level`` (C,), else 0."""
    if frame.channels == BAYER:
        top, bottom = (
            cv2.inRange(rows, _two(np.ceil(level)[frame.pattern[y]]), _two((65535, 65535)))
            for y, rows in enumerate(_row_pairs(frame))
        )
        return np.asarray(cv2.bitwise_and(top, bottom), np.uint8)
    height, width = (n // frame.pattern.shape[0] for n in frame.mosaic.shape[:2])
    reached = np.full((height, width), 255, np.uint8)
    for c in range(len(frame.channels)):
        views = [v[:height, :width] for v in channel_sites(frame, c)]
        mean = views[0] if len(views) == 1 else np.mean(views, axis=0, dtype=np.float32)
        reached[mean < level[c]] = 0
    return reached


def channel_histogram(
    frame: Frame, channel: int, *, sites: int = ENOUGH_SITES
) -> NDArray[np.int64]:
    """(65536,) int64: sites of one channel at each raw level.

    Every n-th row only, so that about so many ``sites`` are counted.
    """
    counts = np.zeros(65536, np.int64)
    views = channel_sites(frame, channel)
    step = max(1, sum(v.size for v in views) // sites)
    for view in views:
        counts += np.bincount(view[::step].ravel(), minlength=65536)
    return counts


def _row_pairs(frame: Frame) -> list[NDArray[np.uint16]]:
    """Even and odd rows of a Bayer mosaic, each an (h, w, 2) view of its two channels."""
    height, width = (n // 2 for n in frame.mosaic.shape)
    whole = frame.mosaic[: 2 * height, : 2 * width]
    return [whole[y::2].reshape(height, width, 2) for y in (0, 1)]


def _two(values: NDArray[np.float64] | tuple[int, int]) -> tuple[float, float, float, float]:
    return float(values[0]), float(values[1]), 0.0, 0.0


def _block_mean(frame: Frame, channel: int, scale: int, size: Size) -> Floats:
    """(h, w) mean raw level of one channel of any other pattern."""
    if frame.mosaic.ndim == 3 or frame.pattern.size == 1:
        plane = frame.mosaic if frame.mosaic.ndim == 2 else frame.mosaic[..., channel]
        return _shrink(np.ascontiguousarray(plane), scale, size)
    # Blocks may be smaller than the pattern (X-Trans): weigh the channel's own sites.
    ph, pw = frame.pattern.shape
    height, width = frame.mosaic.shape
    tiles = (-(-height // ph), -(-width // pw))
    own = np.tile(frame.pattern == channel, tiles)[:height, :width].astype(np.float32)
    total = _shrink(frame.mosaic * own, scale, size)
    return np.asarray(total / _shrink(own, scale, size), np.float32)


def _shrink(plane: NDArray[Any], factor: int, size: Size) -> Floats:
    """Area mean over squares of ``factor``; rows and columns that fill none are left out."""
    width, height = size
    whole = plane[: height * factor, : width * factor]
    small = whole if factor == 1 else cv2.resize(whole, size, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32)
