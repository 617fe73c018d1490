"""One frame laid on another by a line of light."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from inspector.align import LEAST_POINTS, find_shift, line_of_light, plate_shift

SIZE = (200, 140)
LEVEL = -1.5


def softbox(x: float = 0, y: float = 0) -> NDArray[np.float32]:
    """(h, w) stops of a face with soft borders, 0.3 over white, moved by x and y pixels."""
    v, u = np.mgrid[0 : SIZE[1], 0 : SIZE[0]] + 0.5
    across = np.maximum(np.abs(u - 100 - x) - 60, np.abs(v - 70 - y) - 40)
    return np.asarray(0.3 - 6 / (1 + np.exp(-across)), np.float32)


def everywhere() -> NDArray[np.bool_]:
    return np.ones(SIZE[::-1], bool)


def test_the_line_lies_where_the_light_passes_the_level_and_looks_downhill() -> None:
    line = line_of_light(softbox(), LEVEL, everywhere())
    points, normals = line.points, line.normals
    away = np.maximum(np.abs(points[:, 0] - 100) - 60, np.abs(points[:, 1] - 70) - 40)
    assert np.abs(away).max() < 1.6  # the last pixel that is bright enough
    assert np.allclose(np.hypot(*normals.T), 1)
    outwards = points + 5 * normals
    assert (np.hypot(*(outwards - [100, 70]).T) > np.hypot(*(points - [100, 70]).T)).all()


def test_the_line_keeps_to_a_zone() -> None:
    left = everywhere()
    left[:, 100:] = False
    line = line_of_light(softbox(), LEVEL, left)
    assert line.points[:, 0].max() <= 100


@settings(max_examples=40)
@given(x=st.floats(-8, 8), y=st.floats(-8, 8))
def test_any_shift_within_reach_is_found(x: float, y: float) -> None:
    here, there = softbox(), softbox(x, y)
    line = line_of_light(here, LEVEL, everywhere())
    shift = find_shift(line, here, there, reach=12)
    assert shift is not None
    assert (shift.x, shift.y) == pytest.approx((x, y), abs=0.1)


@settings(max_examples=20)
@given(x=st.floats(-5, 5), y=st.floats(-5, 5), seed=st.integers(0, 1000))
def test_a_third_of_the_line_hidden_by_a_sitter_does_not_matter(
    x: float, y: float, seed: int
) -> None:
    here, there = softbox(), softbox(x, y)
    rng = np.random.default_rng(seed)
    left = int(rng.integers(40, 120))
    there[60:, left : left + 40] = -6
    line = line_of_light(here, LEVEL, everywhere())
    shift = find_shift(line, here, there, reach=10)
    assert shift is not None
    assert (shift.x, shift.y) == pytest.approx((x, y), abs=0.25)


def bust(x: float, y: float, *, larger: float = 0.0) -> NDArray[np.float32]:
    """(h, w) stops before a bright wall of a head that runs out of the picture at the bottom."""
    v, u = np.mgrid[0 : SIZE[1], 0 : SIZE[0]] + 0.5
    inside = 40 + larger - np.hypot(u - 100 - x, np.minimum(v - 80 - y, 0))
    return np.asarray(0.3 - 6 / (1 + np.exp(-inside)), np.float32)


@settings(max_examples=20)
@given(x=st.floats(-4, 4), y=st.floats(-4, 4), larger=st.floats(-0.8, 0.8))
def test_a_line_further_out_all_around_is_no_shift(x: float, y: float, larger: float) -> None:
    """Clipped light puts the line elsewhere; of a bust only one end of it would show that."""
    here, there = bust(0, 0), bust(x, y, larger=larger)
    line = line_of_light(here, LEVEL, everywhere())
    shift = find_shift(line, here, there, reach=10)
    assert shift is not None
    assert (shift.x, shift.y) == pytest.approx((x, y), abs=0.1)


def test_a_move_there_and_back_is_none() -> None:
    one, other = softbox(), softbox(3.4, -2.2)
    there = find_shift(line_of_light(one, LEVEL, everywhere()), one, other, reach=8)
    back = find_shift(line_of_light(other, LEVEL, everywhere()), other, one, reach=8)
    assert there is not None
    assert back is not None
    assert (there.x + back.x, there.y + back.y) == pytest.approx((0, 0), abs=0.05)


def test_the_misfit_is_small_where_the_shape_is_the_same_and_grows_where_it_is_not() -> None:
    here = softbox()
    line = line_of_light(here, LEVEL, everywhere())
    same = find_shift(line, here, softbox(2, 1), reach=8)
    v, u = np.mgrid[0 : SIZE[1], 0 : SIZE[0]] + 0.5
    ball = np.hypot(u - 100, (v - 70) * 1.3) - 58
    other = np.asarray(0.3 - 6 / (1 + np.exp(-ball)), np.float32)
    changed = find_shift(line, here, other, reach=14)
    assert same is not None
    assert same.spread < 0.2
    assert changed is None or changed.spread > 1


def test_too_little_of_a_line_is_no_shift() -> None:
    here = softbox()
    line = line_of_light(here, LEVEL, everywhere())
    few = everywhere()
    few[50:], few[:, 45:] = False, False
    assert 0 < len(line.within(few).points) < LEAST_POINTS
    assert find_shift(line.within(few), here, here, reach=8) is None
    dark = np.full_like(here, -6)
    assert find_shift(line, here, dark, reach=8) is None
    assert len(line_of_light(dark, LEVEL, everywhere()).points) == 0


@pytest.mark.parametrize(("x", "y"), [(3.0, 2.0), (-2.5, 1.0), (4.0, -3.0)])
def test_a_plate_that_runs_out_of_the_picture_is_aligned_by_its_joints(x: float, y: float) -> None:
    """Two softboxes that end below only; two pixels of their joint are just under white."""

    def boxes(x: float, y: float) -> NDArray[np.float32]:
        v, u = np.mgrid[0 : SIZE[1], 0 : SIZE[0]] + 0.5
        joint = 0.85 * np.exp(-(((u - 90 - x) / 1.2) ** 2))
        return np.asarray(0.5 - joint - 6 / (1 + np.exp(-(v - 120 - y))), np.float32)

    plate, frame = boxes(0, 0), boxes(x, y)
    frame[40:, 50:80] = -5  # a sitter
    found = plate_shift(plate, frame, plate > -1)
    assert found == pytest.approx((x, y), abs=0.2)
