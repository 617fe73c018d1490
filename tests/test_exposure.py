"""Backdrop, depth, veil and exposure window, on light given as numbers and on photographed sets."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import sets
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from plain import NOISY, blurred, disc, frame_of_light, held

from inspector.exposure import Exposure, Window
from inspector.frame import Frame
from inspector.inspect import inspect
from inspector.simulate import Light, Scene

SIZE = (600, 400)
BALL = disc(SIZE, (300, 200), 90)


def exposure_of(frame: Frame) -> Exposure:
    return inspect(frame).exposure


def ball(*, wall_ev: float = 0.4, subject_ev: float = -5.0, tint: float = 1.0) -> Frame:
    """A ball before a wall; ``tint`` is the wall's red over its green."""
    planes = [
        blurred(np.where(BALL, 2.0**subject_ev, 2.0**wall_ev * f)) for f in (tint, 1, 1 / tint)
    ]
    return frame_of_light(np.stack(planes, axis=-1), NOISY)


@pytest.mark.parametrize("wall_ev", [-2.0, -0.6, -0.1, 0.2, 0.5, 0.8])
def test_the_backdrops_stops_are_told_up_to_the_ceiling(wall_ev: float) -> None:
    x = exposure_of(ball(wall_ev=wall_ev))
    within = 0.03 if wall_ev < 0 else 0.1  # green's own reading, or red's and blue's
    assert x.ev_p1 == pytest.approx(wall_ev, abs=within)
    assert x.ev_p50 == pytest.approx(wall_ev, abs=within)
    assert x.ev_p99 == pytest.approx(wall_ev, abs=within)


@pytest.mark.parametrize("wall_ev", [-0.6, -0.1])
def test_noise_does_not_widen_the_backdrops_stops(wall_ev: float) -> None:
    """One working pixel in a hundred reads 0.06 stop too low, and one too high."""
    grainy = replace(NOISY, full_well_e=2_000)
    x = exposure_of(frame_of_light(np.full(SIZE[::-1], 2.0**wall_ev), grainy))
    assert (x.ev_p1, x.ev_p50, x.ev_p99) == pytest.approx((wall_ev,) * 3, abs=0.035)


def test_the_dark_lines_of_a_grid_count_as_what_they_are() -> None:
    """They take up an eighth of the wall, and are half a stop darker than it."""
    x, y = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    lines = (x % 32 < 2) | (y % 32 < 2)
    grid = exposure_of(frame_of_light(np.where(lines, 2.0**-0.7, 2.0**-0.2), NOISY))
    assert grid.ev_p1 == pytest.approx(-0.7, abs=0.03)


@pytest.mark.parametrize("wall_ev", [1.3, 2.0, 4.0])
def test_above_the_ceiling_no_more_is_claimed(wall_ev: float) -> None:
    x = exposure_of(ball(wall_ev=wall_ev))
    assert (x.ev_p1, x.ev_p50, x.ev_p99) == (1, 1, 1)
    assert x.blown_fraction == pytest.approx(1, abs=0.02)
    assert x.veil_is == "at_most"
    assert x.window.low_is == "at_most"


@pytest.mark.parametrize("tint", [0.94, 1.06])
def test_a_wall_that_is_not_quite_neutral_is_read_through_its_own_tint(tint: float) -> None:
    """Learned where nothing clips, so green's stops are told beyond green's clip."""
    assert exposure_of(ball(wall_ev=-0.5, tint=tint)).ev_p50 == pytest.approx(-0.5, abs=0.02)
    assert exposure_of(ball(wall_ev=0.5, tint=tint)).ev_p50 == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize(("wall_ev", "white"), [(0.1, 1.0), (-0.1, 0.0)])
def test_all_of_an_even_wall_is_white_or_none(wall_ev: float, white: float) -> None:
    x = exposure_of(ball(wall_ev=wall_ev))
    assert x.white_fraction == pytest.approx(white, abs=1e-3)
    assert x.blown_fraction == 0


def test_the_short_side_of_a_wall_is_counted_and_named() -> None:
    """Light falls from 1.3 on the left to 0.7 on the right: paper white ends at x = 320."""
    light = np.broadcast_to(1.3 - 0.6 * (np.arange(600) + 0.5) / 600, SIZE[::-1])
    x = exposure_of(frame_of_light(light, NOISY))
    assert x.white_fraction == pytest.approx(320 / 600, abs=0.01)
    (region,) = x.short_regions
    assert region.where == "right"
    assert region.ev == pytest.approx(np.log2((0.98 + 0.7) / 2), abs=0.02)
    assert region.area_px == pytest.approx(280 * 400, rel=0.02)
    assert region.box == pytest.approx((320, 0, 600, 400), abs=8)


def test_a_short_corner_is_named_as_the_picture_is_viewed() -> None:
    for orientation in range(1, 9):
        frame, _ = sets.photographed(sets.SHORT_CORNER)
        regions = exposure_of(held(frame, orientation)).short_regions
        assert [r.where for r in regions] == ["upper left"]


@pytest.mark.parametrize("depth", [2.0, 3.5, 5.0, 6.5])
def test_depth_is_the_subjects_stops_under_white(depth: float) -> None:
    x = exposure_of(ball(subject_ev=-depth))
    assert x.depth_ev == pytest.approx(depth, abs=0.05)
    assert x.subject_area == pytest.approx(BALL.mean(), rel=0.03)
    assert x.backdrop_area == pytest.approx(1 - BALL.mean(), rel=0.01)


@pytest.mark.parametrize("depth", [3.2, 5.0])
def test_the_subject_stands_as_many_stops_as_it_is_darker_than_its_look_asks_for(
    depth: float,
) -> None:
    """Exposed again with just that change, a silhouette is four stops under white."""
    change = exposure_of(ball(subject_ev=-depth, wall_ev=-0.6)).window.subject_high_ev
    assert change is not None
    assert change == pytest.approx(depth - 4, abs=0.05)
    again = exposure_of(ball(subject_ev=-depth + change, wall_ev=-0.6 + change))
    assert again.depth_ev == pytest.approx(4, abs=0.05)


def test_depth_does_not_count_the_edges_own_ramp() -> None:
    """A ball that is lit at its rim only."""
    y, x = np.mgrid[0:400, 0:600] + 0.5
    inside = 90 - np.hypot(x - 300, y - 200)
    light = np.where(BALL, 2.0**-6 + 0.5 * np.exp(-np.maximum(inside, 0) / 1.5), 1.3)
    found = exposure_of(frame_of_light(blurred(light), NOISY)).depth_ev
    assert found == pytest.approx(6, abs=0.1)


@pytest.mark.parametrize(("wall_ev", "depth"), [(0.4, 5.0), (0.8, 3.0), (-0.5, 4.0)])
def test_veil_is_core_over_backdrop(wall_ev: float, depth: float) -> None:
    x = exposure_of(ball(wall_ev=wall_ev, subject_ev=-depth))
    assert x.veil_is == "exact"
    assert x.veil_fraction == pytest.approx(2.0 ** (-depth - wall_ev), rel=0.05)


@pytest.mark.parametrize(("left", "right", "sign"), [(-2.0, None, 1), (None, -2.0, -1)])
def test_the_brighter_side_is_told(left: float | None, right: float | None, sign: int) -> None:
    light = Light(front_ev=-6, left_ev=left, right_ev=right)
    side = sets.seen(replace(sets.CLEAN, light=light)).exposure.side_ev
    assert side is not None
    assert side * sign > 0.5


def test_without_a_subject_nothing_is_said_of_one() -> None:
    x = exposure_of(frame_of_light(np.full(SIZE[::-1], 1.3), NOISY))
    assert x.subject_area == 0
    assert (x.depth_ev, x.side_ev, x.veil_fraction, x.veil_is) == (None, None, None, None)
    assert (x.window.high_ev, x.window.high_is) == (None, None)
    assert x.window.low_ev == pytest.approx(np.log2(0.98 / 1.3), abs=0.03)


def test_without_a_backdrop_nothing_is_said_at_all() -> None:
    for scene in (sets.MISFIRE, sets.NO_BACKDROP):
        x = sets.seen(scene).exposure
        assert (x.white_fraction, x.blown_fraction) == (None, None)
        assert (x.ev_p1, x.ev_p50, x.ev_p99) == (None, None, None)
        assert (x.depth_ev, x.veil_fraction) == (None, None)
        assert x.window == Window()
        assert x.brightest_ev is not None


@pytest.mark.parametrize("scene", [sets.CLEAN, sets.WALL, sets.LIT, sets.FILLED, sets.SHORT_CORNER])
def test_the_window_of_photographed_sets(scene: Scene) -> None:
    window, (_, truth) = sets.seen(scene).exposure.window, sets.photographed(scene)
    assert window.low_ev == pytest.approx(truth.window_low_ev, abs=0.1)
    assert window.high_ev == pytest.approx(truth.window_high_ev, abs=1 / 6)
    assert (window.low_is, window.high_is) == ("exact", "exact")


@pytest.mark.parametrize("scene", [sets.CLEAN, sets.SHORT, sets.LIT])
def test_the_window_moves_with_the_exposure(scene: Scene) -> None:
    """Light is linear: the frame as it is foretells the one a third of a stop darker."""
    now, darker = (sets.seen(scene, ev=ev).exposure.window for ev in (0.0, -1 / 3))
    assert now.low_ev is not None
    assert now.high_ev is not None
    assert darker.low_ev == pytest.approx(now.low_ev + 1 / 3, abs=0.1)
    assert darker.high_ev == pytest.approx(now.high_ev + 1 / 3, abs=0.15)


@pytest.mark.parametrize("scene", [sets.CLEAN, sets.WALL])
def test_the_backdrop_passes_down_to_the_low_end_and_no_further(scene: Scene) -> None:
    low = sets.seen(scene).exposure.window.low_ev
    assert low is not None
    above = sets.seen(scene, ev=low + 0.08).exposure.white_fraction
    below = sets.seen(scene, ev=low - 0.08).exposure.white_fraction
    assert above is not None
    assert below is not None
    assert below < 0.995 <= above


@pytest.mark.parametrize("scene", [sets.CLEAN, sets.WALL, sets.PLATE, sets.LIT, sets.FILLED])
def test_zero_lies_inside_the_window_where_backdrop_and_edge_pass(scene: Scene) -> None:
    window = sets.seen(scene).exposure.window
    assert window.low_ev is not None
    assert window.low_ev <= 0
    assert window.high_ev is None or window.high_ev >= 0


@pytest.mark.parametrize("scene", [sets.SHORT, sets.SHORT_CORNER])
def test_zero_lies_below_the_window_of_a_short_backdrop(scene: Scene) -> None:
    low = sets.seen(scene).exposure.window.low_ev
    assert low is not None
    assert low > 0


def test_zero_lies_above_the_window_of_an_edge_that_spills() -> None:
    high = sets.seen(sets.SPILT).exposure.window.high_ev
    assert high is not None
    assert high < 0


@settings(max_examples=10)
@given(steps=st.lists(st.floats(0.02, 0.5), min_size=1, max_size=3))
def test_raising_an_exposure_never_lowers_the_white_fraction(steps: list[float]) -> None:
    y, x = np.mgrid[0:400, 0:600] + 0.5
    wall: NDArray[np.float64] = 2.0 ** (-1.4 + 1.6 * x / 600 - 0.3 * y / 400)
    light = blurred(np.where(BALL, 2.0**-6, wall))
    fractions = [
        exposure_of(frame_of_light(light * 2**ev, NOISY)).white_fraction
        for ev in np.cumsum([0.6, *steps])
    ]
    assert all(f is not None for f in fractions)
    assert np.all(np.diff(np.array(fractions, float)) >= -0.002)
