"""Folds and shadows on the backdrop, on light given as numbers."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, disc, frame_of_light

from inspector.inspect import inspect
from inspector.levels import measure_levels
from inspector.shade import find_shade
from inspector.zones import Zones, find_zones

SIZE = (900, 600)
X, Y = np.meshgrid(np.arange(SIZE[0]) + 0.5, np.arange(SIZE[1]) + 0.5)
FIGURE = disc(SIZE, (450, 300), 120)
WALL, DARK = 2.0**0.4, 2.0**-6


def with_figure(wall: NDArray[np.floating]) -> NDArray[np.float32]:
    return blurred(np.where(FIGURE, DARK, wall), 1.2)


def fold(depth: float, sigma: float) -> NDArray[np.floating]:
    """A wall with a dark line across it, so many stops deep in its middle."""
    return np.asarray(WALL * 2.0 ** (-depth * np.exp(-((Y - 260) ** 2) / (2 * sigma**2))))


def zones_of(light: NDArray[np.float32]) -> Zones:
    return find_zones(measure_levels(frame_of_light(light, NOISY)))


@pytest.mark.parametrize(("depth", "sigma"), [(1.2, 16.0), (1.5, 16.0), (1.8, 24.0)])
def test_a_fold_is_backdrop_that_falls_short(depth: float, sigma: float) -> None:
    seen = inspect(frame_of_light(with_figure(fold(depth, sigma)), NOISY))
    true = FIGURE[::2, ::2]
    both = seen.zones.subject & true
    assert both.sum() > 0.98 * (seen.zones.subject | true).sum()
    assert [r.code for r in seen.verdict.reasons] == ["background-short"]
    wall = ~FIGURE & (blurred(FIGURE.astype(float), 5.0) < 0.01)
    white = float((with_figure(fold(depth, sigma)) >= 0.98)[wall].mean())
    assert seen.exposure.white_fraction == pytest.approx(white, abs=0.01)


@pytest.mark.parametrize(("depth", "power"), [(1.6, 8), (2.4, 8), (2.8, 8), (3.3, 6)])
def test_a_round_shadow_is_shade_in_its_middle_too(depth: float, power: int) -> None:
    """Something out of the picture casts it; its penumbra is some thirty pixels wide."""
    away = np.hypot((X - 170) / 80, (Y - 440) / 95)
    zones = zones_of(with_figure(WALL * 2.0 ** (-depth * np.exp(-(away**power)))))
    assert zones.backdrop[(away < 1.3)[::2, ::2]].mean() > 0.99


def test_a_shadow_that_the_end_of_the_softbox_cuts_is_shade_too() -> None:
    """Round, two stops and more deep, with its middle near the softbox's upper end."""
    room = (Y < 60) | (np.abs(X - SIZE[0] / 2) > SIZE[0] / 2 - 40)
    away = np.hypot((X - 190) / 90, (Y - 90) / 80)
    light = with_figure(WALL * 2.0 ** (-2.3 * np.exp(-(away**8))))
    zones = zones_of(np.where(room, 2.0**-7, light))
    assert zones.backdrop[((away < 1.3) & (Y > 75))[::2, ::2]].mean() > 0.98


def test_a_short_dark_place_is_a_fold_only_beside_a_long_one_as_dark() -> None:
    y, x = np.mgrid[:300, :450]
    short = 1.2 * np.exp(-((x - 300) ** 2 + (y - 80) ** 2) / (2 * 9**2))
    deeper = 1.9 * np.exp(-((((x - 100) ** 2 + (y - 80) ** 2) / (2 * 12**2)) ** 2))
    long = 1.2 * np.exp(-((y - 200) ** 2) / (2 * 9**2))
    wall = np.zeros(x.shape, np.float32)
    for dips, short_is in ((short + deeper, False), (short + deeper + long, True)):
        ev = (wall - dips).astype(np.float32)
        shade = find_shade(ev, wall, ev < -0.9, np.ones(x.shape, bool))
        assert shade[80, 300] == short_is
        assert not shade[80, 100]
        assert shade[200].all() == short_is


def test_as_dark_a_band_with_sharp_edges_stands_before_the_backdrop() -> None:
    band = np.where(np.abs(Y - 260) < 20, WALL * 2.0**-1.5, WALL)
    zones = zones_of(with_figure(band))
    assert zones.subject[130, 20:100].all()


def test_what_fades_into_the_dark_stands_before_the_backdrop() -> None:
    """A foot that hangs out of focus is no shade, be its edge ever so soft."""
    zones = zones_of(with_figure(fold(4.5, 16.0)))
    assert zones.subject[130, 20:100].all()


def test_light_that_falls_slowly_over_the_subjects_edge_is_spill() -> None:
    depth = 120 - np.hypot(X - 450, Y - 300)
    lit = np.where(np.abs(Y - 300) < 60, WALL * 2.0 ** (-np.maximum(depth, 0) / 12), DARK)
    light = blurred(np.where(FIGURE, np.maximum(lit, DARK), WALL), 1.2)
    seen = inspect(frame_of_light(light, NOISY))
    assert "spill" in [r.code for r in seen.verdict.reasons]
    assert seen.zones.subject[150, 175:275].all()
