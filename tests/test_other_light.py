"""A light that was turned down while other light on the subject stayed as it was."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, frame_of_light

from inspector.align import Shift
from inspector.levels import Levels, measure_levels
from inspector.other_light import stops_turned_down
from inspector.under import lay_under
from inspector.zones import find_zones

SIZE = 640
OVER = 2.0
"""Stops over white of the wall: every channel of it has clipped."""
DARK = 2.0**-6


def levels_of(flash: float, room: float, *, step: int = 0, seed: int = 1) -> Levels:
    """A dancer before a wall, in part of the flash's light and in the room's, which stays."""
    y, x = np.mgrid[:SIZE, :SIZE] + 0.5
    aside = np.hypot(x - 320 - step, (y - 330) / 1.6) - 90 - 25 * np.sin(y / 30)
    figure: NDArray[np.bool_] = aside < 0
    # Some of the light wraps around the edge, and goes down with the flash.
    wrap = 2.0**-3 * np.exp(aside / 12)
    light = np.where(figure, flash * (DARK + wrap) + room, flash * 2.0**OVER)
    return measure_levels(frame_of_light(blurred(light, 1.4), NOISY, seed=seed))


@pytest.mark.parametrize("step", [0, 3])
@pytest.mark.parametrize("room_ev", [-20.0, -6.0, -5.0])
@pytest.mark.parametrize("stops", [1.0, 2.0, 3.0])
def test_the_outline_tells_how_far_it_was_turned_down(
    stops: float, room_ev: float, step: int
) -> None:
    levels = levels_of(1.0, 2.0**room_ev)
    darker = levels_of(2.0**-stops, 2.0**room_ev, step=step, seed=2)
    told = stops_turned_down(levels, darker, Shift(step / levels.scale), find_zones(levels))
    assert told == pytest.approx(stops, rel=0.035)


@pytest.mark.parametrize("stops", [1.0, 2.0, 3.0])
def test_what_lies_beneath_is_right_though_the_room_lights_the_dark(stops: float) -> None:
    """The dark front alone would say 0.3 to 0.6 stops, whatever was taken off."""
    levels = levels_of(1.0, 2.0**-5)
    under = levels_of(2.0**-stops, 2.0**-5, step=2, seed=2)
    laid = lay_under(levels, find_zones(levels), under)
    assert laid.ceiling_ev - levels.ceiling_ev == pytest.approx(stops, rel=0.035)
    assert np.median(laid.ev[20:60, 20:60]) == pytest.approx(OVER, abs=0.1)


def test_a_frame_that_is_black_but_for_the_backdrop_tells_nothing() -> None:
    levels, darker = levels_of(1.0, 0.0), levels_of(2.0**-2, 0.0)
    black = replace(darker, rendered=np.where(darker.rendered < 0.5, 0, darker.rendered))
    assert stops_turned_down(levels, black, Shift(), find_zones(levels)) is None


def test_where_nothing_of_the_outline_responds_nothing_is_told() -> None:
    levels = levels_of(2.0**8, 0.0)
    nowhere = find_zones(levels_of(2.0**-2, 0.0))
    assert stops_turned_down(levels, levels, Shift(), nowhere) is None
