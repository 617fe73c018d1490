"""Seams and joints of the backdrop beside the subject, whose line goes on beyond it."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, frame_of_light

from inspector.edge import Edge, measure_edge
from inspector.levels import measure_levels
from inspector.seam import goes_on
from inspector.zones import find_zones

HEIGHT, WIDTH = 200, 160
ENDS = np.stack([np.full(30, 80.0), np.arange(90.0, 120.0)], axis=1)
"""Where light begins to differ: a line down the middle, working pixels."""
WALL, DARK = 2.0**0.5, 2.0**-5


def lit(*, aside: float = 0.0, turned: float = 0.0, noise: float = 0.02) -> NDArray[np.float32]:
    """(h, w) light of a backdrop a tenth of a stop brighter on the right of a line.

    The subject is right of the middle, halfway down: there nothing is known of the backdrop.
    """
    y, x = np.mgrid[:HEIGHT, :WIDTH] + 0.5
    right = (x - 80 - aside) - np.tan(np.radians(turned)) * (y - 105) > 0
    light = np.where(right, 0.1, 0.0) + np.random.default_rng(7).normal(0, noise, x.shape)
    light[85:125, 82:] = np.nan
    return np.asarray(light, np.float32)


@pytest.mark.parametrize("turned", [0.0, 3.0, -6.0])
@pytest.mark.parametrize("noise", [0.005, 0.05])
def test_a_step_that_goes_on_beyond_the_run_is_a_seam(turned: float, noise: float) -> None:
    assert goes_on(lit(turned=turned, noise=noise), ENDS)


@pytest.mark.parametrize(
    "light",
    [
        lit(aside=30.0),
        lit(turned=40.0),
        np.zeros((HEIGHT, WIDTH), np.float32),
        lit(aside=500.0, noise=0.1),
        np.full((HEIGHT, WIDTH), np.nan, np.float32),
    ],
    ids=["further off", "across", "even", "noise", "nothing in sight"],
)
def test_what_is_not_on_its_line_is_none(light: NDArray[np.float32]) -> None:
    assert not goes_on(light, ENDS)


def test_a_run_too_short_to_have_a_direction_is_not_judged() -> None:
    assert not goes_on(lit(), ENDS[:6])


def test_a_run_from_border_to_border_leaves_nothing_to_look_at() -> None:
    """All of its line beyond lies outside the picture."""
    ends = np.stack([np.full(HEIGHT, 80.0), np.arange(HEIGHT)], axis=1)
    assert not goes_on(lit(), ends)


def beside_a_joint(step: float) -> Edge:
    """The edge of a post before two lights that meet six pixels left of it."""
    y, x = np.mgrid[:500, :600] + 0.5
    post = (np.abs(x - 360) < 60) & (np.abs(y - 250) < 130)
    wall = np.where(x > 294, WALL * step, WALL)
    levels = measure_levels(frame_of_light(blurred(np.where(post, DARK, wall), 1.1), NOISY))
    return measure_edge(levels, find_zones(levels), hot_spot_area=0.0002)


@pytest.mark.parametrize("step", [1.12, 1.2])
def test_the_joint_of_two_softboxes_beside_a_limb_is_no_sure_spill(step: float) -> None:
    edge = beside_a_joint(step)
    assert edge.spill_fraction == 0
    assert any(not run.sure for run in edge.spill)
