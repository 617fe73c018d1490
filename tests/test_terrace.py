"""White light on a subject that steps from the backdrop's level, on light given as numbers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, frame_of_light
from scipy import ndimage

from inspector.across import look_across
from inspector.arrays import distance_to
from inspector.clean_part import compare_falls
from inspector.inspect import Inspection, inspect
from inspector.levels import measure_levels
from inspector.terrace import find_terraces
from inspector.zones import find_zones

SIZE = (900, 700)
X, Y = np.meshgrid(np.arange(SIZE[0]) + 0.5, np.arange(SIZE[1]) + 0.5)
WALL, DARK = 2.0**0.7, 2.0**-6
DEEP, FALLS = 16.0, 3.0
"""How deep light lies on the subject, and over how many pixels it then falls by two stops."""


def lobed(lobes: int, by: float) -> NDArray[np.bool_]:
    """(H, W) a disc whose outline goes in and out so many times, by so many pixels."""
    turned = np.arctan2(Y - 340, X - 450)
    return np.asarray(np.hypot(X - 450, Y - 340) < 170 + by * np.cos(lobes * turned))


def lit_on_the_left(figure: NDArray[np.bool_], over_ev: float) -> NDArray[np.float64]:
    """(H, W) a figure on whose left half white light lies, so many stops over the wall's."""
    inwards = ndimage.distance_transform_edt(figure)
    light = WALL * np.exp2(over_ev - 2 * np.maximum(inwards - DEEP, 0) / FALLS)
    lit = np.where(figure & (X < 450), np.maximum(light, DARK), DARK)
    return np.asarray(np.where(figure, lit, WALL), np.float64)


def seen(light: NDArray[np.floating]) -> Inspection:
    return inspect(frame_of_light(blurred(light, 1.2), NOISY))


def sure_px(found: Inspection) -> float:
    return sum(run.length_px for run in found.edge.spill if run.sure)


@pytest.mark.parametrize(("lobes", "by"), [(9, 20.0), (12, 20.0), (14, 15.0)])
@pytest.mark.parametrize("over_ev", [-0.6, -0.4])
def test_a_step_that_does_not_run_along_with_the_end_of_white_is_found(
    lobes: int, by: float, over_ev: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of half an outline, as far as it is traced beneath, nine tenths."""
    light = lit_on_the_left(lobed(lobes, by), over_ev)
    found = seen(light)
    assert sure_px(found) > 0.44 * found.edge.length_px
    assert max(run.depth_px for run in found.edge.spill) == pytest.approx(DEEP, abs=4)
    monkeypatch.setattr("inspector.terrace.LEAST_STEP_EV", 9.0)
    assert sure_px(seen(light)) <= sure_px(found)


def test_without_it_a_third_is_missed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("inspector.terrace.LEAST_STEP_EV", 9.0)
    found = seen(lit_on_the_left(lobed(12, 20.0), -0.6))
    assert sure_px(found) < 0.33 * found.edge.length_px


@pytest.mark.parametrize("over_ev", [-0.3, -0.15])
def test_a_shade_on_the_wall_around_a_sharp_outline_is_none(
    over_ev: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its border steps as a terrace's does, but the edge before it is clean; others judge that."""
    figure = lobed(12, 20.0)
    around = ndimage.distance_transform_edt(~figure) < DEEP
    wall = np.where(around & (X < 450), WALL * 2.0**over_ev, WALL)
    light = np.where(figure, DARK, wall)
    found = sure_px(seen(light))
    monkeypatch.setattr("inspector.terrace.LEAST_STEP_EV", 9.0)
    assert sure_px(seen(light)) == found


def test_a_rim_that_only_begins_to_fall_at_the_outline_is_none() -> None:
    figure = lobed(12, 20.0)
    inwards = ndimage.distance_transform_edt(figure)
    glow = np.where(figure, np.maximum(0.8 * np.exp2(-inwards / 12), DARK), WALL)
    assert sure_px(seen(glow)) == 0


@pytest.mark.parametrize("slope", [0.0, 0.2, 0.35])
@pytest.mark.parametrize("darker_ev", [0.2, 0.6])
def test_a_shade_before_a_limb_opposite_is_none(slope: float, darker_ev: float) -> None:
    """Light must be seen to go on beyond the step; all of the edge is taken to fall slowly here."""
    bay = (np.abs(X - 450) < 12 + slope * (Y - 300)) & (Y > 280)
    figure = (np.abs(X - 450) < 220) & (np.abs(Y - 340) < 220) & ~bay
    away = ndimage.distance_transform_edt(~(figure & (X > 450)))
    wall = WALL * np.exp2(-darker_ev * np.exp(-away / 8))
    levels = measure_levels(frame_of_light(blurred(np.where(figure, DARK, wall), 1.2), NOISY))
    zones = find_zones(levels)
    assert zones.begins is not None
    distance = distance_to(zones.backdrop)
    across = look_across(levels, zones, zones.begins, distance, core=DARK, tolerance=3.0)
    falls = compare_falls(across, blur=zones.blur_px, tolerance=3.0)
    everywhere = np.ones(len(falls.slower), bool)
    slow = replace(falls, slower=8.0 * everywhere, shaded=~everywhere)
    assert not find_terraces(levels, zones, across, slow, tolerance=3.0).any()
