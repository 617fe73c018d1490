"""An under frame laid beneath another: each place goes with the subject or stays with the set."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, frame_of_light, stated

from inspector.evidence import CUT_TINT, _cut_tint
from inspector.frame import Shot
from inspector.inspect import inspect
from inspector.levels import Levels, measure_levels
from inspector.simulate.families import random_scene
from inspector.simulate.render import shoot
from inspector.under import UnderError, lay_under
from inspector.zones import find_zones

WIDTH, HEIGHT = 960, 640
OVER = 0.5
"""Stops over white: green is gone, red responds."""


def softbox(*, step: tuple[int, int] = (0, 0)) -> NDArray[np.float32]:
    """(400, 400) light of a softbox in a dark room and somebody with a hollow arm before it."""
    light = np.full((400, 400), 2.0**-8, np.float32)
    light[20:360, 60:340] = 2.0**OVER
    x, y = 140 + step[0], 120 + step[1]
    light[y : y + 240, x : x + 120] = 2.0**-5.5
    light[y + 60 : y + 120, x + 30 : x + 80] = 2.0**OVER
    light[360:] = 2.0**-8
    return blurred(light, 1.2)


def levels_of(light: NDArray[np.floating]) -> Levels:
    frame = frame_of_light(light)
    return measure_levels(frame, clip=stated(frame))


def laid(step: tuple[int, int]) -> tuple[Levels, NDArray[np.float32]]:
    """The two joined, and true stops on the working picture, as a sensor without an end has it."""
    levels, under = levels_of(softbox()), levels_of(softbox(step=step) / 4)
    return lay_under(levels, find_zones(levels), under), levels_of(softbox() / 16).ev + 4


@pytest.mark.parametrize("step", [(0, 0), (3, 0), (0, -2), (-3, 2)])
def test_the_backdrops_own_border_stays_where_the_subject_has_moved(step: tuple[int, int]) -> None:
    joined, true = laid(step)
    over = true > 0
    over[170:, 60:140] = False  # where the subject leaves the softbox both are at odds
    assert np.abs(joined.ev - true)[over].max() < 0.25
    assert np.percentile(np.abs(joined.ev - true)[over], 99) < 0.1


def test_what_the_frame_tells_by_itself_stays() -> None:
    joined, _ = laid((-3, 2))
    alone = levels_of(softbox())
    responds = alone.rendered < 0.96 * alone.top
    assert np.array_equal(joined.rendered[responds], alone.rendered[responds])


def test_what_has_clipped_is_nowhere_darker_than_that() -> None:
    joined, _ = laid((4, -4))
    assert (joined.rendered >= levels_of(softbox()).rendered).all()


@pytest.mark.parametrize("aside", [6, 8])
def test_a_gap_whose_sides_have_moved_against_each_other_is_as_bright_throughout(
    aside: int,
) -> None:
    """The hollow of an arm that has closed by so many pixels; in the frame all of it is clipped."""

    def hollow(width: int) -> NDArray[np.float32]:
        light = softbox() * 2.0
        light[180:240, 170:220] = 2.0**-5.5
        light[180:240, 170 : 170 + width] = 2.0 ** (OVER + 1)
        return blurred(light, 1.2)

    levels, under = levels_of(hollow(50)), levels_of(hollow(50 - aside) / 8)
    joined = lay_under(levels, find_zones(levels), under)
    scale = levels.scale
    inside = joined.ev[184 // scale : 236 // scale, 174 // scale : 216 // scale]
    # The ceiling is one stop; only the blurred rim that the darker frame shows is under 1.5.
    assert inside.min() > 1.1
    assert np.mean(np.abs(inside - OVER - 1) < 0.1) > 0.93


def test_where_the_light_tells_nothing_the_settings_say_how_much_darker_it_is() -> None:
    """A foil and mask before a wall so far over white that nothing but their dark responds."""
    draw = random_scene(2200251)
    frame = shoot(draw.scene, camera=draw.camera, seed=2200251)
    by_aperture = shoot(draw.scene, camera=draw.camera, seed=2200253, ev=-8 / 3, by="aperture")
    levels, under = measure_levels(frame), measure_levels(by_aperture)
    laid = lay_under(levels, find_zones(levels), under)
    assert laid.ceiling_ev - under.ceiling_ev == pytest.approx(8 / 3, abs=0.05)
    unknown = replace(under, frame=replace(by_aperture, shot=Shot()))
    roughly = lay_under(levels, find_zones(levels), unknown)
    assert roughly.ceiling_ev - under.ceiling_ev < 2.2


def with_an_arm(degrees: float) -> NDArray[np.float32]:
    """(1200, 1200) light of somebody before a wall whose arm is lifted by so many degrees."""
    y, x = np.mgrid[:1200, :1200] + 0.5
    turn = np.radians(degrees)
    along = (x - 450) * np.cos(turn) - (y - 450) * np.sin(turn)
    aside = (x - 450) * np.sin(turn) + (y - 450) * np.cos(turn)
    arm = (along > 0) & (along < 600) & (np.abs(aside) < 42)
    body = (np.abs(x - 400) < 120) & (y > 300)
    return blurred(np.where(arm | body, 2.0**-5.5, 2.0**OVER), 1.5)


@pytest.mark.parametrize("degrees", [0.5, -0.7])
def test_an_arm_that_has_turned_a_little_is_followed(degrees: float) -> None:
    """Its hand has moved by 5 to 7 px against the body: beneath, its own outline is found."""
    levels, under = levels_of(with_an_arm(0.0)), levels_of(with_an_arm(degrees) / 4)
    joined = lay_under(levels, find_zones(levels), under)
    true = levels_of(with_an_arm(0.0) / 16).ev + 4
    arm = (slice(180, 270), slice(270, 530))
    over = true[arm] > 0.1
    assert np.percentile(np.abs(joined.ev - true)[arm][over], 99) < 0.1


def test_a_subject_that_other_light_has_lit_in_the_darker_frame_has_not_moved() -> None:
    """Two stops of flash are taken off; what else lights the room stays as it is."""
    flash, room = softbox(), np.float32(2.0**-4.5)
    levels = levels_of(flash + room)
    joined = lay_under(levels, find_zones(levels), levels_of(flash / 4 + room))
    true = levels_of((flash + room) / 16).ev + 4
    assert np.abs(joined.ev - true)[true > 0].max() < 0.3


@pytest.mark.parametrize("blue_ev", [-0.5, -0.3])
def test_a_tinted_background_has_not_moved(blue_ev: float) -> None:
    """Red and green are gone, so the frame reads the weakest channel, and the darker one all."""
    tinted = np.stack([softbox() * 2.0 ** (ev - OVER) for ev in (1.4, 1.4, blue_ev)], axis=-1)
    levels, under = levels_of(tinted), levels_of(tinted / 4)
    zones = find_zones(levels)
    joined = lay_under(levels, zones, under)
    assert joined.under is not None
    assert joined.under.stops == pytest.approx(2, abs=0.02)
    blue = np.log2(joined.rendered[..., -1][zones.backdrop & ~zones.fringe])
    assert np.median(blue) == pytest.approx(blue_ev, abs=0.02)


def test_an_arm_that_has_left_the_background_is_refused() -> None:
    levels = levels_of(with_an_arm(0.0))
    with pytest.raises(UnderError, match="moved too far"):
        lay_under(levels, find_zones(levels), levels_of(with_an_arm(25.0) / 4))


@pytest.mark.parametrize("aside", [(0.8, 0.5), (1.0, 0.0)])
def test_a_small_gap_is_no_light_for_sure_where_the_darker_frame_lies_a_little_aside(
    aside: tuple[float, float],
) -> None:
    """Its edge cuts the sites of either frame elsewhere, so that their colours do not match."""

    def with_gap(dx: float, dy: float) -> NDArray[np.float32]:
        fine = 4  # parts of a pixel
        y, x = np.mgrid[: HEIGHT * fine, : WIDTH * fine] / fine
        from_middle = np.stack([x - dx - WIDTH / 2, y - dy - HEIGHT / 2])
        gap = (np.abs(from_middle[0] - 20) < 2.5) & (np.abs(from_middle[1] + 20) < 6)
        light = np.where((np.hypot(*from_middle) < 150) & ~gap, 2.0**-5.5, 2.0**1.6)
        return blurred(light.reshape(HEIGHT, fine, WIDTH, fine).mean(axis=(1, 3)))

    frame = frame_of_light(with_gap(0, 0), NOISY)
    under = frame_of_light(with_gap(*aside) / 8, NOISY, seed=2)
    assert inspect(frame).edge.hot_spots == ()
    assert not any(spot.sure for spot in inspect(frame, under=under).edge.hot_spots)


def test_a_cut_tint_tells_nothing_only_where_a_darker_frame_has_filled_in_a_colour() -> None:
    levels, _ = laid((0, 0))
    dim = np.full((4, levels.rendered.shape[2]), 0.5, np.float32)
    clipped = np.tile(levels.frame.gains, (4, 1)).astype(np.float32)
    assert _cut_tint(clipped, levels) == 0
    assert _cut_tint(dim, levels) == CUT_TINT
    assert _cut_tint(clipped, replace(levels, under=None)) == CUT_TINT
