"""White inside the subject: what joins the background, what lies on the subject by itself."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from plain import NOISY, blurred, frame_of_light

from inspector.arrays import Mask
from inspector.frame import Frame
from inspector.holes import Island, white_goes_on, white_islands
from inspector.inspect import inspect
from inspector.levels import measure_levels
from inspector.zones import find_zones

SHAPE = (120, 160)


def subject() -> Mask:
    """Everything right of the middle; the background is left of it."""
    mask = np.zeros(SHAPE, bool)
    mask[:, 80:] = True
    return mask


def found(rows: slice, columns: slice) -> list[Island]:
    """The islands where so much of the picture is white besides the background."""
    white = (~subject()).astype(np.float32)
    white[rows, columns] = 1
    return white_islands(white, ~subject(), subject(), [])


def test_white_on_the_subject_is_an_island() -> None:
    (island,) = found(slice(40, 60), slice(100, 130))
    assert (island.box, int(island.mask.sum()), island.sure) == ((100, 40, 130, 60), 600, True)


def test_white_that_joins_the_background_is_none() -> None:
    assert found(slice(40, 60), slice(80, 130)) == []


def test_a_narrow_line_may_be_a_gap() -> None:
    (island,) = found(slice(20, 100), slice(110, 112))
    assert not island.sure


@pytest.mark.parametrize("share", [0.2, 0.3])
def test_a_pixel_counts_from_a_quarter_of_its_cells(share: float) -> None:
    white = (~subject()).astype(np.float32)
    white[50, 120] = share
    islands = white_islands(white, ~subject(), subject(), [])
    assert len(islands) == (share >= 0.25)


def test_what_was_sure_before_stays_and_takes_in_the_dimmer_white_around() -> None:
    white = (~subject()).astype(np.float32)
    white[40:60, 100:130] = 1
    core = Island((105, 45, 125, 55), np.ones((10, 20), bool), sure=True)
    open_one = Island((140, 10, 143, 13), np.ones((3, 3), bool), sure=False)
    backdrop = ~subject()
    backdrop[10:13, 140:143] = True  # what is open is taken for the background
    islands = white_islands(white, backdrop, subject() & ~backdrop, [core, open_one])
    assert [i.box for i in islands] == [(140, 10, 143, 13), (100, 40, 130, 60)]
    assert [i.sure for i in islands] == [False, True]


def goes_on(rim: int, *, column: int = 120, beside: int = 200) -> bool:
    """Whether white goes on around a patch of 4 by 4 that it surrounds by so many pixels."""
    white, bright = np.zeros(SHAPE, np.float32), np.zeros(SHAPE, bool)
    white[50 - rim : 54 + rim, column - rim : column + 4 + rim] = 1
    bright[50:54, column : column + 4] = True
    bright[:, beside:] = True
    return white_goes_on((column, 50, column + 4, 54), np.ones((4, 4), bool), bright, white)


@pytest.mark.parametrize(("rim", "light"), [(0, False), (1, False), (2, False), (4, True)])
def test_white_that_goes_on_around_a_small_hole_makes_it_light(rim: int, light: bool) -> None:
    """A hole ends within its blur; of light that fades only the peak is as bright as a hole."""
    assert goes_on(rim) == light


def test_white_that_reaches_the_background_or_ends_out_of_sight_makes_no_hole_light() -> None:
    assert not goes_on(10, beside=130)
    assert not goes_on(30)


def test_light_whose_peak_looks_like_a_hole_is_all_of_the_subject(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It spills nowhere, and no edge runs around its peak."""
    monkeypatch.setattr("inspector.holes.weight", lambda *_, **__: 9.0)
    x, y = np.meshgrid(np.arange(900) + 0.5, np.arange(600) + 0.5)
    glow = 2.0 * np.exp(-(np.hypot(x - 450, y - 300) ** 2) / (2 * 14**2))
    light = np.where(np.hypot(x - 450, y - 300) < 200, 2.0**-6 + glow, 2.0**1.9)
    seen = inspect(frame_of_light(blurred(light, 0.8), replace(NOISY, red_gain=4)))
    assert not seen.zones.backdrop[140:160, 215:235].any()
    assert seen.edge.spill_fraction == 0
    (spot,) = seen.edge.hot_spots
    white = 2 * np.pi * 14**2 * np.log(2.0 / 0.98)
    assert spot.area_px == pytest.approx(white, rel=0.15)


def patches(side: int) -> Frame:
    """A dark ball before a wall with round patches in rows and columns, duller than the wall."""
    x, y = np.meshgrid(np.arange(900) + 0.5, np.arange(600) + 0.5)
    light = np.where(np.hypot(x - 450, y - 300) < 200, 2.0**-6, 2.0**0.5)
    for u, v in product(range(side), repeat=2):
        light[np.hypot(x - 420 - 18 * u, y - 270 - 18 * v) < 7.5] = 2.0**-0.1
    return frame_of_light(blurred(light, 0.8), NOISY)


def patch_amid(bars: int) -> Frame:
    """A ball with a square patch, duller than the wall; around it so many bars as bright as that.

    Dark lines lie between them, as strands do before a wall.
    """
    x, y = np.meshgrid(np.arange(900) + 0.5 - 450, np.arange(600) + 0.5 - 300)
    light = np.where(np.hypot(x, y) < 120, 2.0**-6, 2.0**0.5)
    light[np.maximum(np.abs(x), np.abs(y)) < 7] = 2.0**-0.1
    for sign, along, across in ((1, x, y), (-1, x, y), (1, y, x))[:bars]:
        light[(np.abs(sign * along - 15) < 4) & (np.abs(across) < 20)] = 2.0**0.5
    return frame_of_light(blurred(light, 0.8), NOISY)


@pytest.mark.parametrize(("bars", "light"), [(0, True), (1, True), (2, False), (3, False)])
def test_a_patch_amid_bright_light_is_a_gap_between_strands(bars: int, light: bool) -> None:
    """Light that lies on one side may be the backdrop beside the subject's edge."""
    zones = find_zones(measure_levels(patch_amid(bars)))
    assert any(i.sure for i in zones.islands) == light
    assert zones.backdrop[150, 225] != light


@pytest.mark.parametrize(("side", "light"), [(1, True), (2, True), (4, False)])
def test_patches_in_company_are_gaps_in_hair_or_lace(side: int, light: bool) -> None:
    """Well under the wall's level one is light on the subject; many of a kind are gaps."""
    zones = find_zones(measure_levels(patches(side)))
    assert any(i.sure for i in zones.islands) == light
    assert zones.backdrop[135, 210] != light
