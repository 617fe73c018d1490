"""Values taken from a picture by a mask."""

from __future__ import annotations

import numpy as np

from inspector.arrays import ENOUGH_PIXELS, median_of, share_of, some, without_specks

MASK = np.array([[True, False, True], [True, True, True]])
PICTURE = np.arange(6, dtype=np.float32).reshape(2, 3)


def test_a_few_values_are_all_taken_in_order() -> None:
    assert some(PICTURE, MASK, most=3).tolist() == [0, 2, 3, 4, 5]


def test_of_many_values_every_so_many_th_is_taken() -> None:
    assert some(PICTURE, MASK, most=2).tolist() == [0, 3, 5]


def test_channels_stay_together() -> None:
    channels = np.stack((PICTURE, -PICTURE), axis=-1)
    assert some(channels, MASK, most=2).tolist() == [[0, 0], [3, -3], [5, -5]]


def test_the_median_of_a_small_mask_is_exact() -> None:
    assert median_of(PICTURE, MASK) == 3


def test_the_median_of_a_large_mask_is_close() -> None:
    side = int(np.sqrt(5 * ENOUGH_PIXELS))
    picture = np.random.default_rng(1).normal(-5, 1, (side, side)).astype(np.float32)
    assert abs(median_of(picture, picture < 0) - np.median(picture)) < 0.01


def test_the_share_of_a_mask() -> None:
    assert share_of(MASK) == 5 / 6


def test_specks_are_parts_of_few_pixels_corners_joined() -> None:
    mask = np.array([[1, 0, 0, 1], [0, 1, 0, 0], [0, 0, 1, 0]], bool)
    assert without_specks(mask, 3).tolist() == [
        [True, False, False, False],
        [False, True, False, False],
        [False, False, True, False],
    ]
    assert not without_specks(mask, 4).any()
