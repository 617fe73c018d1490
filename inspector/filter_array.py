"""The colour filter array: which channel lies over each photosite."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from inspector.frame import BAYER, RGB

PROBE = 12
"""Sites along each side by which an array is known: holds the tiles of 2 and of 6 whole times."""


@dataclass(frozen=True, eq=False)
class FilterArray:
    """The repeating tile of filters, or one site where every photosite has the same.

    Attributes
    ----------
    pattern : (ph, pw) uint8
        Index into `channels` of each site of the tile.
    channels : tuple of str
        ``BAYER``, ``RGB`` or ``MONO`` of `inspector.frame`.
    index : (C,) intp
        The decoder's own index of each channel.
    """

    pattern: NDArray[np.uint8]
    channels: tuple[str, ...]
    index: NDArray[np.intp]


def unfiltered(channels: tuple[str, ...]) -> FilterArray:
    """Every channel at every photosite, in the decoder's order."""
    return FilterArray(np.zeros((1, 1), np.uint8), channels, np.arange(len(channels)))


def find_filter_array(probe: NDArray[np.uint8], names: str) -> FilterArray | None:
    """Know a Bayer or X-Trans array by a corner of it; None if it is neither.

    Parameters
    ----------
    probe : (PROBE, PROBE) uint8
        The decoder's colour index at each site, from the corner of the visible area.
    names : str
        The letter of each index, as ``RGBG``.
    """
    tile = _repeating_tile(probe)
    if tile.max() >= len(names):
        return None
    letters = np.array(list(names))[tile]
    if tile.shape == (6, 6) and set(letters.flat) == set(RGB):
        return _filter_array(tile, letters, RGB)
    if tile.shape == (2, 2):
        greens = np.where((letters == "R").any(axis=1, keepdims=True), "G1", "G2")
        letters = np.where(letters == "G", greens, letters)
        if set(letters.flat) == set(BAYER):
            return _filter_array(tile, letters, BAYER)
    return None


def _repeating_tile(probe: NDArray[np.uint8]) -> NDArray[np.uint8]:
    for n in (2, 6):
        if np.array_equal(np.tile(probe[:n, :n], (PROBE // n, PROBE // n)), probe):
            return probe[:n, :n]
    return probe


def _filter_array(
    tile: NDArray[np.uint8], letters: NDArray[np.str_], channels: tuple[str, ...]
) -> FilterArray:
    pattern = np.vectorize(channels.index, otypes=[np.uint8])(letters)
    index = np.array([tile[pattern == c][0] for c in range(len(channels))], np.intp)
    return FilterArray(pattern, channels, index)
