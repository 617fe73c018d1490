"""The high end of the exposure window, from what each place along the edge still stands."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from inspector.headroom import Headroom, HighEnd, high_end
from inspector.inspect import inspect
from inspector.simulate.accuracy.shoot import photographed
from inspector.simulate.families import random_scene
from inspector.simulate.render import MEGAPIXELS

COUNT, LIMIT = 1000, 0.01
Field = NDArray[np.float64]


def along(
    ev: Field,
    *,
    least: Field | None = None,
    most: Field | None = None,
    told: bool = True,
    rough: bool = False,
    counts: NDArray[np.bool_] | None = None,
) -> HighEnd:
    """The high end of an edge that stands so many stops at each of its places."""
    each = np.ones(ev.size, bool)
    headroom = Headroom(
        ev,
        ev if least is None else least,
        ev if most is None else most,
        each & told,
        each & rough,
        each if counts is None else counts,
    )
    return high_end(headroom, LIMIT)


def with_low(part: float, low: float, rest: float = 1.0) -> Field:
    ev = np.full(COUNT, rest)
    ev[: round(part * COUNT)] = low
    return ev


def test_up_to_the_high_end_no_more_of_the_edge_has_spilled_than_may() -> None:
    """By definition, and numpy's quantile of what each place stands gives the same."""
    ev = np.random.default_rng(3).normal(1.5, 0.1, COUNT)
    end = along(ev)
    assert end.kind == "exact"
    assert end.ev == end.safe_ev == np.quantile(ev, LIMIT, method="higher")
    assert end.ev is not None
    assert np.mean(ev < end.ev) <= LIMIT < np.mean(ev < end.ev + 0.02)


@pytest.mark.parametrize(("part", "kind"), [(0.012, "at_most"), (0.03, "exact")])
def test_a_small_part_that_stands_far_less_than_the_rest_only_bounds_it(
    part: float, kind: str
) -> None:
    end = along(with_low(part, 0.2))
    assert end == HighEnd(1.0 if kind == "at_most" else 0.2, kind, 0.2)


def test_strands_do_not_add_to_the_length_of_which_spill_is_a_part() -> None:
    """Of 1,000 places 400 are a strand's: six of the others may spill, not ten."""
    ev = with_low(0.008, -0.5)
    strands = np.arange(COUNT) >= 600
    assert along(np.where(strands, np.inf, ev)).ev == 1.0
    assert along(np.where(strands, np.inf, ev), counts=~strands).ev == -0.5


def test_a_small_part_with_sure_spill_counts_whatever_the_rest_stands() -> None:
    ev = with_low(0.012, -0.5)
    assert along(ev, most=ev + 0.25, told=False) == HighEnd(-0.25, "at_most", -0.5)


def test_strands_that_may_be_edge_make_it_a_bound() -> None:
    ev = np.full(COUNT, 1.0)
    assert along(ev, least=ev - 0.1).kind == "exact"
    assert along(ev, least=ev - 0.2, most=ev + 0.1) == HighEnd(1.1, "at_most", 1.0)


def test_where_it_is_not_told_where_the_subject_begins_it_is_a_bound() -> None:
    ev = np.full(COUNT, 1.0)
    assert along(ev, most=ev + 0.4, told=False) == HighEnd(1.4, "at_most", 1.0)
    assert along(ev, rough=True) == HighEnd(1.0, "at_least", 1.0)


def test_there_is_none_where_nothing_can_spill() -> None:
    assert along(np.full(COUNT, np.inf)) == HighEnd()


@pytest.mark.parametrize("number", [1500112, 1700040])
def test_an_outline_before_a_part_that_falls_short_does_not_count(number: int) -> None:
    """The background falls short by a stop there: the edge seemed to stand no more than 0.3."""
    draw = random_scene(number)
    frame, truth, _ = photographed(draw.scene, draw.camera, seed=number, megapixels=MEGAPIXELS)
    window = inspect(frame, look=truth.look).exposure.window
    low, high = some(truth.window_high_ev), some(truth.window_high_whole_ev)
    assert low - 0.4 < some(window.safe_high_ev) < high + 0.1


def some(ev: float | None) -> float:
    assert ev is not None
    return ev
