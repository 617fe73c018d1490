"""The filter array, by a corner of the decoder's colour index."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from inspector.filter_array import PROBE, find_filter_array
from inspector.frame import BAYER, RGB
from inspector.simulate.camera import PATTERNS


def probe_of(tile: object) -> NDArray[np.uint8]:
    tile = np.array(tile, np.uint8)
    return np.tile(tile, (PROBE // len(tile), PROBE // len(tile)))


def test_greens_are_named_by_their_rows_whatever_the_decoder_calls_them() -> None:
    """One index for both greens, or one each in either order: G1 lies beside red."""
    for tile in (((2, 1), (1, 0)), ((2, 1), (3, 0)), ((2, 3), (1, 0))):
        found = find_filter_array(probe_of(tile), "RGBG")
        assert found is not None
        assert found.channels == BAYER
        assert found.pattern.tolist() == [[3, 2], [1, 0]]
        assert found.index.tolist() == [0, tile[1][0], tile[0][1], 2]


def test_x_trans_keeps_its_one_green() -> None:
    found = find_filter_array(probe_of(PATTERNS["X-Trans"]), "RGBG")
    assert found is not None
    assert found.channels == RGB
    assert found.pattern.tolist() == [list(row) for row in PATTERNS["X-Trans"]]
    assert found.index.tolist() == [0, 1, 2]


@pytest.mark.parametrize(
    "tile",
    [
        ((0, 0), (1, 2)),
        ((0, 1), (2, 2)),
        ((0, 1), (1, 6)),
        ((0, 0, 1, 1), (0, 0, 1, 1), (1, 1, 2, 2), (1, 1, 2, 2)),
    ],
    ids=["red beside red", "one green", "an index without a name", "quad"],
)
def test_any_other_array_is_none(tile: object) -> None:
    assert find_filter_array(probe_of(tile), "RGBG") is None
