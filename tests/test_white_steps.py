"""Steps in white light against light in closed form, blurred by scikit-image."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.filters import gaussian

from inspector.white_steps import find_steps, without_seams

SIZE = 120
Y, X = np.mgrid[:SIZE, :SIZE].astype(float)
EVERYWHERE = np.ones((SIZE, SIZE), bool)


def steps(light: NDArray[np.floating], *, blur: float = 0.8) -> NDArray[np.float32]:
    """The steps of some light, blurred, in noise of a hundredth of a stop; the rim left out."""
    seen = gaussian(light, blur, mode="nearest")  # type: ignore[no-untyped-call]
    seen = seen + np.random.default_rng(3).normal(0, 0.01, light.shape)
    closed, _ = without_seams(seen.astype(np.float32), EVERYWHERE)
    found = find_steps(closed, EVERYWHERE)
    found[:12], found[-12:], found[:, :12], found[:, -12:] = 0, 0, 0, 0
    return found


@pytest.mark.parametrize("angle", [0.0, 0.3, 0.9, 1.6, 2.5])
@pytest.mark.parametrize("height", [-0.15, 0.08, 0.3])
def test_a_straight_step_is_found_where_it_is(angle: float, height: float) -> None:
    """What is averaged begins within its blur, so that about four fifths of it are seen."""
    across = (X - 59.5) * np.cos(angle) + (Y - 59.5) * np.sin(angle)
    found = steps(np.where(across > 0, height, 0.0))
    assert np.abs(across[found > 0]).max() < 2
    assert 0.7 < np.median(found[found > 0]) / abs(height) < 1.05
    assert np.count_nonzero(found) > 0.8 * (SIZE - 24)


@pytest.mark.parametrize("slope", [0.01, 0.03])
def test_light_that_slopes_has_no_step(slope: float) -> None:
    assert not steps(slope * (X + 0.5 * Y)).any()


def test_a_bend_in_the_light_is_no_step() -> None:
    assert not steps(0.008 * np.maximum(X - 60, 0)).any()


@pytest.mark.parametrize("wide", [2, 3])
def test_a_dark_line_as_thin_as_a_seam_has_no_steps(wide: int) -> None:
    line = np.abs(X - 60 + 0.3 * Y) < wide / 2
    seen = gaussian(np.where(line, -0.4, 0.0), 0.8)  # type: ignore[no-untyped-call]
    closed, lines = without_seams(seen.astype(np.float32), EVERYWHERE)
    assert not find_steps(closed, EVERYWHERE)[12:-12, 12:-12].any()
    assert lines[12:-12][line[12:-12]].mean() > 0.8
