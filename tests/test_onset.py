"""Where the subject begins beneath white light: edges of known place, photographed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, frame_of_light
from scipy.ndimage import distance_transform_edt
from scipy.stats import norm

from inspector.arrays import Points
from inspector.edge import Edge, measure_edge
from inspector.inspect import inspect
from inspector.levels import Levels, Under, measure_levels
from inspector.onset import Onset, Suspect, _where_deeper, find_onset
from inspector.outline import Outline
from inspector.simulate import render
from inspector.simulate.families import random_scene
from inspector.zones import find_zones

SIZE = (240, 200)
BLUR = 1.1
WALL = 2.0**0.6
"""Rendered level of the backdrop: green is lost, red and blue respond."""
SLANT = 0.1
"""The edge is not along the columns: slope of its course (ISO 12233 slants it, too)."""
ARC = 0.8
"""Radians to either side over which a ball is spilt upon."""
TINTED = np.array([0.88, 1.0, 1.1])


def inwards() -> NDArray[np.float64]:
    """(H, W) distance of each pixel's middle from the true outline, inwards positive."""
    x, y = np.meshgrid(np.arange(SIZE[0]) + 0.5, np.arange(SIZE[1]) + 0.5)
    return np.asarray((x - 120 - SLANT * (y - 100)) / np.hypot(1, SLANT))


def spilt_edge(top: float, fall: float, *, tint: NDArray[np.float64] | None = None) -> Levels:
    """A backdrop, and from its blurred end on light from ``top`` falling by half in ``fall`` px.

    In closed form: the step is the normal distribution's integral (scipy). The light inside is
    carried on outside under the step, where it counts for little.
    """
    u = inwards()
    share = norm.cdf(u / BLUR)[..., None]
    inside = top * 2.0 ** (-np.maximum(u, -2 * BLUR) / fall)[..., None]
    light = WALL * (1 - share) + share * inside * (np.ones(3) if tint is None else tint)
    return measure_levels(frame_of_light(light, NOISY))


def outline(points: Points, normal: Points) -> Outline:
    """One line of points (N, 2), with the same vector (2,) into the subject at all of them."""
    count = len(points)
    return Outline(points, np.tile(normal, (count, 1)), np.zeros(count, np.intp), np.ones(count))


def fitted(
    levels: Levels,
    white_at: float,
    *,
    traced: float = 4.0,
    backdrop_ev: NDArray[np.float32] | None = None,
) -> tuple[Onset, float]:
    """The onset along the outline if it was traced so many pixels inside the true one."""
    normal = np.array([1, -SLANT]) / np.hypot(1, SLANT)
    y = np.arange(30.0, 170.0, 2)
    points = np.stack([120 + SLANT * (y - 100), y], axis=1) + traced * normal
    count = len(points)
    everywhere = np.ones(count, bool)
    onset = find_onset(
        levels,
        np.zeros(levels.ev.shape, np.float32) if backdrop_ev is None else backdrop_ev,
        outline(points, normal),
        np.full(count, white_at - traced),
        Suspect(everywhere, everywhere, everywhere, np.full(count, np.inf)),
        known=False,
        blur=BLUR,
        tolerance=3.0,
    )
    return onset, -traced


@pytest.mark.parametrize("fall", [4.0, 8.0])
@pytest.mark.parametrize("top", [1.15, 1.25, 1.75])
def test_a_step_beneath_white_light_is_found_to_a_pixel(top: float, fall: float) -> None:
    white_at = fall * np.log2(top / 0.98)
    onset, true = fitted(spilt_edge(top, fall), white_at)
    off = np.abs(onset.at - true)
    assert np.quantile(off, 0.95) < 1
    assert np.median(off) < 2.5 * np.median(onset.error)
    assert np.median(onset.error) < 0.7


def test_light_on_the_subject_that_is_dimmer_than_the_backdrop_does_not_rise() -> None:
    onset, _ = fitted(spilt_edge(1.15, 8.0), 8 * np.log2(1.15 / 0.98))
    assert np.median(onset.rise) == 0


def test_light_of_the_backdrops_level_is_told_by_its_tint() -> None:
    onset, true = fitted(spilt_edge(WALL, 9.0, tint=TINTED), 5.0)
    assert np.abs(onset.at - true).max() < 1


@pytest.mark.parametrize("wide", [3.0, 4.0])
def test_a_foil_beside_a_lit_rim_is_not_where_the_subject_begins(wide: float) -> None:
    """It runs along the edge, thirty pixels off: before it light does not rise, it comes back."""
    u = inwards()
    share = norm.cdf(u / BLUR)
    light = 1.15 * (1 - share) + share * 0.95 * 2.0 ** (-np.maximum(u, -2 * BLUR) / 3)
    foil = norm.cdf((u + 30 + wide / 2) / BLUR) - norm.cdf((u + 30 - wide / 2) / BLUR)
    onset, _ = fitted(measure_levels(frame_of_light(light * (1 - 0.95 * foil), NOISY)), 2.0)
    assert np.nanmedian(onset.at) > -8


@pytest.mark.parametrize("traced", [0.0, 2.0, 7.0])
def test_it_does_not_depend_on_where_the_outline_was_traced(traced: float) -> None:
    onset, true = fitted(spilt_edge(1.2, 10.0), 2.9, traced=traced)
    assert np.abs(onset.at - true).max() < 0.6


@pytest.mark.parametrize("depth", [13.0, 16.0, 22.0, 24.0])
@pytest.mark.parametrize("tint", [None, TINTED])
def test_deep_spill_is_found_though_white_ends_far_from_the_outline(
    depth: float, tint: NDArray[np.float64] | None
) -> None:
    """A band a sixth of a stop brighter than the backdrop, or of its level in another tint."""
    u = inwards()
    share, end = norm.cdf(u / BLUR), norm.cdf((u - depth) / 2)
    band = (1 - end) * (WALL * 1.12 if tint is None else WALL) + end * 2.0**-5
    light = WALL * (1 - share)[..., None] + (share * band)[..., None] * (
        np.ones(3) if tint is None else tint
    )
    levels = measure_levels(frame_of_light(light, NOISY))
    onset, true = fitted(levels, depth, traced=depth)
    assert np.median(np.abs(onset.at - true)) < 1
    assert np.mean(np.abs(onset.at - true) < 2) > 0.8
    if tint is None:  # else only red responds, which is dimmer
        assert 0.03 < np.median(onset.rise) < 0.15  # a slope inside takes part of it


def test_a_backdrop_that_fades_towards_the_subject_is_no_deep_spill() -> None:
    """Half a stop over 60 px, known from the backdrop's course; a clean edge."""
    u = inwards()
    slope = 0.5 * np.clip(-u / 60, 0, 1)
    share = norm.cdf(u / BLUR)
    light = 1.05 * 2.0**slope * (1 - share) + 2.0**-5 * share
    levels = measure_levels(frame_of_light(light, NOISY))
    onset, true = fitted(
        levels, 0.0, traced=0.0, backdrop_ev=(np.log2(1.05) + slope).astype(np.float32)
    )
    assert np.abs(onset.at - true).max() < 2


def one_point(at: float, drop: float) -> Onset:
    """What the fit might say of one point of the outline."""
    nought = np.zeros(1)
    return Onset(np.array([at]), nought + 0.5, nought, nought + drop, nought, nought > 0)


def deeper(near: Onset, far: Onset, leaves: float, *, times: float, past: float = 3.0) -> Onset:
    """What is left of two onsets at one point."""
    line, at = np.zeros(1, np.intp), np.zeros(1)
    return _where_deeper(near, far, at, np.array([leaves]), line, times=times, unit=1.0, past=past)


@pytest.mark.parametrize(
    ("drop", "leaves", "deep"), [(0.0, 0.0, False), (0.1, 0.0, True), (0.0, 12.0, True)]
)
def test_light_that_only_bends_is_no_deep_spill(drop: float, leaves: float, deep: bool) -> None:
    """Twenty pixels deep in larger steps: it must drop, or leave the background's level early."""
    near, far = one_point(-1.0, drop), one_point(-20.0, drop)
    found = deeper(near, far, leaves, times=3.0)
    assert found.at[0] == (-20.0 if deep else -1.0)


@pytest.mark.parametrize(
    ("drop", "leaves", "told"), [(0.05, 0.0, False), (0.05, 4.0, True), (0.07, 0.0, True)]
)
def test_a_small_step_counts_where_the_level_departs_early_too(
    drop: float, leaves: float, told: bool
) -> None:
    unknown, sharp = one_point(np.nan, drop), one_point(-7.0, drop)
    found = deeper(unknown, sharp, leaves, times=1.0)
    assert bool(found.steps[0]) == told


@pytest.mark.parametrize(("depth", "told"), [(4.0, False), (7.0, True)])
def test_a_step_in_the_blur_that_was_left_out_does_not_count(depth: float, told: bool) -> None:
    """White light alone is fitted short of its fall: nothing nearer to it was looked at."""
    found = deeper(one_point(np.nan, 0.1), one_point(-depth, 0.1), 0.0, times=1.0, past=5.5)
    assert bool(found.steps[0]) == told


def brighter(levels: Levels, times: float) -> Levels:
    """The same light in a longer exposure, as far as the sensor goes."""
    frame = levels.frame
    mosaic = np.clip((frame.mosaic.astype(float) - 500) * times + 500, 0, 15000)
    return measure_levels(replace(frame, mosaic=mosaic.astype(frame.mosaic.dtype)))


def test_where_every_channel_is_saturated_outside_nothing_is_said() -> None:
    """Three times as bright white goes on for 16 px more: no photosite responds there."""
    onset, _ = fitted(brighter(spilt_edge(1.2, 10.0), 3.0), 18.7)
    assert (np.isnan(onset.at) | (onset.error > 1)).all()


def test_a_darker_frame_shows_the_outline_above_the_ceiling() -> None:
    """Its channels stand beside those of the frame, whatever it is said to be darker by."""
    under = spilt_edge(1.2, 10.0)
    levels = brighter(under, 1.4)
    onset, true = fitted(
        replace(levels, under=Under(under, np.zeros((*under.ev.shape, 2), np.float32), 0.7)), 7.8
    )
    assert np.abs(onset.at - true).max() < 0.6


def test_points_that_are_not_looked_at_are_not_known() -> None:
    levels = spilt_edge(1.2, 10.0)
    points = np.array([[120.0, 100.0]] * 30)
    look = np.zeros(30, bool)
    onset = find_onset(
        levels,
        levels.ev,
        outline(points, np.array([1.0, 0.0])),
        np.zeros(30),
        Suspect(look, look, look, np.zeros(30)),
        known=False,
        blur=BLUR,
        tolerance=3.0,
    )
    assert np.isnan(onset.at).all()
    assert np.isnan(onset.error).all()


def spilt_ball(deepest: float, stops_per_px: float) -> Edge:
    """The edge of a ball on whose right side white reaches inwards, ``deepest`` pixels at 0.

    So far from there, in radians, that the depth is spent, there is none.
    """
    x, y = np.meshgrid(np.arange(600) + 0.5 - 300, np.arange(400) + 0.5 - 200)
    inside = 120 - np.hypot(x, y)
    depth = deepest * (1 - (np.arctan2(y, x) / ARC) ** 2)
    light = np.minimum(0.8 * WALL, 0.98 * 2.0 ** (stops_per_px * (depth - inside)))
    subject = 2.0**-5 + np.where(depth > 0, light, 0)
    frame = frame_of_light(blurred(np.where(inside > 0, subject, WALL), BLUR), NOISY)
    levels = measure_levels(frame)
    return measure_edge(levels, find_zones(levels), hot_spot_area=0.0002)


@pytest.mark.parametrize("deepest", [5.0, 7.0, 10.0])
@pytest.mark.parametrize("stops_per_px", [0.35, 0.6])
def test_spill_is_as_long_as_white_is_past_the_tolerance(
    deepest: float, stops_per_px: float
) -> None:
    true = ARC * np.sqrt(1 - 3 / deepest) / np.pi
    edge = spilt_ball(deepest, stops_per_px)
    assert edge.spill_fraction == pytest.approx(true, abs=0.04)
    assert edge.spill[0].depth_px == pytest.approx(deepest, abs=2)


@pytest.mark.parametrize("deepest", [1.0, 1.5])
@pytest.mark.parametrize("stops_per_px", [0.35, 0.6])
def test_a_slow_fall_within_the_tolerance_is_no_spill(deepest: float, stops_per_px: float) -> None:
    """White ends within the tolerance, though the light goes on well beyond."""
    edge = spilt_ball(deepest, stops_per_px)
    assert edge.spill_fraction == 0
    assert not [run for run in edge.spill if run.sure]


def patched_ball(times: float, depth: float, *, edge: float = BLUR) -> Edge:
    """The edge of a ball with a sharp patch of light on its right side, ``depth`` pixels deep."""
    x, y = np.meshgrid(np.arange(600) + 0.5 - 300, np.arange(400) + 0.5 - 200)
    inside = 120 - np.hypot(x, y)
    patch = (inside > 0) & (inside < depth) & (np.abs(np.arctan2(y, x)) < 0.5)
    light = np.where(patch, times * WALL, np.where(inside > 0, 2.0**-5, WALL))
    frame = frame_of_light(blurred(light, edge), NOISY)
    levels = measure_levels(frame)
    return measure_edge(levels, find_zones(levels), hot_spot_area=0.0002)


@pytest.mark.parametrize("depth", [12.0, 16.0, 20.0, 26.0, 34.0, 46.0])
def test_a_sharp_patch_brighter_than_the_backdrop_is_spill(depth: float) -> None:
    """It ends as sharply as a clean edge does; where it begins the light rises.

    The edge is traced along its inner end, which is shorter than the arc by the radii.
    """
    edge = patched_ball(1.18, depth)
    assert edge.spill_fraction == pytest.approx(0.5 / np.pi * (1 - depth / 120), abs=0.05)
    assert edge.spill[0].sure
    assert edge.spill[0].depth_px == pytest.approx(depth, abs=4)


@pytest.mark.parametrize("times", [0.75, 1.2, 1.4])
@pytest.mark.parametrize("depth", [6.0, 8.0])
def test_a_sharp_strip_of_another_level_is_spill(times: float, depth: float) -> None:
    """Brighter or darker than the backdrop, white all the same, and only its level tells.

    Along a darker one it is not known everywhere, but nowhere else.
    """
    edge = patched_ball(times, depth)
    true = 0.5 / np.pi * (1 - depth / 120)
    assert edge.spill_fraction is not None
    assert (0.8 if times > 1 else 0.4) * true < edge.spill_fraction < 1.2 * true
    assert edge.spill[0].depth_px == pytest.approx(depth, abs=2)


@pytest.mark.parametrize("times", [1.06, 1.08])
def test_a_faint_strip_is_spill_where_it_goes_on_for_long(times: float) -> None:
    """Point for point its rise is lost in the noise, over 120 pixels it is not."""
    edge = patched_ball(times, 6.0)
    true = 0.5 / np.pi * (1 - 6.0 / 120)
    assert edge.spill_fraction is not None
    assert 0.7 * true < edge.spill_fraction < 1.2 * true


@pytest.mark.parametrize("level", [0.8, 0.9])
def test_a_seam_that_runs_along_the_outline_is_no_spill(level: float) -> None:
    """A line three pixels wide: beyond it the backdrop's light comes back."""
    x, y = np.meshgrid(np.arange(600) + 0.5 - 300, np.arange(400) + 0.5 - 200)
    away = np.hypot(x, y) - 120
    seam = (away > 4) & (away < 7) & (x > 0)
    light = np.where(away < 0, 2.0**-5, np.where(seam, level * WALL, WALL))
    levels = measure_levels(frame_of_light(blurred(light, BLUR), NOISY))
    assert measure_edge(levels, find_zones(levels), hot_spot_area=0.0002).spill_fraction == 0


@pytest.mark.parametrize("top", [1.25, 1.5])
def test_tinted_light_is_white_as_far_as_its_lowest_channel(top: float) -> None:
    """The mean of the channels goes on being white for longer."""
    fall = 8.0
    lowest = fall * np.log2(top * TINTED.min() / 0.98)
    mean = fall * np.log2(top * TINTED.mean() / 0.98)
    onset, true = fitted(spilt_edge(top, fall, tint=TINTED), mean)
    found = np.median(onset.white_at) - true
    assert found == pytest.approx(lowest, abs=0.6)
    assert abs(found - lowest) < abs(found - mean)


def test_a_clean_ball_before_a_hot_centre_does_not_spill() -> None:
    x, y = np.meshgrid(np.arange(600) + 0.5 - 300, np.arange(400) + 0.5 - 200)
    wall = WALL * (0.85 + 0.3 * np.exp(-((x - 130) ** 2 + y**2) / (2 * 40**2)))
    light = np.where(np.hypot(x, y) < 120, 2.0**-5, wall)
    levels = measure_levels(frame_of_light(blurred(light, BLUR), NOISY))
    edge = measure_edge(levels, find_zones(levels), hot_spot_area=0.0002)
    assert edge.spill_fraction == 0


@pytest.mark.parametrize(
    ("wide", "over_ev", "rim", "falls"),
    [(24, 0.3, 0.8, 24.0), (26, 0.3, 0.9, 30.0), (24, 0.6, 0.95, 30.0), (26, 0.5, 0.95, 30.0)],
)
def test_a_bright_rim_opposite_is_no_outline_beneath_deep_spill(
    wide: int, over_ev: float, rim: float, falls: float
) -> None:
    """Of a narrow gap both sides glow, and either is seen from the other."""
    x, y = np.meshgrid(np.arange(600) + 0.5 - 300, np.arange(500) + 0.5)
    gap = (np.abs(x) < wide / 2) & (y > 250)
    figure = (np.abs(x) < 180) & (y > 50) & (y < 450) & ~gap
    glow = rim * np.exp2(-distance_transform_edt(figure) / falls)
    glows = (np.abs(x) < 120) & (y > 160)
    light = np.where(figure, np.where(glows, glow, 2.0**-6), 2.0**over_ev)
    levels = measure_levels(frame_of_light(blurred(light, 1.2), NOISY))
    edge = measure_edge(levels, find_zones(levels), hot_spot_area=0.0002)
    assert sum(run.length_px for run in edge.spill if run.sure and run.depth_px > 6) == 0


def test_where_the_outline_may_lie_beneath_white_the_headroom_may_be_less() -> None:
    """White ends within the tolerance; the places where it does so have hardly any headroom."""
    edge = spilt_ball(1.5, 0.35)
    assert edge.headroom is not None
    known = np.isfinite(edge.headroom.least_ev)
    assert edge.spill_fraction == 0
    assert (edge.headroom.least_ev <= edge.headroom.ev)[known].all()
    assert np.quantile(edge.headroom.least_ev[known], 0.02) < 0.5


def test_light_that_saturates_where_the_backdrop_was_told_is_the_subjects(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A simulated arm, lit to more than a stop over the backdrop, which only red still tells."""
    draw = random_scene(3100166)
    frame, truth = render(draw.scene, camera=draw.camera, seed=3100166)
    assert inspect(frame).edge.spill_fraction == pytest.approx(truth.spill_fraction, abs=0.01)
    monkeypatch.setattr("inspector.step_fit._too_dark", lambda *_: 0.0)
    assert (inspect(frame).edge.spill_fraction or 0.0) < 0.5 * (truth.spill_fraction or 0.0)


@pytest.mark.parametrize("wall_ev", [2.1, 2.4])
@pytest.mark.parametrize("aside", [0.0, 0.5])
def test_a_clean_edge_far_over_white_shows_no_step_in_its_blur(
    wall_ev: float, aside: float
) -> None:
    """White ends past the middle of the fall there, so more of the blur lies before its end."""
    x, y = np.meshgrid(np.arange(900) + 0.5, np.arange(600) + 0.5)
    body = (np.abs(x - 450 - aside) < 120) & (y > 150)
    hot = wall_ev - 1.2e-6 * ((x - 450) ** 2 + (y - 300) ** 2)
    light = blurred(np.where(body, 2.0**-6, 2.0**hot), 2.1)
    frame, under = (
        frame_of_light(one, NOISY, seed=s) for one, s in ((light, 1), (light * 2.0**-1.8, 2))
    )
    assert inspect(frame, under=under).edge.spill_fraction == 0
