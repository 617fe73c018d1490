"""Edge widths of known Gaussian blurs on slanted edges.

ISO 12233 reads the slanted edge of a chart; 10 to 90 % of a Gaussian's edge is 2.5631 sigma,
20 to 80 % is 1.6832 sigma (scipy.stats.norm.ppf). The edge passes through a DNG file, LibRaw and
the whole path down to the frame's figures. Only an edge whose white side does not clip shows all
of its ramp.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from plain import NOISY, frame_of_light
from scipy.stats import norm

from inspector.decode import decode
from inspector.inspect import inspect
from inspector.levels import measure_levels
from inspector.profile import (
    RAMP_BINS,
    TEN_TO_NINETY,
    crossing,
    edge_spread,
    filled,
    lens_blur,
    ramps,
    read_sites,
)
from inspector.simulate.dng import write_dng
from inspector.zones import find_zones

WALL, DARK = 0.93, 2.0**-6
MIDDLE, HALF_SIDE = np.array([300.0, 200.0]), 110.0


def test_the_constant_is_the_normal_distributions() -> None:
    assert pytest.approx(norm.ppf(0.9) - norm.ppf(0.1), abs=1e-4) == TEN_TO_NINETY


def slanted_square(degrees: float, sigma: float) -> NDArray[np.float64]:
    """(400, 600) light of a dark square turned by an angle, each edge a normal's integral."""
    y, x = np.mgrid[0:400, 0:600] + 0.5
    turn = np.deg2rad(degrees)
    u = (x - MIDDLE[0]) * np.cos(turn) + (y - MIDDLE[1]) * np.sin(turn)
    v = (y - MIDDLE[1]) * np.cos(turn) - (x - MIDDLE[0]) * np.sin(turn)
    covered = np.ones_like(x)
    for along in (u, -u, v, -v):
        covered *= norm.cdf((HALF_SIDE - along) / sigma)
    return np.asarray(WALL + (DARK - WALL) * covered)


def ramp_of(path: Path, degrees: float, sigma: float) -> float | None:
    """The ramp of a square's edges, by way of a file."""
    write_dng(path, frame_of_light(slanted_square(degrees, sigma), NOISY))
    edge = inspect(decode(path)).edge
    assert edge.length_px == pytest.approx(8 * HALF_SIDE, rel=0.05)
    return edge.ramp_px


@pytest.mark.parametrize("sigma", [0.6, 0.8, 1.0, 1.5, 2.0])
@pytest.mark.parametrize("degrees", [5, 14, 27])
def test_the_ramp_of_a_slanted_edge(tmp_path: Path, degrees: float, sigma: float) -> None:
    ramp = ramp_of(tmp_path / "slanted.dng", degrees, sigma)
    assert ramp == pytest.approx(2.5631 * sigma, rel=0.05)


@pytest.mark.parametrize("sigma", [1.0, 1.5, 2.0])
@pytest.mark.parametrize("degrees", [0, 45])
def test_the_ramp_of_an_upright_and_a_diagonal_edge(
    tmp_path: Path, degrees: float, sigma: float
) -> None:
    """ISO 12233 slants its edges because here all sites lie whole pixels apart: within 10 %."""
    ramp = ramp_of(tmp_path / "upright.dng", degrees, sigma)
    assert ramp == pytest.approx(2.5631 * sigma, rel=0.1)


@pytest.mark.parametrize("sigma", [0.6, 1.0, 2.0])
def test_the_lens_blur_is_that_of_the_sharpest_stretches(sigma: float) -> None:
    """A tenth of the stretches are sharper than the rest by noise alone."""
    levels = measure_levels(frame_of_light(slanted_square(14, sigma), NOISY))
    assert find_zones(levels).blur_px == pytest.approx(sigma, rel=0.12)


@pytest.mark.parametrize("b", [0.8, 1.0, 1.3, 2.0, 4.0])
@pytest.mark.parametrize("core", [0.0, 0.1])
def test_the_lens_blur_of_a_normal_distribution_is_its_sigma(b: float, core: float) -> None:
    """Of a step from b to the core's level what lies under white (scipy's normal distribution)."""
    at = (RAMP_BINS[:-1] + RAMP_BINS[1:]) / 2
    spread = np.minimum(b + (core - b) * norm.cdf(at / 1.4), 1.0)[None]
    assert lens_blur(spread, core=core, backdrop_ev=np.log2(b)) == pytest.approx(1.4, rel=0.06)


def test_glare_and_a_lit_rim_do_not_widen_the_lens_blur_as_they_do_the_ramp() -> None:
    """A fifth of the light is spread eight times as far."""
    at = (RAMP_BINS[:-1] + RAMP_BINS[1:]) / 2
    spread = (0.8 * norm.sf(at / 1.2) + 0.2 * norm.sf(at / 9.6))[None]
    assert ramps(spread, core=0.0)[0] > 1.4 * TEN_TO_NINETY * 1.2
    found = lens_blur(spread, core=0.0, backdrop_ev=0.0)
    assert found is not None
    assert 1.2 < found < 1.25 * 1.2


@pytest.mark.parametrize("sigma", [0.8, 1.5, 3.0])
def test_the_profile_of_one_straight_edge_point_by_point(sigma: float) -> None:
    """A vertical edge at x = 300.3, read along a line that is known exactly."""
    x = np.arange(600) + 0.5
    light = np.broadcast_to(WALL + (DARK - WALL) * norm.cdf((x - 300.3) / sigma), (400, 600))
    levels = measure_levels(frame_of_light(light, NOISY))
    y = np.arange(50.0, 350.0)
    points = np.column_stack([np.full(y.size, 300.3), y])
    inward = np.tile([1.0, 0.0], (y.size, 1))
    sites = read_sites(levels, points, inward, np.arange(-12.0, 13.0))
    # Sites lie whole pixels apart on an upright edge: at -9.8, -8.8 and so on, mid-bin here.
    bins = np.arange(-10.05, 10.2, 0.5)
    (profile,) = edge_spread(sites, np.arange(y.size)[None], bins)
    own = np.arange(-9.8, 10.0)
    place = np.floor((own - bins[0]) / 0.5).astype(int)
    expected = WALL + (DARK - WALL) * norm.cdf(own / sigma)
    np.testing.assert_allclose(profile[place], expected, atol=0.01)


@pytest.mark.parametrize(("low", "high", "width"), [(0.1, 0.9, 2.5631), (0.2, 0.8, 1.6832)])
def test_crossings_of_a_fine_profile(low: float, high: float, width: float) -> None:
    at = np.arange(-8, 8.01, 0.05)
    profile = norm.sf(at)[None]
    start = crossing(profile, at, np.array([high]))
    stop = crossing(profile, at, np.array([low]))
    assert stop - start == pytest.approx([width], abs=1e-3)


@pytest.mark.parametrize("width", [1.0, 3.0])
def test_ten_to_ninety_of_a_box_blur_is_four_fifths_of_it(width: float) -> None:
    at = np.arange(-4, 4.01, 0.05)
    profile = np.clip(0.5 - at / width, 0, 1)[None]
    ends = [crossing(profile, at, np.array([level])) for level in (0.9, 0.1)]
    assert ends[1] - ends[0] == pytest.approx([0.8 * width], abs=1e-6)


def test_a_white_side_that_clips_shortens_the_ramp() -> None:
    """The same blur before a wall a stop over white: 10 to 90 % of what is under white."""
    sigma = 1.5
    light = slanted_square(14, sigma) * (2.0 / WALL)
    levels = measure_levels(frame_of_light(light, NOISY))
    found = float(np.median(ramps(find_zones(levels).spread, core=2 * DARK / WALL)))
    dark = 2 * DARK / WALL
    depth = [norm.ppf((dark + part * (1 - dark) - dark) / (2 - dark)) for part in (0.1, 0.9)]
    assert found == pytest.approx(sigma * (depth[1] - depth[0]), rel=0.1)
    assert found < 2.5631 * sigma * 0.8


@given(
    arrays(
        float,
        st.tuples(st.integers(1, 4), st.integers(3, 12)),
        elements=st.one_of(st.just(np.nan), st.floats(-2, 2)),
    )
)
def test_gaps_of_a_profile_are_filled_as_numpys_interp_does(rows: NDArray[np.float64]) -> None:
    index = np.arange(rows.shape[1])
    for row, found in zip(rows, filled(rows), strict=True):
        known = np.isfinite(row)
        expected = np.full(row.size, np.nan)
        if known.sum() > 2:
            expected = np.interp(index, index[known], row[known])
        np.testing.assert_allclose(found, expected, atol=1e-12)
