"""Counting and averaging on the mosaic itself: a verdict needs no demosaicing.

A Bayer mosaic is looked at two rows at a time, so that no photosite is copied before it is
averaged or compared.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask
from inspector.frame import BAYER, Frame

Sites = NDArray[np.uint16] | NDArray[np.uint8] | Floats
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


def block_means(frame: Frame, scale: int, size: Size) -> Floats:
    """(C, h, w) mean raw level of each channel over squares of ``scale`` pixels.

    ``size`` is (w, h); rows and columns that fill no square are left out.
    """
    if frame.channels != BAYER:
        return np.stack([_block_mean(frame, c, scale, size) for c in range(len(frame.channels))])
    width, height = size
    factor = scale // 2
    means = np.empty((4, height, width), np.float32)
    for rows, channels in zip(_row_pairs(frame), frame.pattern, strict=True):
        columns = _sums_down(rows[: height * factor, : width * scale], factor)
        for x, c in enumerate(channels):
            total = _sums_across(columns[:, x::2], factor)
            means[c] = np.rint(total / np.float32(factor**2))  # to whole raw levels
    return means


def cell_fraction(frame: Frame, level: NDArray[np.float64], scale: int, size: Size) -> Floats:
    """(h, w) part of each working pixel's cells whose every channel reaches its raw level (C,)."""
    block, cell = tile_sizes(frame)
    mask = cells_at_least(frame, level)
    if not mask.any():
        return np.zeros((size[1], size[0]), np.float32)
    if cell > block:  # working pixels may end within a cell
        mask = np.repeat(np.repeat(mask, cell // block, axis=0), cell // block, axis=1)
    return _share(mask, scale // block, size)


def cells_at_least(frame: Frame, level: NDArray[np.float64]) -> Mask:
    """Cells whose every channel reaches its raw ``level`` (C,)."""
    if frame.channels == BAYER:
        top, bottom = zip(_row_pairs(frame), level[frame.pattern], strict=True)
        pairs = _pairs_at_least(*top)
        return pairs & _pairs_at_least(*bottom) if pairs.any() else pairs
    height, width = (n // frame.pattern.shape[0] for n in frame.mosaic.shape[:2])
    reached = np.ones((height, width), bool)
    for c in range(len(frame.channels)):
        views = [v[:height, :width] for v in channel_sites(frame, c)]
        mean = views[0] if len(views) == 1 else np.mean(views, axis=0, dtype=np.float32)
        reached &= mean >= level[c]
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
    for view in views:  # unlike bincount it copies nothing to 64 bits, nor holds up other threads
        found = cv2.calcHist([view[::step].copy()], [0], None, [65536], [0, 65536])
        counts += found.ravel().astype(np.int64)
    return counts


def _row_pairs(frame: Frame) -> tuple[NDArray[np.uint16], NDArray[np.uint16]]:
    """Even and odd rows of a Bayer mosaic's whole cells, (h, 2 w) views."""
    height, width = (n // 2 * 2 for n in frame.mosaic.shape)
    return frame.mosaic[:height:2, :width], frame.mosaic[1:height:2, :width]


def _pairs_at_least(rows: NDArray[np.uint16], level: NDArray[np.float64]) -> Mask:
    """(h, w) pairs of neighbours in a row (h, 2 w) of which both reach their ``level`` (2,)."""
    below = np.clip(np.ceil(level) - 1, 0, 65535).astype(np.uint16)
    reached = rows > np.tile(below, rows.shape[1] // 2)
    return np.asarray(reached.view(np.uint16) == 0x0101)  # two True side by side


def _block_mean(frame: Frame, channel: int, scale: int, size: Size) -> Floats:
    """(h, w) mean raw level of one channel of any other pattern."""
    if frame.mosaic.ndim == 3 or frame.pattern.size == 1:
        plane = frame.mosaic if frame.mosaic.ndim == 2 else frame.mosaic[..., channel]
        return _shrink(np.ascontiguousarray(plane), scale, size)
    # Blocks are smaller than the pattern (X-Trans): add up the channel's own sites of each.
    block, cell = tile_sizes(frame)
    sites = frame.mosaic[: size[1] * scale, : size[0] * scale]
    total = np.zeros((sites.shape[0] // block, sites.shape[1] // block), np.float32)
    count = np.zeros_like(total)
    for y, x in np.argwhere(frame.pattern == channel):
        blocks = np.s_[y // block :: cell // block, x // block :: cell // block]
        total[blocks] += sites[y::cell, x::cell]
        count[blocks] += 1
    factor = scale // block
    return _square_sums(total, factor) / _square_sums(count, factor)


def _shrink(plane: NDArray[Any], factor: int, size: Size) -> Floats:
    """Area mean over squares of ``factor``; rows and columns that fill none are left out."""
    width, height = size
    whole = plane[: height * factor, : width * factor]
    small = whole if factor == 1 else cv2.resize(whole, size, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32)


def _share(mask: Mask, factor: int, size: Size) -> Floats:
    """(h, w) share of a mask in squares of ``factor``; past its end its last row and column."""
    width, height = size
    whole = mask[: height * factor, : width * factor]
    missing = [(0, n * factor - have) for n, have in zip((height, width), whole.shape, strict=True)]
    if missing != [(0, 0), (0, 0)]:
        whole = np.pad(whole, missing, mode="edge")
    return _square_sums(whole.view(np.uint8), factor) / np.float32(factor**2)


def _square_sums(sites: Sites, factor: int) -> Floats:
    """(H / factor, W / factor) sums over squares of ``factor`` sites."""
    return _sums_across(_sums_down(sites, factor), factor)


def _sums_down(sites: Sites, factor: int) -> Floats:
    """(H / factor, W) sums over as many rows, exact up to 2**24."""
    total = np.zeros((sites.shape[0] // factor, sites.shape[1]), np.float32)
    for y in range(factor):
        cv2.accumulate(sites[y::factor], total)
    return total


def _sums_across(sites: Floats, factor: int) -> Floats:
    """(H, W / factor) sums over as many columns."""
    total = sites[:, ::factor].copy()
    for x in range(1, factor):
        total += sites[:, x::factor]
    return total
