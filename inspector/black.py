"""Black that changes over the sensor, levelled out to one black level a channel."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

Levels = NDArray[np.float64]


def level_black(
    plane: NDArray[np.uint16],
    pattern: NDArray[np.uint8],
    count: int,
    *,
    tile: Levels,
    rows: Levels | None = None,
    columns: Levels | None = None,
) -> Levels:
    """Raise every photosite, in place, to the highest black of its channel; return those blacks.

    The highest, not the mean, because the DNG specification (chapter 5, "Mapping Raw Values to
    Linear Reference Values") rescales by the white level less the maximum black level. Where
    black is the same all over a channel nothing is touched.

    Parameters
    ----------
    plane : (H, W) uint16
        Raw levels. May be a strided view.
    pattern : (ph, pw) uint8
        Channel of each site of the repeating tile, origin at ``plane[0, 0]``.
    count : int
        How many channels there are; each occurs in `pattern`.
    tile : (bh, bw) float64
        Black as a repeating tile, origin at ``plane[0, 0]``.
    rows, columns : (H,) and (W,) float64, optional
        Added to the black of each row and of each column.

    Returns
    -------
    (count,) float64
        Black level per channel, not rounded.
    """
    height = math.lcm(tile.shape[0], pattern.shape[0])
    width = math.lcm(tile.shape[1], pattern.shape[1])
    sites = [(y, x) for y in range(height) for x in range(width)]
    sites = [(y, x) for y, x in sites if plane[y::height, x::width].size]
    maps = {(y, x): _site_black(tile, rows, columns, (y, x), (height, width)) for y, x in sites}
    black = np.full(count, tile.max())
    for c in range(count):
        of_channel = [maps[s].max() for s in sites if _at(pattern, s) == c]
        if of_channel:
            black[c] = max(of_channel)
    for y, x in sites:
        lift = np.rint(black[int(_at(pattern, (y, x)))] - maps[y, x])
        if lift.any():
            view = plane[y::height, x::width]
            view[...] = np.minimum(view + lift, np.iinfo(np.uint16).max)
    return black


def _site_black(
    tile: Levels,
    rows: Levels | None,
    columns: Levels | None,
    site: tuple[int, int],
    step: tuple[int, int],
) -> Levels:
    """Black at every repetition of one site of the tile, in a shape that broadcasts over them."""
    black = np.full((1, 1), _at(tile, site))
    if rows is not None:
        black = black + rows[site[0] :: step[0], None]
    if columns is not None:
        black = black + columns[None, site[1] :: step[1]]
    return black


def _at(tile: NDArray[Any], site: tuple[int, int]) -> float:
    return float(tile[site[0] % tile.shape[0], site[1] % tile.shape[1]])
