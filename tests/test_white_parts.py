"""White parts of the subject that join the backdrop, on light given as numbers."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, disc, frame_of_light

from inspector.exposure import Exposure
from inspector.inspect import inspect
from inspector.levels import measure_levels
from inspector.white_parts import _is_shadow, find_white_parts
from inspector.zones import BACKDROP, SUBJECT, find_zones

SIZE = (600, 400)
X, Y = np.meshgrid(np.arange(SIZE[0]) + 0.5, np.arange(SIZE[1]) + 0.5)
FIGURE = disc(SIZE, (300, 200), 90)
JACKET = FIGURE & (X > 320)
DARK = 2.0**-6


def light_of(wall: NDArray[np.floating] | float, jacket: float) -> NDArray[np.float32]:
    """A dark ball before a wall; its right part is a white jacket of so many stops."""
    light = np.where(FIGURE, DARK, wall)
    return blurred(np.where(JACKET, 2.0**jacket, light), 1.0)


def overlap(one: NDArray[np.bool_], other: NDArray[np.bool_]) -> float:
    """Jaccard's index: intersection over union."""
    return float((one & other).sum() / (one | other).sum())


@pytest.mark.parametrize(("wall", "jacket"), [(0.8, 0.3), (1.6, 0.4), (0.3, 0.8)])
def test_a_white_jacket_is_of_the_subject_and_spills(wall: float, jacket: float) -> None:
    """The ceiling is one stop: one of the two is under it, so that their step shows."""
    frame = frame_of_light(light_of(2.0**wall, jacket), NOISY)
    zones = find_zones(measure_levels(frame))
    scale = SIZE[0] // zones.label.shape[1]
    true = np.where(FIGURE, SUBJECT, BACKDROP)[::scale, ::scale]
    assert overlap(true == SUBJECT, zones.subject) > 0.97
    seen = inspect(frame)
    assert seen.verdict.word == "warn"
    assert "spill" in [r.code for r in seen.verdict.reasons]
    assert seen.edge.spill_fraction == pytest.approx(0.4, abs=0.1)


def test_a_jacket_of_the_backdrops_own_level_cannot_be_told() -> None:
    assert inspect(frame_of_light(light_of(2.0**0.5, 0.5), NOISY)).edge.spill_fraction == 0


def test_the_backdrops_percentiles_are_freed_of_a_jacket() -> None:
    x: Exposure = inspect(frame_of_light(light_of(2.0**0.8, 0.3), NOISY)).exposure
    assert x.ev_p1 == pytest.approx(0.8, abs=0.05)


@pytest.mark.parametrize("fall", [0.2, 0.6])
def test_light_that_falls_off_behind_the_subject_is_backdrop(fall: float) -> None:
    wall = 2.0 ** (0.9 - fall * X / SIZE[0])
    light = blurred(np.where(FIGURE, DARK, wall), 1.0)
    zones = find_zones(measure_levels(frame_of_light(light, NOISY)))
    assert zones.backdrop.mean() == pytest.approx((~FIGURE).mean(), abs=0.01)


def test_two_halves_of_a_wall_in_different_light_are_both_backdrop() -> None:
    """A joint of the paper runs up and down behind the subject, a third of a stop apart."""
    light = blurred(np.where(FIGURE, DARK, np.where(X > 300, 2.0**0.8, 2.0**0.45)), 1.0)
    zones = find_zones(measure_levels(frame_of_light(light, NOISY)))
    assert zones.backdrop.mean() == pytest.approx((~FIGURE).mean(), abs=0.01)


@pytest.mark.parametrize(("penumbra", "is_part"), [(1.0, True), (6.5, False), (8.0, False)])
def test_a_shadow_that_is_still_white_is_backdrop(penumbra: float, is_part: bool) -> None:
    """A subject's own shadow on the wall: half a stop darker, with a soft border."""
    shadow = blurred(disc(SIZE, (370, 220), 90).astype(np.float32), penumbra)
    wall = 2.0 ** (0.8 - 0.5 * shadow)
    light = blurred(np.where(FIGURE, DARK, wall), 1.0)
    zones = find_zones(measure_levels(frame_of_light(light, NOISY)))
    assert (zones.backdrop.mean() < (~FIGURE).mean() - 0.02) == is_part


@pytest.mark.parametrize(("difference", "shadow"), [(-0.5, True), (0.5, False), (-0.3, False)])
def test_only_what_is_darker_by_far_more_than_its_border_shows_is_a_shadow(
    difference: float, shadow: bool
) -> None:
    """Light on the subject may end softly, too; at the border it changes by 0.2 stop."""
    part, larger, changes = (np.zeros((30, 30), np.float32) for _ in range(3))
    part[:, :12] = larger[:, 18:] = 1
    changes[:, 12:18] = 0.2
    assert _is_shadow(difference, changes, part > 0, larger > 0) == shadow


def test_a_part_that_is_not_white_is_a_short_backdrop() -> None:
    """A shadow's sharp edge beside the subject: it counts against the backdrop."""
    shadow = (np.abs(Y - 250) < 40) & (X > 300) & (X < 470)
    wall = np.where(shadow, 2.0**-0.2, 2.0**0.5)
    x = inspect(frame_of_light(blurred(np.where(FIGURE, DARK, wall), 1.0), NOISY)).exposure
    assert x.white_fraction is not None
    assert x.white_fraction < 0.99


def test_a_gap_in_other_light_than_the_wall_beyond_a_limb_is_no_part_of_it() -> None:
    """A square gap behind a bar 16 pixels thick; the blur steps along its rim."""
    square = (abs(X - 300) < 34) & (abs(Y - 160) < 34)
    light = np.where(square, 2.0**0.8, np.where(FIGURE & (Y > 110), DARK, 2.0**0.45))
    levels = measure_levels(frame_of_light(blurred(light, 2.4), NOISY))
    scale = levels.scale
    seen = (light > 0.5)[::scale, ::scale]
    assert not find_white_parts(levels, levels.ev, seen, ~seen).any()
    # The same light that joins the wall is the subject's.
    light = np.where(square, 2.0**0.8, np.where(FIGURE & (Y > 150), DARK, 2.0**0.45))
    levels = measure_levels(frame_of_light(blurred(light, 2.4), NOISY))
    seen = (light > 0.5)[::scale, ::scale]
    assert find_white_parts(levels, levels.ev, seen, ~seen)[160 // scale, 300 // scale]


@pytest.mark.parametrize(("brighter", "jacket"), [(0.3, 1.0), (0.6, 0.5)])
def test_a_softbox_before_a_white_wall_is_backdrop_by_a_plate(
    brighter: float, jacket: float
) -> None:
    """One frame shows it as it would a white part of the subject; the empty set tells them apart.

    A white jacket is told by a plate all the same.
    """
    softbox = disc(SIZE, (300, 190), 130)
    wall = np.where(softbox, 2.0 ** (0.3 + brighter), 2.0**0.3)
    plate = inspect(frame_of_light(blurred(wall, 1.0), NOISY, seed=2))
    dark = frame_of_light(blurred(np.where(FIGURE, DARK, wall), 1.0), NOISY)
    seen = inspect(dark, plate=plate)
    assert seen.edge.spill == ()
    assert seen.verdict.word == "pass"
    assert inspect(dark).verdict.word == "warn"
    seen = inspect(frame_of_light(light_of(wall, jacket), NOISY), plate=plate)
    assert seen.edge.spill_fraction == pytest.approx(0.4, abs=0.1)


@pytest.mark.parametrize(("frame_ev", "plate_ev", "brighter"), [(0.5, -0.5, 0.3), (1, 0, 0.3)])
def test_a_softbox_that_only_the_plate_shows_is_backdrop(
    frame_ev: float, plate_ev: float, brighter: float
) -> None:
    """The frame is at the ceiling, the plate was shot darker, at another exposure."""
    softbox = disc(SIZE, (300, 190), 130)
    wall = np.where(softbox, 2.0**brighter, 1.0)
    plate = inspect(frame_of_light(blurred(wall * 2**plate_ev, 1.0), NOISY, seed=2))
    light = blurred(np.where(FIGURE, DARK, wall * 2**frame_ev), 1.0)
    assert inspect(frame_of_light(light, NOISY), plate=plate).edge.spill == ()


@pytest.mark.parametrize("period", [60, 72])
def test_the_folds_of_a_curtain_are_no_white_parts(period: int) -> None:
    """They are as steep as a jacket's border, but everywhere."""
    wall = 2.0 ** (0.5 + 0.25 * np.sin(2 * np.pi * X / period))
    levels = measure_levels(frame_of_light(light_of(wall, np.log2(DARK)), NOISY))
    zones = find_zones(levels)
    scale = SIZE[0] // zones.label.shape[1]
    assert overlap(FIGURE[::scale, ::scale], zones.subject) > 0.97
    assert not find_white_parts(levels, levels.ev, zones.backdrop, zones.subject).any()


@pytest.mark.parametrize("lean", [0.0, 0.03])
def test_what_lies_beyond_a_straight_crease_is_no_white_part(lean: float) -> None:
    """Paper may hang in two planes; a figure stands before the joint of the two."""
    beyond = lean * (Y - 200) - X > -70
    figure = disc(SIZE, (160, 260), 110) | ((abs(X - 160) < 110) & (Y > 260))
    wall = np.where(beyond, 2.0**0.3, 2.0**0.75)
    light = blurred(np.where(figure, DARK, wall), 1.0)
    seen = inspect(frame_of_light(light, NOISY))
    scale = SIZE[0] // seen.zones.label.shape[1]
    assert overlap(figure[::scale, ::scale], seen.zones.subject) > 0.97
    assert seen.edge.spill_fraction == 0
