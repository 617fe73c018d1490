"""A body below shoulders that leave the picture is subject as far as it goes; a floor is not."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, disc, frame_of_light

from inspector.levels import measure_levels
from inspector.zones import BACKDROP, SUBJECT, SURROUND, find_zones

SIZE = (400, 600)
WALL, DARK = 2.0**0.5, 2.0**-5
x, y = np.meshgrid(np.arange(SIZE[0]) + 0.5, np.arange(SIZE[1]) + 0.5)


def label_of(light: NDArray[np.float64]) -> tuple[NDArray[np.uint8], int]:
    levels = measure_levels(frame_of_light(blurred(light), NOISY))
    return find_zones(levels).label, levels.scale


def bust(*, rise: float, lean: float) -> NDArray[np.bool_]:
    """Head, neck and shoulders; these rise a little again out to both sides of the picture."""
    head = np.hypot((x - 200) / 70, (y - 200) / 100) < 1
    aside = np.maximum(abs(x - 200) - 45, 0)
    lowest = 380 + lean * (x - 200)
    shoulders = lowest - np.where(aside < 75, (aside - 75) ** 2 / 50, rise * (aside / 75 - 1))
    return np.asarray(head | (aside == 0) & (y > 200) | (y > shoulders), bool)


@pytest.mark.parametrize("rise", [8, 15])
@pytest.mark.parametrize("lean", [0.0, 0.03])
def test_a_body_below_shoulders_that_leave_the_picture_is_subject(rise: float, lean: float) -> None:
    label, scale = label_of(np.where(bust(rise=rise, lean=lean), DARK, WALL))
    assert (label[400 // scale :] == SUBJECT).mean() > 0.98
    assert not (label == SURROUND).any()


@pytest.mark.parametrize("slope", [0.0, 0.04, -0.08])
@pytest.mark.parametrize("middle", [60, 200, 330])
def test_a_floor_in_sight_beside_the_feet_is_surround(slope: float, middle: float) -> None:
    body = (abs(x - middle) < 40) & (y > 120) | disc(SIZE, (middle, 100), 45)
    floor = y > 480 + slope * (x - 200)
    label, scale = label_of(np.where(body, DARK, np.where(floor, 2.0**-7, WALL)))
    assert (label[520 // scale :] == SURROUND).mean() > 0.98
    wall = (~body & ~floor)[::scale, ::scale]
    assert (label[wall] == BACKDROP).mean() > 0.97


def test_a_side_of_a_face_whose_foot_is_in_sight_is_no_shoulder() -> None:
    """A softbox with its corners cut off; someone stands before one of the lower two."""
    body = (abs(x - 130) < 40) & (y > 120) | disc(SIZE, (130, 100), 45)
    lit = (y < 450) & (y < 400 + 0.44 * x) & (y < 450 - 0.71 * (x - 330))
    label, scale = label_of(np.where(body, DARK, np.where(lit, WALL, 2.0**-7)))
    room = (~lit & (x < 80))[::scale, ::scale]
    assert (label[room] == SURROUND).mean() > 0.98


def test_a_long_foot_beside_a_body_that_leaves_the_picture_is_no_shoulder() -> None:
    """A third of the long side of the floor's line is in sight; the rest is hidden."""
    body = (x > 200) & (y > 440 - 0.05 * (x - 200))
    light = np.where(body, DARK, np.where(y < 480, WALL, 2.0**-7))
    label, scale = label_of(light)
    assert (label[500 // scale :, : 180 // scale] == SURROUND).mean() > 0.98
