"""By how many stops a frame is darker than another of its pose, read from light alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import CAMERA, NOISY, blurred, frame_of_light, stated

from inspector.darker import stops_darker
from inspector.levels import Levels, measure_levels
from inspector.simulate.camera import Camera

WARM = np.array([1.06, 1.0, 0.95], np.float32)
"""A diffuser that has yellowed."""


def levels_of(light: NDArray[np.floating], camera: Camera = CAMERA, *, seed: int = 1) -> Levels:
    frame = frame_of_light(light, camera, seed=seed)
    return measure_levels(frame, clip=stated(frame))


def set_of_light(over: float, *, subject: float, at: int = 120) -> NDArray[np.float32]:
    """(240, 320, 3) a warm backdrop so many stops over white, and somebody before it."""
    light = np.full((240, 320), 2.0**over, np.float32)
    light[60:240, at : at + 80] = 2.0**subject
    return blurred(light)[..., None] * WARM


@pytest.mark.parametrize("stops", [0.7, 1.0, 2.0, 3.0])
@pytest.mark.parametrize("over", [-1.5, -0.2, 0.4, 0.8])
def test_a_tint_over_white_does_not_count_for_light(over: float, stops: float) -> None:
    """Green is gone from 0 stops: red, and up to 0.58 blue, is compared with itself."""
    light = set_of_light(over, subject=-5)
    told = stops_darker(levels_of(light), levels_of(light * 2.0**-stops))
    assert told == pytest.approx(stops, abs=0.002)


@pytest.mark.parametrize("over", [1.2, 1.6, 3.0])
def test_a_subject_alone_tells_where_every_channel_of_the_backdrop_has_clipped(over: float) -> None:
    light = set_of_light(over, subject=-5)
    told = stops_darker(levels_of(light), levels_of(light / 4))
    assert told == pytest.approx(2, abs=0.01)


@pytest.mark.parametrize("over", [0.5, 2.0])
def test_a_step_aside_does_not_matter(over: float) -> None:
    light, aside = (set_of_light(over, subject=-5, at=at) for at in (120, 123))
    told = stops_darker(levels_of(light), levels_of(aside / 4))
    assert told == pytest.approx(2, abs=0.01)


@pytest.mark.parametrize("over", [0.4, 0.8, 2.0])
def test_noise_does_not_move_it(over: float) -> None:
    noisy = replace(NOISY, full_well_e=3000, read_noise_e=4)
    light = set_of_light(over, subject=-4.5)
    told = stops_darker(levels_of(light, noisy), levels_of(light / 4, noisy, seed=2))
    assert told == pytest.approx(2, abs=0.02)


def test_light_that_has_changed_place_is_no_darker_frame() -> None:
    light = set_of_light(-0.5, subject=-5)
    slope = 2.0 ** np.linspace(-3, 0, 320, dtype=np.float32)[None, :, None]
    assert stops_darker(levels_of(light), levels_of(light * slope)) is None


def test_a_brighter_frame_is_not_darker() -> None:
    light = set_of_light(-2.0, subject=-5)
    assert stops_darker(levels_of(light), levels_of(light * 2)) is None


def test_where_nothing_responds_nothing_is_told() -> None:
    white = np.full((240, 320, 3), 8.0, np.float32)
    assert stops_darker(levels_of(white), levels_of(white)) is None
