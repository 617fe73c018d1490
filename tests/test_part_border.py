"""The border of a white part of the subject, on light given as numbers."""

from __future__ import annotations

import numpy as np
import pytest
from plain import blurred

from inspector.part_border import over_halfway

X = np.tile(np.arange(60) + 0.5, (40, 1))


@pytest.mark.parametrize("over_ev", [-0.5, 0.4])
@pytest.mark.parametrize("true", [28.0, 30.0, 32.0])
def test_light_is_halfway_where_the_step_is(over_ev: float, true: float) -> None:
    """The part was found some pixels too large or too small."""
    light = blurred(np.where(X - true > 0, 1.5 * 2.0**over_ev, 1.5), 0.8)
    part = X > 30
    past = over_halfway(np.log2(light), part, ~part)
    row = past[20]
    near = np.flatnonzero(np.isfinite(row))
    crossed = near[(row[near] < 0).argmax()]
    assert (row[crossed:][np.isfinite(row[crossed:])] < 0).all()
    between = row[crossed - 1] / (row[crossed - 1] - row[crossed])
    assert X[0, crossed - 1] + between == pytest.approx(true, abs=0.1)


def test_where_hardly_anything_steps_nothing_is_told() -> None:
    light = np.where(X > 30, 1.5 * 2.0**-0.1, 1.5).astype(np.float32)
    assert np.isnan(over_halfway(np.log2(light), X > 30, X <= 30)).all()


def test_without_a_part_nothing_is_told() -> None:
    none = np.zeros(X.shape, bool)
    assert np.isnan(over_halfway(np.zeros(X.shape, np.float32), none, ~none)).all()
