"""The overlap by which zones are judged in these tests, on shapes whose overlap is known.

Intersection over union: P. Jaccard, 1901. Concentric discs of radius 50 and 51: 2500 / 2601.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from plain import disc, iou, overlap
from scipy.spatial.distance import jaccard

from inspector.zones import BACKDROP, SUBJECT, SURROUND

MASKS = arrays(np.bool_, (6, 7))


def test_concentric_discs() -> None:
    one, other = (disc((240, 240), (120, 120), r) for r in (50, 51))
    assert iou(one, other) == pytest.approx(0.9612, abs=2e-3)


def test_a_disc_moved_by_its_radius() -> None:
    """Two circles a radius apart share 2π/3 - √3/2 of a squared radius, worked out."""
    one, other = (disc((400, 240), (x, 120), 80) for x in (160, 240))
    shared = 2 * np.pi / 3 - np.sqrt(3) / 2
    assert iou(one, other) == pytest.approx(shared / (2 * np.pi - shared), abs=2e-3)


@given(one=MASKS, other=MASKS)
def test_scipys_jaccard_distance_is_what_is_missing(
    one: NDArray[np.bool_], other: NDArray[np.bool_]
) -> None:
    expected = 1 - jaccard(one.ravel(), other.ravel()) if (one | other).any() else 1.0
    assert iou(one, other) == pytest.approx(expected)
    assert iou(one, other) == iou(other, one)


def test_zones_are_compared_one_by_one() -> None:
    one = np.array([[SURROUND, BACKDROP, BACKDROP, SUBJECT]], np.uint8)
    other = np.array([[SURROUND, BACKDROP, SUBJECT, SUBJECT]], np.uint8)
    assert overlap(one, other) == (0.5, 0.5)
