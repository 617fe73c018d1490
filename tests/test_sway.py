"""How a pose sways: against motions that are known."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import blurred

from inspector.align import Shift, line_of_light
from inspector.sway import find_sway, moved_to

SIZE = 600
LEVEL = -1.0


def cross(turned: float = 0.0, aside: float = 0.0) -> NDArray[np.float32]:
    """(600, 600) stops of a dark cross before white, turned about its middle, radians."""
    y, x = (np.mgrid[: 4 * SIZE, : 4 * SIZE] + 0.5) / 4 - SIZE / 2
    x = x - aside
    along, across = x * np.cos(turned) + y * np.sin(turned), y * np.cos(turned) - x * np.sin(turned)
    u, v = np.abs(along), np.abs(across)
    fine = np.where(((u < 25) & (v < 220)) | ((v < 25) & (u < 220)), 2.0**-6, 1.0)
    light = fine.reshape(SIZE, 4, SIZE, 4).mean(axis=(1, 3))
    return np.asarray(np.log2(blurred(light, 1.2)), np.float32)


@pytest.mark.parametrize("turned", [0.01, -0.018])
def test_a_turn_about_the_middle_is_found_along_the_limbs(turned: float) -> None:
    here = cross()
    line = line_of_light(here, LEVEL, np.ones(here.shape, bool))
    sway = find_sway(line, here, cross(turned), Shift())
    x, y = (line.points - SIZE / 2).T
    true = np.stack(
        [x * np.cos(turned) - y * np.sin(turned) - x, x * np.sin(turned) + y * np.cos(turned) - y]
    )
    at = line.points.astype(int)
    found = sway[at[:, 1], at[:, 0]]
    misfit = np.abs(((found - true.T) * line.normals).sum(axis=1))
    assert np.percentile(misfit, 95) < 0.3
    assert np.abs((true.T * line.normals).sum(axis=1)).max() > 2


def test_what_moves_as_a_whole_has_that_shift_everywhere() -> None:
    here = cross()
    line = line_of_light(here, LEVEL, np.ones(here.shape, bool))
    sway = find_sway(line, here, cross(aside=3.0), Shift(3.0, 0.0))
    assert sway == pytest.approx(np.broadcast_to([3.0, 0.0], sway.shape), abs=0.1)


def test_where_nothing_is_known_it_is_the_shift_of_the_whole() -> None:
    here = np.zeros((SIZE, SIZE), np.float32)
    line = line_of_light(here, LEVEL, np.ones(here.shape, bool))
    assert (find_sway(line, here, here, Shift(1.0, -2.0)) == [1.0, -2.0]).all()


def test_a_line_that_is_not_found_again_has_the_shift_of_the_whole() -> None:
    here = cross()
    line = line_of_light(here, LEVEL, np.ones(here.shape, bool))
    dark = np.full_like(here, -6)
    assert (find_sway(line, here, dark, Shift(1.0, -2.0)) == [1.0, -2.0]).all()


def test_a_picture_is_read_where_the_sway_leads() -> None:
    rng = np.random.default_rng(3)
    picture = rng.random((40, 50, 2), dtype=np.float32)
    sway = np.zeros((40, 50, 2), np.float32)
    sway[..., 0] = 3
    assert np.array_equal(moved_to(picture, sway)[:, :-3], picture[:, 3:])
