"""White light that has washed a limb or a shoulder over, on light given as numbers."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, disc, frame_of_light

from inspector.inspect import Inspection, inspect
from inspector.levels import measure_levels
from inspector.simulate.families import random_scene
from inspector.simulate.render import render, shoot
from inspector.zones import find_zones

SIZE = (1200, 800)
X, Y = np.meshgrid(np.arange(SIZE[0]) + 0.5, np.arange(SIZE[1]) + 0.5)
BODY = disc(SIZE, (500, 400), 180)
ARM = (X > 600) & (X < 900) & (np.abs(Y - 400) < 16)
FOIL = (X > 600) & (X < 900) & (np.abs(Y - 400) < 4)
DARK, WALL = 2.0**-6, 2.0**0.5


def before(wall: NDArray[np.floating], lit: NDArray[np.floating]) -> NDArray[np.float32]:
    """Light before a wall: body and arm dark, but ``lit`` (0 to 1) by the wall's light, dimmed."""
    skin = DARK + lit * (WALL * 2.0**-0.12 - DARK)
    return blurred(np.where(BODY | ARM, skin, wall), 1.2)


def even() -> NDArray[np.float64]:
    return np.full(X.shape, WALL)


def look(light: NDArray[np.float32]) -> tuple[NDArray[np.bool_], Inspection]:
    """The subject's zone at the size of the picture, and all that was seen."""
    frame = frame_of_light(light, NOISY)
    zones = find_zones(measure_levels(frame))
    scale = SIZE[0] // zones.label.shape[1]
    return np.kron(zones.subject, np.ones((scale, scale), bool)), inspect(frame)


def test_a_limb_that_spill_washes_over_from_both_sides_is_subject_and_spills() -> None:
    """From 720 px on no dark is left between the arm's two outlines; the fist is dark again."""
    fist = disc(SIZE, (900, 400), 30)
    lit = np.clip((X - 700) / 30, 0, 1) * ~fist
    light = before(even(), lit)
    light = np.where(blurred(fist.astype(np.float64), 1.2) > 0.5, np.float32(DARK), light)
    subject, seen = look(light)
    washed = ARM & (X > 740) & (X < 860)
    assert subject[washed].mean() > 0.9
    assert subject[(np.abs(Y - 400) > 24) & (X > 740) & (X < 860)].mean() < 0.01
    assert seen.verdict.word == "warn"
    sure = sum(run.length_px for run in seen.edge.spill if run.sure)
    # Two sides of what is white from some 725 to 870 px on.
    assert sure == pytest.approx(2 * 145, rel=0.2)


def test_a_shoulder_as_white_as_the_wall_but_for_a_tenth_of_a_stop_spills() -> None:
    """Light wraps around it up to 60 px deep in the middle and falls over 30 px."""
    inwards, turned = 180 - np.hypot(X - 500, Y - 400), np.abs(np.arctan2(Y - 400, X - 500) + 2.0)
    deep = 60 * np.cos(np.minimum(turned / 0.6, 1) * np.pi / 2)
    lit = np.clip((deep - inwards) / 30, 0, 1)
    skin = DARK + lit * (WALL * 2.0**-0.1 - DARK)
    subject, seen = look(blurred(np.where(BODY, skin, WALL), 1.2))
    assert subject[BODY].mean() > 0.99
    # Paper white to three quarters of the fall, so over 3 px deep where light reaches 25 px.
    spilled = 2 * 0.6 * np.arccos(25 / 60) / (np.pi / 2) / (2 * np.pi)
    assert seen.edge.spill_fraction == pytest.approx(spilled, abs=0.02)


def test_light_on_the_subject_at_the_ceiling_steps_up_from_a_wall_under_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A simulated head: its light ends sharply, in a wedge, and so ripples along the edge."""
    draw = random_scene(3400050)
    frame, truth = render(draw.scene, camera=draw.camera, seed=3400050)
    seen = inspect(frame)
    assert seen.edge.spill_fraction == pytest.approx(truth.spill_fraction, abs=0.02)
    monkeypatch.setattr("inspector.part_border.LEAST_EV", 9.0)
    seen = inspect(frame)
    assert seen.edge.spill_fraction == pytest.approx(truth.spill_fraction, abs=0.02)
    monkeypatch.setattr("inspector.doubt.BRIGHTER_EV", 9.0)
    assert inspect(frame).edge.spill_fraction == 0  # it passes for hair
    monkeypatch.setattr("inspector.washed.BRIGHTER_EV", 9.0)
    longest = max(run.length_px for run in inspect(frame).edge.spill)
    assert longest < 0.8 * max(run.length_px for run in seen.edge.spill)


@pytest.mark.parametrize("dimmed", [0.1, 0.2])
def test_a_dim_band_beside_a_sharp_outline_is_backdrop(dimmed: float) -> None:
    """As cast by hair or a fold: within, the light falls as fast as the lens lets it."""
    around = (np.abs(X - 500) < 120) & (Y < 400)
    light = blurred(np.where(BODY, DARK, np.where(around, WALL * 2**-dimmed, WALL)), 1.2)
    subject, seen = look(light)
    assert subject[~BODY].mean() < 0.002
    assert seen.edge.spill_fraction == 0


@pytest.mark.parametrize("dimmed", [0.1, 0.2])
def test_a_soft_shadow_around_a_sharp_outline_is_backdrop(dimmed: float) -> None:
    """It follows the outline as light on the subject does, but begins softly."""
    around = blurred((np.hypot(X - 500, Y - 400) < 205).astype(np.float64), 8.0)
    light = np.where(BODY, DARK, WALL * 2.0 ** (-dimmed * around))
    subject, seen = look(blurred(light, 1.2))
    assert subject[~BODY].mean() < 0.002
    assert seen.edge.spill_fraction == 0


@pytest.mark.parametrize("brighter", [False, True])
def test_a_short_patch_that_ends_sharply_is_spill_if_it_is_brighter(brighter: bool) -> None:
    """No strand brightens the backdrop. What the edge stands is in neither case known exactly."""
    inwards, turned = 180 - np.hypot(X - 500, Y - 400), np.arctan2(Y - 400, X - 500) + np.pi / 2
    patch = BODY & (inwards < 7.5) & (np.abs(turned) < 30 / 180)
    light = np.where(patch, WALL * 2 ** (0.2 if brighter else -0.2), np.where(BODY, DARK, WALL))
    _, seen = look(blurred(light, 1.2))
    assert [run.sure for run in seen.edge.spill] == [brighter]
    assert seen.exposure.window is not None
    assert seen.exposure.window.high_is == "at_most"


@pytest.mark.parametrize(("length", "sure"), [(50, False), (150, True)])
def test_a_dim_band_that_ends_sharply_is_sure_spill_only_if_it_goes_on(
    length: int, sure: bool
) -> None:
    """A strand of hair that follows the outline dims it so, too, but not for long."""
    off, turned = np.hypot(X - 500, Y - 400) - 180, np.arctan2(Y - 400, X - 500) + np.pi / 2
    band = (off > 0) & (off < 8 - (length < 100)) & (np.abs(turned) < length / 2 / 186)
    light = np.where(BODY, DARK, np.where(band, WALL * 2**-0.2, WALL))
    _, seen = look(blurred(light, 1.3))
    assert [run.sure for run in seen.edge.spill] == [sure]
    assert seen.verdict.word == ("warn" if sure else "pass")


def test_a_dim_band_beside_a_blade_is_backdrop() -> None:
    """A blade that glows holds no spill, whatever lies beside it."""
    band = FOIL | ((X > 700) & (X < 890) & (np.abs(Y - 412) < 12))
    light = np.where(band, WALL * 2**-0.15, WALL)
    light = blurred(np.where(BODY, DARK, np.where(FOIL, 0.4, light)), 1.2)
    subject, _ = look(light)
    assert subject[(Y > 408) & (X > 720) & (X < 880) & ~BODY].mean() < 0.002


def test_a_seam_that_ends_at_the_outline_is_backdrop() -> None:
    wall = np.where(np.abs(Y - 330) < 5, WALL * 2**-0.3, WALL)
    subject, seen = look(blurred(np.where(BODY, DARK, wall), 1.2))
    assert subject[~BODY].mean() < 0.002
    assert seen.edge.spill_fraction == 0


def test_light_behind_strands_is_backdrop() -> None:
    """Strands cross beside a cheek whose rim glows; together they dim what lies between them."""
    inwards = 180 - np.hypot(X - 500, Y - 400)
    light = np.where(BODY, DARK + 0.8 * np.exp(-np.maximum(inwards, 0) / 10), WALL)
    rng = np.random.default_rng(1)
    for _ in range(80):
        at, slope = rng.uniform(340, 460), rng.uniform(-1.2, 1.2)
        off = np.abs(Y - at - slope * (X - 690)) / np.hypot(1, slope)
        light = np.where((off < 0.9) & (X > 660) & (X < 730) & ~BODY, 0.8 * WALL, light)
    subject, seen = look(blurred(light, 1.2))
    assert subject[(X > 700) & (X < 730)].mean() < 0.1
    assert seen.edge.spill_fraction == 0


@pytest.mark.parametrize("step", [0.1, 0.14])
def test_the_joint_of_two_softboxes_at_a_neck_is_backdrop(step: float) -> None:
    """Head and shoulders close a pocket with it, in which the left one is dimmer."""
    head, shoulders = disc(SIZE, (520, 230), 110), disc(SIZE, (520, 620), 290)
    inwards = np.maximum(110 - np.hypot(X - 520, Y - 230), 290 - np.hypot(X - 520, Y - 620))
    skin = DARK + 0.6 * np.exp(-np.maximum(inwards, 0) / 10)
    light = np.where(head | shoulders, skin, np.where(X < 620, WALL * 2**-step, WALL))
    subject, seen = look(blurred(light, 1.2))
    pocket = (X > 596) & (X < 616) & (Y > 318) & (Y < 332)
    assert not (pocket & (head | shoulders)).any()
    assert subject[pocket].mean() < 0.01
    assert seen.edge.spill_fraction == 0


def test_where_light_only_begins_to_fall_at_a_lit_leg_no_white_light_lies_beyond_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A simulated scene in which the leg is lit nearly to the wall's level."""
    draw = random_scene(3000049)
    frame, truth = render(draw.scene, camera=draw.camera, seed=3000049)
    assert truth.spill == ()
    assert not any(run.sure for run in inspect(frame).edge.spill)
    monkeypatch.setattr("inspector.part_border.LEAST_EV", 9.0)
    monkeypatch.setattr("inspector.washed._stays", lambda *_: True)
    assert any(run.sure for run in inspect(frame).edge.spill)


def test_a_border_blurred_over_single_photosites_is_no_washed_light(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A simulated head before a sensor without colours, whose working pixels are its own."""
    draw = random_scene(3100279, camera="mono")
    frame, truth = render(draw.scene, camera=draw.camera, seed=3100279)
    under = shoot(draw.scene, camera=draw.camera, seed=1, ev=-3.0, by="aperture")
    assert truth.spill == ()
    seen = inspect(frame, under=under)
    assert seen.levels.scale == 1
    assert seen.edge.spill == ()
    monkeypatch.setattr("inspector.washed.LEAST_SCALE", 1)
    assert any(run.sure for run in inspect(frame, under=under).edge.spill)
