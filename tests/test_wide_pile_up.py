"""A clip as noisy as shot noise, and lit surfaces that are spread as little.

The model is that of tests/outside/test_noise_at_the_clip.py: std/mean = 1/√electrons (Foi et al.,
IEEE TIP 17(10), 2008) under the clip, a normal spread of the saturation of sites at it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import CAMERA, frame_of_light

from inspector.levels import measure_clip
from inspector.simulate.camera import Camera

BLACK = 256.0
CLIPS = np.array([3693.0, 3704.0, 3637.0, 3654.0])
TWELVE = replace(
    CAMERA, bits=12, black=(BLACK,) * 4, clip=tuple(CLIPS), stated_clip=3780.0, read_noise_e=3.0
)
"""Twelve bits, its channels clipping 2 % apart, under a stated level that is 2 to 4 % too high."""


def wall(lowest: float, highest: float) -> NDArray[np.float64]:
    """(400, 600) light that rises across, a dark subject before its middle third."""
    light = np.tile(np.geomspace(lowest, highest, 600), (400, 1))
    light[:, 200:400] = 0.04
    return light


def noisy(clip_spread: float, well: float = 60_000) -> Camera:
    return replace(TWELVE, clip_spread=clip_spread, full_well_e=well)


def off(levels: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray((levels - CLIPS) / (CLIPS - BLACK))


@pytest.mark.parametrize("clip_spread", [8.0, 14.0, 20.0])
@pytest.mark.parametrize("pattern", ["RGGB", "GBRG"])
def test_green_is_measured_where_red_and_blue_show_that_the_light_varies(
    clip_spread: float, pattern: str
) -> None:
    camera = replace(noisy(clip_spread), pattern=pattern)
    clip = measure_clip(frame_of_light(wall(1.15, 1.4), camera))
    assert clip.measured.tolist() == [False, True, True, False]
    assert np.abs(off(clip.level))[1:3].max() < 0.001


@pytest.mark.parametrize("clip_spread", [8.0, 14.0, 20.0])
def test_channels_of_other_gains_that_stop_at_one_level_are_all_measured(
    clip_spread: float,
) -> None:
    clip = measure_clip(frame_of_light(np.where(wall(1, 1) > 0.5, 5.0, 0.04), noisy(clip_spread)))
    assert clip.measured.all()
    assert np.abs(off(clip.level)).max() < 0.001


def test_a_patch_of_one_and_a_half_per_cent_is_enough() -> None:
    """36 blocks of eight cells a side."""
    light = np.full((800, 800), 0.04)
    light[300:396, 300:396] = 5.0
    assert measure_clip(frame_of_light(light, noisy(14.0))).measured.all()


@pytest.mark.parametrize("well", [20_000, 60_000, 150_000])
@pytest.mark.parametrize(
    "light", [wall(0.93, 0.93), wall(0.8, 0.8), wall(0.9, 0.96), wall(0.5, 0.95)]
)
def test_a_wall_that_does_not_clip_is_none(light: NDArray[np.float64], well: float) -> None:
    assert not measure_clip(frame_of_light(light, noisy(8.0, well))).measured.any()


@pytest.mark.parametrize("well", [20_000, 60_000, 150_000])
@pytest.mark.parametrize("hollow", [2, 4, 8])
def test_a_crest_whose_channels_lie_at_one_level_is_none(hollow: float, well: float) -> None:
    """Light whose colour makes up for the gains, brightest along a line: less at its ends by
    so many spreads of the shot noise. Were it flat as well, it could not be told."""
    fall = hollow * np.sqrt(0.93 / well) * np.linspace(-1, 1, 600) ** 2
    light = np.tile(0.93 - fall, (400, 1))
    light[:, :200] = 0.04
    tinted = light[..., None] * np.array([2.0, 1.0, 1.5])
    assert not measure_clip(frame_of_light(tinted, noisy(8.0, well))).measured.any()


@pytest.mark.parametrize("well", [60_000, 150_000])
def test_a_flat_warm_wall_is_none(well: float) -> None:
    """Red and green both near the top, at levels of their own."""
    light = wall(0.93, 0.93)[..., None] * np.array([1.76, 1.0, 0.8])
    assert not measure_clip(frame_of_light(light, noisy(8.0, well))).measured.any()


@pytest.mark.parametrize("well", [20_000, 60_000, 150_000])
def test_a_flat_wall_is_none_for_a_camera_whose_gains_are_much_alike(well: float) -> None:
    camera = replace(noisy(8.0, well), red_gain=1.04, blue_gain=1.03)
    assert not measure_clip(frame_of_light(wall(0.93, 0.93), camera)).measured.any()
