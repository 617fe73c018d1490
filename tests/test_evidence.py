"""A bright patch inside the subject: the background seen through a hole, or light that lies on it.

The signs are those of the measures: a hole has the background's level within 0.04 stop and an
edge as sharp as the outline's; light differs in level, in tint, or falls off slowly.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, disc, frame_of_light
from scipy.stats import t

from inspector.evidence import _core, tint_off
from inspector.levels import measure_levels
from inspector.shape import is_thin, roundness
from inspector.student import beyond, density
from inspector.zones import Zones, find_zones

SIZE = (960, 640)
CENTRE = (480, 320)
WALL, DARK = 2.0**0.2, 2.0**-5.5


def zones_with(
    patch: NDArray[np.float32],
    light: float,
    tint: tuple[float, ...],
    *,
    wall: float = WALL,
    radius: float = 130,
) -> Zones:
    """A ball before a wall that falls off to its sides, and light on a part of the ball."""
    x = (np.arange(SIZE[0]) - CENTRE[0]) / SIZE[0]
    lit = np.broadcast_to(wall * 2.0 ** (-0.4 * x**2), SIZE[::-1])
    set_light = np.where(disc(SIZE, CENTRE, radius), DARK, lit)
    colours = [set_light * (1 - patch) + patch * light * lit * t for t in tint]
    picture = np.stack([blurred(c) for c in colours], axis=2)
    return find_zones(measure_levels(frame_of_light(picture, NOISY)))


def sharp() -> NDArray[np.float32]:
    return disc(SIZE, CENTRE, 22).astype(np.float32)


def sure(zones: Zones) -> list[bool]:
    return [island.sure for island in zones.islands]


@pytest.mark.parametrize(("leg", "blur"), [(18, 1.0), (20, 1.4), (24, 1.4)])
def test_of_a_small_gap_the_blurred_rim_does_not_tell_the_level(leg: int, blur: float) -> None:
    """A right triangle: its level is that of its brightest part; most of it is darker by far."""
    y, x = np.mgrid[: SIZE[1], : SIZE[0]]
    gap = (x >= 480) & (y >= 300) & (x - 480 + y - 300 < leg)
    light = blurred(np.where(gap, WALL, DARK), blur)
    levels = measure_levels(frame_of_light(light, NOISY))
    inside = (levels.ev > np.log2(WALL / 2)).astype(np.uint8)
    assert np.median(levels.ev[inside > 0]) < np.log2(WALL) - 0.1
    core, _ = _core(inside, levels.ev)
    assert np.median(levels.ev[core]) == pytest.approx(np.log2(WALL), abs=0.04)


def test_a_sharp_patch_of_the_background_s_own_light_is_a_hole() -> None:
    """A round one may as well be a spot: no gap of the simulators is."""
    zones = zones_with(square(), 1.0, (1, 1, 1))
    assert sure(zones) == []
    assert zones.backdrop[CENTRE[1] // 2, CENTRE[0] // 2]
    assert sure(zones_with(sharp(), 1.0, (1, 1, 1))) == [False]


@pytest.mark.parametrize(
    ("light", "tint"), [(2.0**0.35, (1, 1, 1)), (2.0**-0.35, (1, 1, 1)), (1.0, (0.88, 1, 1.06))]
)
def test_sharp_light_is_told_by_its_level_or_by_its_tint(
    light: float, tint: tuple[float, ...]
) -> None:
    zones = zones_with(sharp(), light, tint)
    assert sure(zones) == [True]
    assert not zones.backdrop[CENTRE[1] // 2, CENTRE[0] // 2]


def square() -> NDArray[np.float32]:
    patch = np.zeros(SIZE[::-1], np.float32)
    patch[300:340, 460:500] = 1
    return patch


def test_where_the_background_is_seen_only_far_away_its_level_is_known_less_well() -> None:
    """Half a stop dimmer than foretold, an eighth and over a quarter of the picture away."""
    assert sure(zones_with(square(), 2.0**-0.5, (1, 1, 1))) == [False]
    assert sure(zones_with(square(), 2.0**-0.5, (1, 1, 1), radius=290)) == []
    assert sure(zones_with(sharp(), 2.0**-0.5, (1, 1, 1), radius=290)) == [True]


def test_soft_light_near_the_background_s_level_is_told_by_its_edge() -> None:
    """A spot as near in level as holes are (0.04 stop) but with a sharp edge stays open."""
    soft = cv2.GaussianBlur(disc(SIZE, CENTRE, 26).astype(np.float32), (0, 0), 10)
    assert sure(zones_with(soft / soft.max(), 2.0**0.04, (1, 1, 1))) == [True]
    assert sure(zones_with(sharp(), 2.0**0.04, (1, 1, 1))) == [False]


@pytest.mark.parametrize("off_ev", [0.06, 0.1])
def test_a_round_patch_off_the_level_is_light_and_one_with_corners_a_hole(off_ev: float) -> None:
    """Gaps are hardly ever round, so their level may differ by less than a square one's."""
    assert sure(zones_with(sharp(), 2.0**off_ev, (1, 1, 1))) == [True]
    assert sure(zones_with(square(), 2.0**off_ev, (1, 1, 1))) == []


@pytest.mark.parametrize("thick", [2, 3])
def test_a_gap_with_spokes_before_it_is_no_uneven_light(thick: int) -> None:
    """Half a wheel of sixteen spokes, which the lens blurs: around its hub all is dimmer."""
    y, x = np.mgrid[: SIZE[1], : SIZE[0]]
    dx, dy = x - CENTRE[0], y - CENTRE[1]
    off, turn = np.hypot(dx, dy), np.arctan2(dy, dx) * 16 / (2 * np.pi)
    spoke = np.abs((turn + 0.5) % 1 - 0.5) * 2 * np.pi / 16 * off < thick / 2
    gap = (off < 80) & (dx > 6) & ~spoke
    light = np.where(disc(SIZE, CENTRE, 170) & ~gap, DARK, WALL)
    zones = find_zones(measure_levels(frame_of_light(blurred(light, 2.4), NOISY)))
    assert True not in sure(zones)
    assert zones.backdrop[CENTRE[1] // 2, CENTRE[0] // 2 + 30]


def test_a_gap_before_the_brightest_place_of_a_wall_is_not_surely_light() -> None:
    """The level carried on from around the ball is too low; edge, tint and corners speak for it."""
    y, x = np.mgrid[: SIZE[1], : SIZE[0]]
    wall = 2.0 ** (0.1 + 0.5 * np.exp(-((x - 480) ** 2 + (y - 370) ** 2) / (2 * 80**2)))
    gap = (abs(x - 480) < 25) & (abs(y - 370) < 25)
    light = np.where(disc(SIZE, CENTRE, 190) & ~gap, DARK, wall)
    warm = np.stack([blurred(light * t) for t in (0.98, 1.0, 0.95)], axis=2)
    assert True not in sure(find_zones(measure_levels(frame_of_light(warm, NOISY))))


def test_a_narrow_slit_is_never_surely_light() -> None:
    slit = np.zeros(SIZE[::-1], np.float32)
    slit[260:380, 476:484] = 1
    assert True not in sure(zones_with(slit, 2.0**0.3, (1, 1, 1)))
    assert is_thin(slit > 0)


def test_roundness_is_that_of_the_closed_forms() -> None:
    """Second moments of an ellipse, a rectangle (3/pi), a triangle (3 sqrt(3) / 2 pi)."""
    x, y = np.meshgrid(np.arange(200) - 99.5, np.arange(200) - 99.5)
    assert roundness((x / 80) ** 2 + (y / 30) ** 2 < 1) == pytest.approx(1, abs=0.002)
    turned = np.hypot(*(np.array([x + y, x - y]) / np.sqrt(2) / np.array([50, 25])[:, None, None]))
    assert roundness(turned < 1) == pytest.approx(1, abs=0.005)
    assert roundness((abs(x) < 70) & (abs(y) < 20)) == pytest.approx(3 / np.pi, abs=0.002)
    triangle = (y > -60) & (y < 80 - np.sqrt(3) * abs(x))
    assert roundness(triangle) == pytest.approx(3 * np.sqrt(3) / (2 * np.pi), abs=0.01)


def test_a_sharp_round_patch_at_the_ceiling_stays_open_and_one_with_corners_is_a_hole() -> None:
    """A background 1.5 stops over white hides level and tint of both."""
    assert sure(zones_with(sharp(), 1.0, (1, 1, 1), wall=2.0**1.5)) == [False]
    assert sure(zones_with(square(), 1.0, (1, 1, 1), wall=2.0**1.5)) == []


def test_a_tint_is_the_ratio_of_colours_whatever_the_level() -> None:
    """By hand: red over blue 1.25, so log2(1.25) = 0.322 stop; levels cancel out."""
    grey = np.full((200, 4), 0.4, np.float32)
    warm = 0.5 * np.array([[1.25, 1.0, 1.0, 1.0]], np.float32).repeat(30, axis=0)
    top, names = np.full(4, 2.0), ("R", "G1", "G2", "B")
    assert tint_off(warm, grey, top, names) == pytest.approx(np.log2(1.25), abs=1e-5)
    assert tint_off(grey[:30], grey, top, names) == pytest.approx(0.0, abs=1e-6)


def test_a_tint_is_unknown_where_fewer_than_two_colours_respond() -> None:
    clipped = np.full((200, 4), [0.5, 1.0, 1.0, 1.0], np.float32)
    top, names = np.array([2.0, 1.0, 1.0, 1.0]), ("R", "G1", "G2", "B")
    assert tint_off(clipped, clipped, top, names) is None


@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_a_slit_tells_its_level_where_no_edge_cuts_a_pixel(shift: float) -> None:
    """Five sensor pixels wide, of two each to a working one: its sides are cut, not its middle."""
    x = np.arange(SIZE[0] * 4) / 4 - shift
    across = np.where((x >= 480) & (x < 485), WALL, DARK).reshape(-1, 4).mean(axis=1)
    y = np.arange(SIZE[1])[:, None]
    light = blurred(np.where((y >= 300) & (y < 360), across, DARK), 0.5)
    levels = measure_levels(frame_of_light(light, NOISY))
    inside = (levels.ev > np.log2(WALL / 2)).astype(np.uint8)
    core, is_whole = _core(inside, levels.ev)
    assert not is_whole
    assert np.median(levels.ev[core]) == pytest.approx(np.log2(WALL), abs=0.05)


def test_a_hole_has_the_level_of_the_pane_it_lies_in() -> None:
    """Two panes of a window; the smaller is half a stop brighter, and a hole lies next to it."""
    x, y = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    panes = np.where(x < 640, 2.0**0.1, 2.0**0.6)
    bar = (x >= 630) & (x < 650)
    body = (np.abs(x - 760) < 60) & (y > 200)
    hole = (np.abs(x - 745) < 11) & (np.abs(y - 420) < 11)
    light = blurred(np.where(bar | (body & ~hole), DARK, panes))
    zones = find_zones(measure_levels(frame_of_light(light, NOISY)))
    assert not any(sure(zones))
    assert zones.backdrop[420 // 2, 745 // 2]


@pytest.mark.parametrize("freedom", [2, 4])
def test_deviations_are_weighed_as_scipys_students_t_has_them(freedom: int) -> None:
    """scipy.stats.t; of a size both signs count."""
    for x in (0.0, 0.3, 2.0, 20.0):
        expected = 2 * t.pdf(x, freedom, scale=0.5)
        assert density(x, 0.5, freedom) == pytest.approx(expected, rel=1e-12)
        assert beyond(x) == pytest.approx(t.sf(x, 2), rel=1e-9)
