"""From raw levels to stops: clip levels, the ceiling, and the working picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask
from inspector.clip import Clip, find_pile_up
from inspector.frame import Frame, as_viewed

WHITE = 0.98
"""Rendered level from which a channel develops to 255 (contract: paper white)."""
RESPONDS = 0.965
"""Highest part of its range at which a channel's block mean is trusted: above it noise clips."""
FLOOR_EV = -12.0
"""Stops under white below which a reading is all noise."""
WORKING_SIDE = 1800
"""Long side that the working picture does not exceed, working pixels."""
HISTOGRAM_SITES = 2_000_000
"""Sites per channel that are enough for a histogram."""


@dataclass(frozen=True, eq=False)
class Under:
    """A darker frame of the same pose, laid under this one.

    ``shift`` is where it has a point of this frame, less where this frame has it, x, y in viewed
    pixels; ``stops`` by how much it is darker.
    """

    levels: Levels
    shift: tuple[float, float]
    stops: float


@dataclass(frozen=True, eq=False)
class Levels:
    """The working picture, as viewed: block averages of the mosaic in units of white.

    Attributes
    ----------
    frame : Frame
        Kept for the places that need single photosites (outline, profiles).
    clip : Clip
    ceiling_ev : float
        Highest stop the frame can tell, log2 of the largest gain.
    scale : int
        Sensor pixels per working pixel, along both axes.
    origin : tuple of int
        (x, y) of the working picture's top left corner in the picture as viewed, pixels.
    rendered : ndarray, float32
        (h, w, C) mean rendered level r_c, 1 at the white point.
    top : ndarray, float64
        (C,) rendered level at which each channel stops: its gain, or more with an under frame.
    ev : ndarray, float32
        (h, w) stops over (+) or under (-) white of a neutral surface, read from the channels
        that still respond; ``ceiling_ev`` where none does.
    white, blown, part : ndarray, float32
        (h, w) fraction of each working pixel's cells that are paper white, blown, part clipped.
    """

    frame: Frame
    clip: Clip
    ceiling_ev: float
    scale: int
    origin: tuple[int, int]
    rendered: Floats
    top: NDArray[np.float64]
    ev: Floats
    white: Floats
    blown: Floats
    part: Floats
    under: Under | None = None

    def to_view(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Working-picture x, y (continuous, pixel i spans [i, i + 1)) to viewed pixels."""
        return np.add(np.multiply(points, self.scale), self.origin)

    def from_view(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Viewed pixels to working-picture x, y; the inverse of ``to_view``."""
        return np.divide(np.subtract(points, self.origin), self.scale)


def measure_levels(frame: Frame, *, clip: Clip | None = None) -> Levels:
    """Measure clip levels (unless given) and average the mosaic to the working picture.

    Parameters
    ----------
    frame : Frame
    clip : Clip, optional
        Clip levels known beforehand; measured from this frame when left out.
    """
    clip = clip or measure_clip(frame)
    block, cell = tile_sizes(frame)
    height, width = frame.mosaic.shape[:2]
    factor = max(1, -(-max(height, width) // (block * WORKING_SIDE)))
    scale = block * factor
    size = (width // scale, height // scale)

    raw = np.dstack([_block_mean(frame, c, scale, size) for c in range(len(frame.channels))])
    value = (raw - frame.black) / (clip.level - frame.black)
    rendered = (value * frame.gains).astype(np.float32)
    white, blown, part = _cell_fractions(frame, clip, scale, cell, size)

    turn = frame.orientation
    left_over = (width - size[0] * scale, height - size[1] * scale)
    ceiling = float(np.log2(frame.gains.max()))
    viewed = np.ascontiguousarray(as_viewed(rendered, turn))
    return Levels(
        frame=frame,
        clip=clip,
        ceiling_ev=ceiling,
        scale=scale,
        origin=_origin(left_over, turn),
        rendered=viewed,
        top=frame.gains,
        ev=stops(viewed, frame.gains, frame.channels),
        white=np.ascontiguousarray(as_viewed(white, turn)),
        blown=np.ascontiguousarray(as_viewed(blown, turn)),
        part=np.ascontiguousarray(as_viewed(part, turn)),
    )


def measure_clip(frame: Frame) -> Clip:
    """Clip level of each channel: its pile-up if it has one, else what the metadata states.

    Where other channels show the stated level to be off, it is off alike for those without a
    pile-up: the converter behind them is the same.
    """
    stated = frame.stated_clip.astype(np.float64)
    level, highest = stated.copy(), np.zeros(stated.size)
    measured = np.zeros(level.size, bool)
    for c in range(level.size):
        histogram = channel_histogram(frame, c)
        highest[c] = float(np.flatnonzero(histogram)[-1])
        found = find_pile_up(histogram, black=frame.black[c], stated=stated[c])
        if found is not None:
            level[c], measured[c] = found, True
    if measured.any():
        span = (level - frame.black) / (stated - frame.black)
        level[~measured] = (frame.black + (stated - frame.black) * np.median(span[measured]))[
            ~measured
        ]
    # Sites above the level prove it too low.
    level[~measured] = np.maximum(level, highest)[~measured]
    return Clip(level, measured)


def stops(
    rendered: Floats,
    top: NDArray[np.float64],
    channels: tuple[str, ...],
    *,
    tint: NDArray[np.float64] | None = None,
) -> Floats:
    """Stops of a neutral surface from its rendered levels, up to the ceiling.

    Green is the reference while it responds; above that, the channels that still do, each
    divided by the surface's own ``tint`` (C,) relative to green.

    Parameters
    ----------
    rendered : ndarray, float32
        (..., C) rendered levels.
    top : ndarray, float64
        (C,) rendered level at which each channel stops responding.
    """
    tint = np.ones(len(channels)) if tint is None else tint
    green = np.array([name[0] in "GL" for name in channels])
    responds = rendered < RESPONDS * top
    level = np.where(responds, rendered / tint, 0).astype(np.float32)
    any_green = responds[..., green].any(axis=-1)
    any_rest = responds[..., ~green].any(axis=-1)
    by_green = _mean_of(level[..., green], responds[..., green])
    by_rest = _mean_of(level[..., ~green], responds[..., ~green])
    ceiling = np.float32(top.max())
    best = np.where(any_green, by_green, np.where(any_rest, by_rest, ceiling))
    return np.asarray(np.log2(np.clip(best, 2.0**FLOOR_EV, ceiling)), np.float32)


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


def channel_histogram(frame: Frame, channel: int) -> NDArray[np.int64]:
    """(65536,) int64: sites of one channel at each raw level; every n-th row of a large frame."""
    counts = np.zeros(65536, np.int64)
    views = channel_sites(frame, channel)
    step = max(1, sum(v.size for v in views) // HISTOGRAM_SITES)
    for view in views:
        counts += np.bincount(view[::step].ravel(), minlength=65536)
    return counts


def _mean_of(level: Floats, use: Mask) -> Floats:
    return np.asarray(level.sum(axis=-1) / np.maximum(use.sum(axis=-1), 1), np.float32)


def _origin(left_over: tuple[int, int], orientation: int) -> tuple[int, int]:
    """Where the working picture starts, once the rest that fills no block is turned along."""
    dx, dy = left_over if orientation < 5 else left_over[::-1]
    x0 = dx if orientation in (2, 3, 6, 7) else 0
    y0 = dy if orientation in (3, 4, 7, 8) else 0
    return x0, y0


def _block_mean(frame: Frame, channel: int, scale: int, size: tuple[int, int]) -> Floats:
    """(h, w) float32 mean raw level of one channel over squares of ``scale`` pixels."""
    if frame.mosaic.ndim == 3 or frame.pattern.size == 1:
        plane = frame.mosaic if frame.mosaic.ndim == 2 else frame.mosaic[..., channel]
        return _shrink(np.ascontiguousarray(plane), scale, size)
    ph, pw = frame.pattern.shape
    if scale % ph == 0 and scale % pw == 0:
        places = channel_sites(frame, channel)
        small = [_shrink(np.ascontiguousarray(p), scale // ph, size) for p in places]
        return np.asarray(np.mean(small, axis=0, dtype=np.float32))
    # Blocks smaller than the pattern (X-Trans): weigh the channel's own sites.
    height, width = frame.mosaic.shape
    tiles = (-(-height // ph), -(-width // pw))
    own = np.tile(frame.pattern == channel, tiles)[:height, :width].astype(np.float32)
    total = _shrink(frame.mosaic * own, scale, size)
    return np.asarray(total / _shrink(own, scale, size), np.float32)


def _shrink(plane: NDArray[np.integer | np.floating], factor: int, size: tuple[int, int]) -> Floats:
    """Area mean over squares of ``factor``; rows and columns that fill none are left out."""
    width, height = size
    whole = plane[: height * factor, : width * factor]
    small = whole if factor == 1 else cv2.resize(whole, size, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32)


def _cell_fractions(
    frame: Frame, clip: Clip, scale: int, cell: int, size: tuple[int, int]
) -> tuple[Floats, Floats, Floats]:
    """(h, w) fractions of cells that are paper white, blown, and part clipped."""
    span = clip.level - frame.black
    white_at = frame.black + WHITE * span / frame.gains
    blown_at = frame.black + WHITE * span
    white = _cells_at_least(frame, white_at, every=True)
    blown = _cells_at_least(frame, blown_at, every=True)
    part = _cells_at_least(frame, blown_at, every=False) & ~white

    def fraction(mask: NDArray[np.uint8]) -> Floats:
        return np.asarray(_to_working(mask, scale, cell, size) / 255, np.float32)

    return fraction(white), fraction(blown), fraction(part)


def _to_working(mask: NDArray[np.uint8], scale: int, cell: int, size: tuple[int, int]) -> Floats:
    """Cell mask, 0 or 255, to its mean over each working pixel."""
    if scale >= cell:
        return _shrink(mask.astype(np.float32) if scale > cell else mask, scale // cell, size)
    width, height = size
    whole = np.repeat(np.repeat(mask, cell // scale, axis=0), cell // scale, axis=1)
    pad = ((0, max(0, height - whole.shape[0])), (0, max(0, width - whole.shape[1])))
    return np.pad(whole, pad, mode="edge")[:height, :width].astype(np.float32)


def _cells_at_least(frame: Frame, level: NDArray[np.float64], *, every: bool) -> NDArray[np.uint8]:
    """255 for each cell whose every (or any) channel reaches its raw ``level`` (C,)."""
    join = np.bitwise_and if every else np.bitwise_or
    height, width = (n // frame.pattern.shape[0] for n in frame.mosaic.shape[:2])
    result: NDArray[np.uint8] | None = None
    for c in range(len(frame.channels)):
        views = [v[:height, :width] for v in channel_sites(frame, c)]
        if len(views) == 1:
            reached = _at_least(views[0], float(np.ceil(level[c])))
        else:
            mean = np.asarray(np.mean(views, axis=0, dtype=np.float32))
            reached = _at_least(mean, float(level[c]))
        result = reached if result is None else join(result, reached)
    assert result is not None  # a frame has a channel
    return result


def _at_least(plane: NDArray[np.uint16] | Floats, level: float) -> NDArray[np.uint8]:
    """255 where a plane reaches a level."""
    limit: Any = level  # OpenCV's stubs leave scalars out
    return np.asarray(cv2.compare(np.ascontiguousarray(plane), limit, cv2.CMP_GE), np.uint8)
