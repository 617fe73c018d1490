"""Sharp-ended light that eats bites out of the outline, on light given as numbers."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, disc, frame_of_light
from scipy import stats

from inspector.doubt import bitten_by_seam
from inspector.halfway import past_the_middle
from inspector.inspect import Inspection, inspect
from inspector.levels import measure_levels

SIZE = (900, 700)
X, Y = np.meshgrid(np.arange(SIZE[0]) + 0.5, np.arange(SIZE[1]) + 0.5)
WALL, DARK = 2.0**0.7, 2.0**-6
CHEST, HEAD = disc(SIZE, (450, 450), 160), disc(SIZE, (450, 220), 80)
FIGURE = CHEST | HEAD | ((np.abs(X - 450) < 160) & (Y > 450))
LENGTH, DEPTH = 70.0, 14.0
"""How long and how deep each patch of light is, pixels."""


def bites(depth: float = DEPTH) -> NDArray[np.bool_]:
    """(H, W) four patches at the figure's sides, of light that ends where its depth does."""
    patches = np.zeros(X.shape, bool)
    for middle in (520.0, 620.0):
        deep = depth * np.cos(np.clip((Y - middle) / LENGTH, -0.5, 0.5) * np.pi) ** 2
        patches |= (np.abs(X - 450) > 160 - deep) & (Y > 500)
    return np.asarray(patches & FIGURE)


def seen(light: NDArray[np.floating], *, seed: int = 1) -> Inspection:
    return inspect(frame_of_light(blurred(light, 1.2), NOISY, seed=seed))


def sure_px(found: Inspection) -> float:
    return sum(run.length_px for run in found.edge.spill if run.sure)


@pytest.mark.parametrize("dimmer", [0.2, 0.3, 0.45])
def test_light_that_eats_into_the_outline_and_ends_sharply_is_spill(dimmer: float) -> None:
    light = np.where(FIGURE & ~bites(), DARK, WALL)
    found = seen(np.where(bites(), WALL * 2.0**-dimmer, light))
    deep = LENGTH * 2 / np.pi * np.arccos(np.sqrt(3 / DEPTH))
    assert sure_px(found) == pytest.approx(4 * deep, rel=0.3)
    assert [r.code for r in found.verdict.reasons] == ["spill"]
    assert max(run.depth_px for run in found.edge.spill if run.sure) == pytest.approx(DEPTH, abs=3)


def test_a_slight_step_is_not_sure() -> None:
    """Strands and the lens's blur make the like."""
    found = seen(np.where(bites(), WALL * 2.0**-0.08, np.where(FIGURE, DARK, WALL)))
    assert sure_px(found) == 0


@pytest.mark.parametrize("dimmer", [0.12, 0.2, 0.3])
def test_where_the_outline_bends_it_is_told_by_its_going_on_across_the_mouth(
    dimmer: float,
) -> None:
    """On top of the head the light leaves an outline that is straight, or bulges still."""
    aside = np.arctan2(X - 450, 220 - Y) * 3
    deep = 12 * np.cos(np.clip(aside, -np.pi / 2, np.pi / 2)) ** 2
    patch = HEAD & (np.hypot(X - 450, Y - 220) > 80 - deep) & (Y < 220)
    light = np.where(FIGURE & ~patch, DARK, WALL)
    found = seen(np.where(patch, WALL * 2.0**-dimmer, light))
    [run] = [run for run in found.edge.spill if run.sure]
    assert run.where == "12 o'clock"
    assert run.depth_px == pytest.approx(12, abs=3)


@pytest.mark.parametrize("seed", range(3))
def test_a_hollow_that_shows_the_backdrop_is_none(seed: int) -> None:
    found = seen(np.where(FIGURE & ~bites(), DARK, WALL), seed=seed)
    assert found.edge.spill == ()


def test_a_shade_that_goes_on_beyond_the_hollow_is_none() -> None:
    """A fold of the backdrop beside the figure, 80 px wide, dims all of the light there."""
    fold = WALL * 2.0 ** (-0.25 * blurred(np.abs(np.abs(X - 450) - 160) < 40, 6.0))
    found = seen(np.where(FIGURE & ~bites(), DARK, fold))
    assert sure_px(found) == 0


@pytest.mark.parametrize(("half_width", "dimmer"), [(2.5, 0.4), (4.0, 0.3), (4.0, 0.5)])
def test_a_strap_across_a_hollow_is_none(half_width: float, dimmer: float) -> None:
    """Past it, deeper in the hollow, the backdrop is as bright as before it."""
    strap = blurred((np.abs(np.abs(X - 450) - 150) < half_width) & (Y > 450), 1.5)
    wall = WALL * 2.0 ** (-dimmer * strap / strap.max())
    found = seen(np.where(FIGURE & ~bites(24.0), DARK, wall))
    assert sure_px(found) == 0


@pytest.mark.parametrize("lean", [0.0, 0.06])
def test_a_seam_that_shows_in_a_hollow_is_not_sure(lean: float) -> None:
    """It goes on in the backdrop above the figure."""
    seam = blurred(np.abs(X - (297 + lean * (570 - Y))) < 3, 1.5)
    wall = WALL * 2.0 ** (-0.3 * seam / seam.max())
    found = seen(np.where(FIGURE & ~bites(16.0), DARK, wall))
    assert sure_px(found) == 0


@pytest.mark.parametrize(("bitten", "seam"), [(30, False), (50, True)])
def test_a_seam_explains_a_run_only_if_most_of_it_is_a_bite(bitten: int, seam: bool) -> None:
    """A straight step at x = 100 all down the backdrop passes the bite's middle."""
    levels = measure_levels(frame_of_light(np.where(FIGURE, DARK, WALL), NOISY))
    light = np.zeros(levels.ev.shape, np.float32)
    light[:, 100:] = -0.2
    points = np.stack([np.full(60, 100.0 * levels.scale), 200.0 + np.arange(60)], axis=1)
    run: Any = SimpleNamespace(span=slice(0, 60), points=points, inward=np.zeros((60, 2)))
    across: Any = SimpleNamespace(white_at=np.zeros(60))
    bites = np.where(np.arange(60) < bitten, 8.0, 0.0)
    assert bitten_by_seam(run, levels, light, across, bites) == seam


@pytest.mark.parametrize("ev", [1.0, 1.5, 2.0, 2.5, 3.0])
def test_white_ends_further_in_the_brighter_the_backdrop(ev: float) -> None:
    """Where a step blurred by a Gaussian falls under white, by SciPy's normal distribution."""
    found = past_the_middle(np.full(3, ev, np.float32))
    np.testing.assert_allclose(found, stats.norm.isf(2.0**-ev), atol=2e-3)


def test_below_a_stop_over_white_it_is_the_middle_or_before() -> None:
    assert past_the_middle(np.array([0.0, 0.4], np.float32)).tolist() == [0, 0]
