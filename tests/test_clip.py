"""Where a channel clips: literal histograms, and pile-ups of any height, place and noise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray
from plain import CAMERA, cells, frame_of_light

from inspector.clip import Clip, find_pile_up
from inspector.levels import measure_clip


def histogram(sites: ArrayLike) -> NDArray[np.int64]:
    """(65536,) sites at each raw level."""
    raw = np.clip(np.rint(np.asarray(sites, float)), 0, 65535).astype(np.int64)
    return np.bincount(raw, minlength=65536)


def dark(count: int = 50_000) -> NDArray[np.float64]:
    """A subject: levels from 520 to 2000."""
    return np.linspace(520, 2000, count)


def test_one_full_bin_is_the_clip() -> None:
    sites = np.concatenate([dark(), np.full(4000, 15778)])
    assert find_pile_up(histogram(sites), black=512, stated=16383) == pytest.approx(15778, abs=0.1)


def test_a_peak_widened_by_noise_at_saturation_is_read_at_its_middle() -> None:
    spread = np.random.default_rng(1).normal(15500, 12, 20_000)
    found = find_pile_up(histogram(np.concatenate([dark(), spread])), black=512, stated=16383)
    assert found == pytest.approx(15500, abs=2)


def test_a_stated_level_that_is_too_low_does_not_hide_the_clip() -> None:
    sites = np.concatenate([dark(), np.full(4000, 16100)])
    assert find_pile_up(histogram(sites), black=512, stated=15000) == pytest.approx(16100, abs=0.1)


def test_hot_photosites_above_the_clip_do_not_move_it() -> None:
    hot = np.random.default_rng(2).integers(15800, 16383, 6)
    sites = np.concatenate([dark(), np.full(4000, 15700), hot])
    assert find_pile_up(histogram(sites), black=512, stated=16383) == pytest.approx(15700, abs=1)


@pytest.mark.parametrize("step", [2, 4, 8, 16])
@pytest.mark.parametrize("between", [0.0, 0.25, 0.5, 0.75])
def test_a_clip_between_two_steps_of_a_coarse_file_is_found(step: int, between: float) -> None:
    """Lossy files store bright levels in steps (DNG 1.7, LinearizationTable)."""
    level = 15744 + step * between
    noise = np.random.default_rng(step).normal(level, 0.35 * step, 20_000)
    sites = np.concatenate([np.linspace(520, 15500, 50_000), noise])
    found = find_pile_up(histogram(step * np.rint(sites / step)), black=512, stated=16383)
    assert found == pytest.approx(level, abs=0.001 * (level - 512))


def test_a_few_sites_at_one_level_are_no_pile_up() -> None:
    sites = np.concatenate([dark(2000), np.full(8, 15778)])
    assert find_pile_up(histogram(sites), black=512, stated=16383) is None


def test_nothing_bright_is_no_pile_up() -> None:
    assert find_pile_up(histogram(dark()), black=512, stated=16383) is None
    black_frame = histogram(np.full(5000, 512))
    assert find_pile_up(black_frame, black=512, stated=16383) is None


def test_a_steep_slope_that_ends_below_the_clip_is_no_pile_up() -> None:
    ramp = np.linspace(512, 14000, 200_000)
    assert find_pile_up(histogram(ramp), black=512, stated=16383) is None


@pytest.mark.parametrize("level", [0.75, 0.85, 0.93])
@pytest.mark.parametrize("well", [20_000, 60_000, 150_000])
def test_an_even_wall_that_does_not_clip_is_no_pile_up(level: float, well: float) -> None:
    """Its width is that of shot noise, std/mean = 1/√electrons, however even it is."""
    noise = np.random.default_rng(int(well)).standard_normal(200_000)
    v = level + np.sqrt(level / well) * noise
    sites = 512 + (16383 - 512) * v
    assert find_pile_up(histogram(sites), black=512, stated=16383) is None


@pytest.mark.parametrize("sites", [200, 800, 3000])
@pytest.mark.parametrize("well", [20_000, 60_000, 150_000])
def test_a_small_even_patch_brighter_than_all_else_is_no_pile_up(sites: int, well: float) -> None:
    """Shot noise again: a card, a lamp's shade, a lit sleeve."""
    noise = np.random.default_rng(sites).standard_normal(sites)
    patch = 512 + (16383 - 512) * (0.82 + np.sqrt(0.82 / well) * noise)
    found = find_pile_up(histogram(np.concatenate([dark(), patch])), black=512, stated=16383)
    assert found is None


@given(
    clip=st.floats(12_500, 16_900),
    spread=st.sampled_from([0.0, 1.0, 3.0, 10.0, 20.0]),
    share=st.floats(0.002, 0.6),
    well=st.floats(5_000, 100_000),
    seed=st.integers(0, 10_000),
)
def test_any_pile_up_is_found_to_a_fifth_of_a_percent(
    clip: float, spread: float, share: float, well: float, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    count = 60_000
    v = 2.0 ** rng.normal(-4, 1.5, count)
    v[: int(share * count)] = 2.0 ** rng.uniform(0.1, 1.0, int(share * count))
    v += np.sqrt(v / well) * rng.standard_normal(count)
    raw = np.minimum(512 + (clip - 512) * v, clip + spread * rng.standard_normal(count))
    found = find_pile_up(histogram(raw), black=512, stated=16383)
    assert found == pytest.approx(clip, abs=0.002 * (clip - 512))


def test_the_source_says_where_the_levels_come_from() -> None:
    level = np.full(4, 15000.0)
    assert Clip(level, np.array([True] * 4)).source == "measured"
    assert Clip(level, np.array([True, False, True, True])).source == "mixed"
    assert Clip(level, np.array([False] * 4)).source == "metadata"


def test_each_channel_has_its_own_clip() -> None:
    light = cells(np.tile([[0.02] * 8, [4.0] * 8], (8, 1)))
    camera = replace(CAMERA, clip=(15000, 14000, 14200, 14600), stated_clip=16383)
    clip = measure_clip(frame_of_light(light, camera))
    assert clip.source == "measured"
    assert clip.level == pytest.approx([15000, 14000, 14200, 14600])


def test_without_a_pile_up_the_metadata_stands() -> None:
    clip = measure_clip(frame_of_light(cells(np.full((16, 16), 0.02))))
    assert clip.source == "metadata"
    assert clip.level.tolist() == [15000] * 4


def test_a_channel_that_does_not_clip_is_as_far_off_its_stated_level_as_the_others() -> None:
    """At 1.2 green (gain 1) clips, blue (1.5) and red (2) do not; all truly clip at 14000."""
    light = cells(np.tile([[0.02] * 8, [1.2] * 8], (8, 1)))
    camera = replace(CAMERA, clip=(14000,) * 4, stated_clip=16383)
    clip = measure_clip(frame_of_light(light, camera))
    assert clip.source == "mixed"
    assert clip.measured.tolist() == [False, True, True, False]
    assert clip.level == pytest.approx([14000] * 4, abs=0.5)


def test_sites_above_the_stated_level_prove_it_too_low() -> None:
    ramp = np.linspace(0.02, 1.9, 64).reshape(8, 8)
    frame = frame_of_light(cells(ramp), replace(CAMERA, stated_clip=12000))
    assert (measure_clip(frame).level >= [frame.mosaic[::2, ::2].max(), 0, 0, 0]).all()
