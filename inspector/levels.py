"""From raw levels to stops: clip levels, the ceiling, and the working picture."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Points
from inspector.clip import Clip, Peak, find_peak, find_pile_up
from inspector.frame import Frame, as_stored
from inspector.mosaic import block_means, cell_fraction, channel_histogram, tile_sizes
from inspector.stripes import at_once, stripes
from inspector.wide_pile_up import WITHIN, wide_pile_ups

WHITE = 0.98
"""Rendered level from which a channel develops to 255 (contract: paper white)."""
RESPONDS = 0.965
"""Highest part of its range at which a channel's block mean is trusted: above it noise clips."""
FLOOR_EV = -12.0
"""Stops under white below which a reading is all noise."""
WORKING_SIDE = 1000
"""Long side to which that of the working picture comes nearest, working pixels."""


@dataclass(frozen=True, eq=False)
class Under:
    """A darker frame of the same pose, laid under this one.

    ``shift`` (h, w, 2) is where it has a place of this frame, less where this frame has it, x, y
    in working pixels; ``stops`` by how much it is darker.
    """

    levels: Levels
    shift: Floats
    stops: float

    def at(self, points: Points) -> Points:
        """(N, 2) where the darker frame has points of this frame, viewed pixels."""
        near = self.levels.from_view(points)
        height, width = self.shift.shape[:2]
        x, y = near.astype(int).T
        moved = self.shift[y.clip(0, height - 1), x.clip(0, width - 1)]
        return np.asarray(points + moved * self.levels.scale, np.float64)


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
    tint : ndarray, float64
        (C,) level of each channel over that of green, by which ``ev`` was read; ones unless the
        light has a plain cast.
    white, blown : ndarray, float32
        (h, w) fraction of each working pixel's cells that are paper white, blown.
    """

    frame: Frame
    clip: Clip
    ceiling_ev: float
    scale: int
    origin: tuple[int, int]
    rendered: Floats
    top: NDArray[np.float64]
    ev: Floats
    tint: NDArray[np.float64]
    white: Floats
    blown: Floats
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
    block, _ = tile_sizes(frame)
    height, width = frame.mosaic.shape[:2]
    factor = max(1, round(max(height, width) / (block * WORKING_SIDE)))
    scale = block * factor
    left_over, turn = (width % scale, height % scale), frame.orientation
    shape = (height // scale, width // scale) if turn < 5 else (width // scale, height // scale)
    rendered = np.empty((*shape, len(frame.channels)), np.float32)
    ev, white, blown = (np.empty(shape, np.float32) for _ in range(3))
    stored = [as_stored(picture, turn) for picture in (rendered, ev, white, blown)]

    def fill(stripe: tuple[slice, Frame]) -> None:
        rows, part = stripe
        for picture, measured in zip(stored, _pictures(part, clip, scale), strict=True):
            picture[rows] = measured

    at_once(fill, stripes(frame, scale))
    return Levels(
        frame=frame,
        clip=clip,
        ceiling_ev=float(np.log2(frame.gains.max())),
        scale=scale,
        origin=_origin(left_over, turn),
        rendered=rendered,
        top=frame.gains,
        ev=ev,
        tint=np.ones(len(frame.channels)),
        white=white,
        blown=blown,
    )


def _pictures(frame: Frame, clip: Clip, scale: int) -> tuple[Floats, Floats, Floats, Floats]:
    """Rendered levels, stops, white and blown shares of a frame's squares, not yet turned."""
    size = (frame.mosaic.shape[1] // scale, frame.mosaic.shape[0] // scale)
    span = clip.level - frame.black
    planes = block_means(frame, scale, size)
    planes -= frame.black.astype(np.float32)[:, None, None]
    planes *= (frame.gains / span).astype(np.float32)[:, None, None]
    white = cell_fraction(frame, frame.black + WHITE * span / frame.gains, scale, size)
    blown = np.zeros_like(white)
    if white.any():  # no gain is less than 1: what is blown is white
        blown = cell_fraction(frame, frame.black + WHITE * span, scale, size)
    ev = stops(np.moveaxis(planes, 0, -1), frame.gains, frame.channels)
    rendered = cv2.merge(tuple(planes)).reshape(*ev.shape, -1)
    return np.asarray(rendered, np.float32), ev, white, blown


def measure_clip(frame: Frame) -> Clip:
    """Clip level of each channel: its pile-up if it has one, else what the metadata states.

    Where other channels show the stated level to be off, it is off alike for those without a
    pile-up: the converter behind them is the same.
    """
    black, stated = frame.black, frame.stated_clip.astype(np.float64)
    tops = at_once(partial(_top_of_histogram, frame), range(stated.size))
    highest, pile_up = np.array([top[:2] for top in tops]).T
    pile_up = np.fmax(pile_up, wide_pile_ups(frame, [peak for *_, peak in tops], pile_up))
    measured = ~np.isnan(pile_up)
    level = np.where(measured, pile_up, stated)
    if measured.any():
        off = np.median((level - black)[measured] / (stated - black)[measured])
        level = np.where(measured, level, black + (stated - black) * off)
    # Sites above the level prove it too low.
    return Clip(np.where(measured, level, np.maximum(level, highest)), measured)


def _top_of_histogram(frame: Frame, channel: int) -> tuple[int, float, Peak | None]:
    """The highest level of a channel, its pile-up, NaN where there is none, and any wider peak."""
    histogram = channel_histogram(frame, channel)
    highest = histogram.size - 1 - int(np.argmax(histogram[::-1] > 0))
    black, stated = float(frame.black[channel]), float(frame.stated_clip[channel])
    found = find_pile_up(histogram, black=black, stated=stated)
    if found is not None:
        return highest, found, None
    return highest, np.nan, find_peak(histogram, black=black, stated=stated, within=WITHIN)


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
    ceiling = np.float32(top.max())
    green = [c for c, name in enumerate(channels) if name[0] in "GL"]
    rest = [c for c in range(len(channels)) if c not in green]
    best, told = _mean_of_responding(rendered, green, top, tint)
    if not told.all():
        by_rest, heard = _mean_of_responding(rendered, rest, top, tint)
        np.copyto(by_rest, ceiling, where=~heard)
        np.copyto(best, by_rest, where=~told)
    np.clip(best, 2.0**FLOOR_EV, ceiling, out=best)
    return np.log2(best, out=best)


def _mean_of_responding(
    rendered: Floats, chosen: list[int], top: NDArray[np.float64], tint: NDArray[np.float64]
) -> tuple[Floats, NDArray[np.bool_]]:
    """Mean level over the chosen channels that respond, and where any of them does."""
    total = np.zeros(rendered.shape[:-1], np.float32)
    count = np.zeros(rendered.shape[:-1], np.float32)
    for c in chosen:
        level = rendered[..., c]
        responds = np.less(level, np.float32(RESPONDS * top[c])).astype(np.float32)
        count += responds
        total += level * responds / np.float32(tint[c])
    return np.asarray(total / np.maximum(count, 1), np.float32), count > 0


def _origin(left_over: tuple[int, int], orientation: int) -> tuple[int, int]:
    """Where the working picture starts, once the rest that fills no block is turned along."""
    dx, dy = left_over if orientation < 5 else left_over[::-1]
    x0 = dx if orientation in (2, 3, 6, 7) else 0
    y0 = dy if orientation in (3, 4, 7, 8) else 0
    return x0, y0
