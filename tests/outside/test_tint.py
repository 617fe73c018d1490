"""The tint of an outline against the conjugate normal: Bishop 2006, eq. 2.141 (from memory)."""

from __future__ import annotations

import numpy as np
import pytest

from inspector.tint import STRETCH_HOP, STRETCH_LENGTH, USUAL_TINT, believed


@pytest.mark.parametrize("deviation", [0.0, 0.02, 0.08])
def test_stretches_count_as_far_as_they_agree(deviation: float) -> None:
    rng = np.random.default_rng(4)
    true, count = 1.05, 400
    tints = np.column_stack([rng.normal(true, deviation, count), np.ones(count)])
    red, green = believed(tints)
    variance = np.pi / 2 * deviation**2 / (count * STRETCH_HOP / STRETCH_LENGTH)
    expected = (variance * 1 + USUAL_TINT**2 * true) / (variance + USUAL_TINT**2)
    assert red == pytest.approx(expected, abs=4 * np.sqrt(variance) + 1e-9)
    assert green == 1


def test_few_stretches_that_disagree_say_next_to_nothing() -> None:
    tints = 1 + np.linspace(-0.3, 0.4, 13)[:, None]
    assert believed(tints)[0] == pytest.approx(1, abs=0.01)
