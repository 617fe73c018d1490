"""Where the subject begins: on balls of known radius, blurred by scipy's Gaussian."""

from __future__ import annotations

import numpy as np
import pytest
from plain import CAMERA, NOISY, blurred, frame_of_light

from inspector.arrays import Points
from inspector.frame import Frame
from inspector.halfway import Begins, where_subject_begins
from inspector.levels import Levels, measure_levels
from inspector.outline import joined
from inspector.under import lay_under
from inspector.zones import find_zones

SIZE, CENTRE, RADIUS = (600, 400), (300, 200), 90
PIXEL = 12**-0.5
"""Spread of a box as wide as a pixel, over which a photosite averages."""
X, Y = np.meshgrid(np.arange(SIZE[0]) + 0.5, np.arange(SIZE[1]) + 0.5)


def ball(
    wall: Points | float,
    *,
    rim: float = 0.0,
    fade: float = 1.0,
    sigma: float = 1.2,
    step: tuple[float, float] = (0, 0),
    darker: float = 0.0,
) -> Frame:
    """A dark ball whose light at the rim fades inwards over so many pixels.

    It has moved by a ``step``, x and y, of pixels; the frame is so many stops ``darker``.
    """
    depth = RADIUS - np.hypot(X - CENTRE[0] - step[0], Y - CENTRE[1] - step[1])
    own = 2.0**-5 + rim * np.exp(-np.maximum(depth, 0) / fade)
    light = blurred(wall + np.clip(depth + 0.5, 0, 1) * (own - wall), sigma)
    return frame_of_light(light / 2**darker, NOISY)


def begins(frame: Frame) -> tuple[Points, Points, Begins]:
    """(N,) distances of the traced and of the true outline from the true circle, inwards."""
    return begins_in(measure_levels(frame))


def begins_in(levels: Levels) -> tuple[Points, Points, Begins]:
    outline = joined(find_zones(levels).outlines)
    found = where_subject_begins(levels, outline)
    traced = RADIUS - np.hypot(*(outline.points - CENTRE).T)
    return traced, traced + found.at, found


@pytest.mark.parametrize("ev", [-0.8, -0.3, 0.3, 0.7])
@pytest.mark.parametrize("sigma", [0.7, 1.2, 1.9])
def test_the_true_outline_is_found_wherever_the_exposure_puts_the_level(
    ev: float, sigma: float
) -> None:
    _, off, found = begins(ball(2.0**ev, sigma=sigma))
    assert found.told.mean() > 0.98
    assert abs(np.median(off)) < 0.2
    assert np.percentile(np.abs(off), 95) < 0.55


def test_it_lies_outside_of_where_light_is_halfway_when_light_wraps_around_the_edge() -> None:
    """A rim shifts the traced outline inwards; what fades behind it gives the rim away."""
    traced, off, _ = begins(ball(2.0**-0.7, rim=0.35, fade=2.0))
    assert np.median(traced) > 0.4
    assert abs(np.median(off)) < 0.25


def test_it_is_told_before_a_backdrop_over_the_ceiling_from_the_rest_of_the_outline() -> None:
    """The ceiling of this camera is one stop; on the right the wall lies 0.8 stop over it."""
    wall = 2.0 ** (0.6 + 1.2 * np.clip((X - CENTRE[0]) / 60, 0, 1))
    _, off, found = begins(ball(wall))
    assert CAMERA.red_gain == 2
    assert found.told.mean() > 0.9
    assert np.percentile(np.abs(off[found.told]), 90) < 0.6
    assert 0.3 < found.fitted.mean() < 0.6


def test_where_the_backdrop_is_over_the_ceiling_all_along_it_is_not_told() -> None:
    _, _, found = begins(ball(2.0**1.8))
    assert not found.told.any()
    assert (found.at == 0).all()


@pytest.mark.parametrize("step", [(0.0, 0.0), (0.4, 0.5), (-1.3, 2.7)])
@pytest.mark.parametrize("sigma", [0.9, 1.4])
def test_an_under_frame_tells_it_far_over_the_ceiling_wherever_its_sites_lie(
    sigma: float, step: tuple[float, float]
) -> None:
    """Each of its photosites counts at its own distance; the two do not lie site on site."""
    levels = measure_levels(ball(2.0**2.5, sigma=sigma))
    under = measure_levels(ball(2.0**2.5, sigma=sigma, step=step, darker=2.5))
    _, off, found = begins_in(lay_under(levels, find_zones(levels), under))
    assert found.told.mean() > 0.98
    assert not found.fitted.any()
    assert abs(np.median(off)) < 0.1
    assert np.percentile(np.abs(off), 95) < 0.4
    assert found.blur == pytest.approx(np.hypot(sigma, PIXEL), rel=0.12)


@pytest.mark.parametrize("step", [(0.0, 0.0), (-0.7, 0.9)])
def test_what_has_clipped_without_a_brighter_site_beneath_it_tells_no_level(
    step: tuple[float, float],
) -> None:
    """One stop darker only red shows a wall 1.8 stops over white; the sites of green clip twice."""
    levels = measure_levels(ball(2.0**1.8))
    under = measure_levels(ball(2.0**1.8, step=step, darker=1))
    _, off, found = begins_in(lay_under(levels, find_zones(levels), under))
    assert found.told.mean() > 0.98
    assert abs(np.median(off)) < 0.15
    assert np.percentile(np.abs(off), 99) < 0.8


def test_where_the_darker_frame_has_clipped_as_well_it_is_not_told() -> None:
    levels = measure_levels(ball(2.0**2.4))
    under = measure_levels(ball(2.0**2.4, step=(-0.7, 0.9), darker=1))
    _, _, found = begins_in(lay_under(levels, find_zones(levels), under))
    assert not found.told.any()
