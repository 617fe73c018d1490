"""Signal-dependent noise at saturation, by closed form, against the clip finder and the levels.

A. Foi, M. Trimeche, V. Katkovnik and K. Egiazarian, "Practical Poissonian-Gaussian noise modeling
and fitting for single-image raw-data", IEEE TIP 17(10), 2008; A. Foi, "Clipped noisy images",
Signal Processing 89(12), 2009: variance a·y + b, and the moments of a normal variable that is
clipped (formula from memory, checked below by numeric integration with scipy).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from plain import CAMERA, frame_of_light
from scipy import integrate
from scipy.stats import norm

from inspector.clip import find_pile_up
from inspector.levels import measure_levels

A, B = 0.01, 0.0004
CLIP, BLACK = 15000.0, 500.0


def clipped_moments(mean: float, sigma: float) -> tuple[float, float, float]:
    """Mean, standard deviation and clipped share of N(mean, sigma) clipped from above at 1."""
    m = (1 - mean) / sigma
    P, p = float(norm.cdf(m)), float(norm.pdf(m))
    expected = P * m + p
    variance = P + p * m - p**2 + P * m * (m - P * m - 2 * p)
    return 1 - sigma * expected, sigma * variance**0.5, 1 - P


def by_integration(mean: float, sigma: float) -> tuple[float, float]:
    moments = []
    for power in (1, 2):
        below, _ = integrate.quad(
            lambda x, k=power: x**k * norm.pdf(x, mean, sigma), mean - 12 * sigma, 1
        )
        moments.append(below + norm.sf(1, mean, sigma))
    return moments[0], (moments[1] - moments[0] ** 2) ** 0.5


@pytest.mark.parametrize(
    ("y", "mean", "std", "share"),
    [(1.0, 0.95932, 0.05954, 0.5), (0.9, 0.89239, 0.08462, 0.1512)],
)
def test_published_moments(y: float, mean: float, std: float, share: float) -> None:
    sigma = (A * y + B) ** 0.5
    assert clipped_moments(y, sigma) == pytest.approx((mean, std, share), abs=1e-4)
    assert by_integration(y, sigma) == pytest.approx((mean, std), abs=1e-5)


def noisy(y: float) -> tuple[float, float, float]:
    """Mean, spread and clipped share of what the levels read of a surface at ``y``."""
    # shot noise a: one over the electrons at saturation; read noise: b is its square over them.
    camera = replace(CAMERA, pattern="mono", full_well_e=1 / A, read_noise_e=B**0.5 / A)
    frame = frame_of_light(np.full((800, 800), y), camera)
    v = (frame.mosaic - BLACK) / (CLIP - BLACK)
    levels = measure_levels(frame)
    assert levels.clip.level == pytest.approx([CLIP], abs=0.002 * (CLIP - BLACK))
    return float(levels.rendered.mean()), float(v.std()), float((v >= 1).mean())


@pytest.mark.parametrize("y", [0.8, 0.9, 1.0, 1.1])
def test_a_noisy_surface_reads_with_the_moments_of_a_clipped_normal(y: float) -> None:
    """A mean under white can still hide clipping: at 0.9 a seventh of the sites clip."""
    expected = clipped_moments(y, (A * y + B) ** 0.5)
    assert noisy(y) == pytest.approx(expected, abs=3e-3)


@pytest.mark.parametrize("well", [3_000, 15_000, 60_000])
@pytest.mark.parametrize("y", [0.97, 1.0, 1.02])
def test_a_wall_right_at_the_clip_shows_it_while_enough_sites_saturate(
    well: float, y: float
) -> None:
    """Half clipped at y = 1: the pile-up stands over the normal's own slope."""
    camera = replace(CAMERA, pattern="mono", full_well_e=well, read_noise_e=3)
    frame = frame_of_light(np.full((500, 500), y), camera)
    share = clipped_moments(y, (y / well) ** 0.5)[2]
    histogram = np.bincount(frame.mosaic.ravel(), minlength=65536)
    found = find_pile_up(histogram, black=BLACK, stated=16383)
    if share > 0.2:
        assert found == pytest.approx(CLIP, abs=0.002 * (CLIP - BLACK))
    elif share < 1e-5:
        assert found is None


@pytest.mark.parametrize("well", [3_000, 15_000, 60_000])
def test_paper_white_counts_what_the_normal_leaves_above_098(well: float) -> None:
    """A surface at 0.98 of white: half of its sites reach the limit, a quarter of green pairs."""
    camera = replace(CAMERA, full_well_e=well, read_noise_e=0, red_gain=1.6, blue_gain=1.6)
    light = np.full((600, 600), 0.98)
    levels = measure_levels(frame_of_light(light, camera, seed=4))
    np.testing.assert_allclose(levels.clip.level, CLIP, rtol=2e-3)
    # Of four independent sites, each over its limit in half the cells: 1/16.
    assert levels.white.mean() == pytest.approx(1 / 16, abs=0.01)
