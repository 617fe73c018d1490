"""Which changes cure a frame, worked out by hand from the limits that its figures set."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspector.advice import Change, Kind, say
from inspector.exposure import Exposure, ShortRegion, Window
from inspector.remedy import HOT, LIGHT, SHORT, SPILL, changes_for, find_changes

CORNER = ShortRegion("upper left", (0, 0, 90, 60), 5400, -0.9, False)


def changes(
    *missed: str,
    low: float | None = -0.5,
    high: float | None = 1.0,
    high_is: str = "exact",
    depth: float | None = 6.0,
    p50: float = -0.4,
    short: tuple[ShortRegion, ...] = (),
    side: float | None = 0.0,
    look: str = "silhouette",
) -> list[tuple[Kind, float, str | None]]:
    """What to change about a frame with these figures that misses these rules; depth limit 4."""
    x = Exposure(
        backdrop_area=0.5,
        ev_p50=p50,
        depth_ev=depth,
        short_regions=short,
        side_ev=side,
        window=Window(low, "exact", high, high_is),
    )
    found = find_changes(x, missed=missed, depth_limit=4, look=look)
    return [(c.kind, round(c.stops, 2), c.where) for c in found]


def test_a_short_backdrop_wants_the_least_that_makes_it_white() -> None:
    assert changes(SHORT, low=0.6) == [(Kind.EXPOSE, 0.67, None)]


def test_a_third_that_edge_or_subject_do_not_stand_gives_way_to_tenths() -> None:
    assert changes(SHORT, low=0.36, high=0.6) == [(Kind.EXPOSE, 0.5, None)]
    assert changes(SHORT, low=0.36, depth=4.5) == [(Kind.EXPOSE, 0.4, None)]


def test_what_the_subject_stands_is_not_what_the_edge_stands() -> None:
    """Too light by a stop, before an edge with 0.4 to spare: black on the walls, nothing moved."""
    x = Exposure(
        backdrop_area=0.5,
        depth_ev=3.0,
        window=Window(0.3, "exact", 0.9, "exact", subject_high_ev=-1.0),
    )
    found = find_changes(x, missed=[LIGHT, SHORT], depth_limit=4, look="silhouette")
    assert [c.kind for c in found] == [Kind.EXPOSE, Kind.SHADE]


def test_a_corner_is_raised_or_turned_to_where_all_else_allows_it() -> None:
    assert changes(SHORT, low=0.6, p50=0.5, short=(CORNER,)) == [(Kind.EXPOSE, 0.67, "upper left")]


def test_a_corner_is_turned_to_where_raising_would_spill() -> None:
    """The rest is white already and the edge has 0.3 stop left: only the corner wants light."""
    found = changes(SHORT, low=0.6, high=0.3, p50=0.5, short=(CORNER,))
    assert found == [(Kind.TURN, 0.67, "upper left")]


def test_a_shadow_is_taken_away_and_not_outshone() -> None:
    """Its light is what is missing; edge and subject have their own say."""
    shadow = replace(CORNER, where="right", ev=-2.0, shadow=True)
    away = (Kind.UNSHADOW, 0.0, "right")
    assert changes(SHORT, low=0.9, p50=0.5, short=(shadow,)) == [away]
    found = changes(SHORT, SPILL, low=0.9, high=-0.25, p50=0.5, short=(shadow,))
    assert found == [away, (Kind.MOVE, 2.0, None)]
    small = replace(CORNER, area_px=CORNER.area_px // 3)
    assert changes(SHORT, low=0.6, p50=0.5, short=(shadow, small)) == [away]
    large = replace(CORNER, area_px=CORNER.area_px * 3)
    found = changes(SHORT, low=0.6, p50=0.5, short=(shadow, large))
    assert found == [(Kind.EXPOSE, 0.67, "upper left")]


def test_a_shadow_and_spill_are_said_in_one_sentence() -> None:
    shadow, move = Change(Kind.UNSHADOW, where="right"), Change(Kind.MOVE, 2.0)
    assert say([shadow]).endswith("of the background, or move the subject further from it")
    assert say([shadow, move]).count("move the subject") == 1


def test_more_light_that_the_edge_does_not_stand_needs_distance() -> None:
    """Two thirds more where it has 1.6 too much: 2.27 must go from it, and a third to be safe."""
    assert changes(SHORT, low=0.6, high=-1.6) == [
        (Kind.EXPOSE, 0.67, None),
        (Kind.MOVE, 2.6, None),
    ]


def test_more_light_that_the_subject_does_not_stand_needs_black() -> None:
    """Two thirds more where 0.3 is allowed: more than a third must go from the subject."""
    found = changes(SHORT, low=0.6, depth=4.3)
    assert found == [(Kind.EXPOSE, 0.67, None), (Kind.SHADE, 0.67, None)]


def test_spill_closes_down_by_the_least_that_cures_it() -> None:
    assert changes(SPILL, low=-0.7, high=-0.25) == [(Kind.EXPOSE, -0.33, None)]


def test_spill_beyond_what_the_frame_can_tell_closes_down_by_all_there_is() -> None:
    found = changes(SPILL, low=-1.09, high=-0.1, high_is="at_most")
    assert found == [(Kind.EXPOSE, -1.0, None)]


def test_spill_that_closing_down_does_not_cure_needs_distance_too() -> None:
    """Of 0.7 a third can well be spared, 2.2 must go: 1.87 are left, and a third to be safe."""
    assert changes(SPILL, low=-0.7, high=-2.2) == [
        (Kind.EXPOSE, -0.33, None),
        (Kind.MOVE, 2.2, None),
    ]
    assert changes(SPILL, low=-0.2, high=-1.9) == [(Kind.MOVE, 2.23, None)]


def test_a_subject_is_moved_twice_as_far_at_the_least() -> None:
    """Twice the distance is two stops (inverse-square law)."""
    assert changes(SPILL, low=-0.1, high=-0.05) == [(Kind.MOVE, 2.0, None)]


def test_a_light_subject_closes_down_where_the_backdrop_has_light_to_spare() -> None:
    assert changes(LIGHT, depth=3.5, low=-0.8) == [(Kind.EXPOSE, -0.67, None)]


@pytest.mark.parametrize(("side", "wall"), [(0.8, "left"), (-0.8, "right")])
def test_a_light_subject_wants_black_on_its_brighter_side(side: float, wall: str) -> None:
    assert changes(LIGHT, depth=3, low=-0.1, side=side) == [(Kind.FLAG, 1.33, wall)]


@pytest.mark.parametrize("side", [None, 0.1])
def test_a_light_subject_lit_all_round_wants_black_all_round(side: float | None) -> None:
    assert changes(LIGHT, depth=3.3, low=-0.1, side=side) == [(Kind.SHADE, 1.0, None)]


def test_a_filled_subject_keeps_its_panel_further_away() -> None:
    found = changes(LIGHT, depth=3.3, low=-0.1, side=1, look="filled")
    assert found == [(Kind.PANEL, 1.0, "left")]


def test_a_hot_spot_is_flagged() -> None:
    assert changes(HOT) == [(Kind.SPOT, 0.0, None)]
    assert [kind for kind, *_ in changes(SHORT, HOT, low=0.3)] == [Kind.EXPOSE, Kind.SPOT]


def test_each_rule_has_its_own_part() -> None:
    all_of_them = (Change(Kind.EXPOSE, 1.0), Change(Kind.MOVE, 1.0))
    assert changes_for(SHORT, all_of_them) == all_of_them[:1]
    assert changes_for(SPILL, all_of_them) == all_of_them[1:]
    assert changes_for(LIGHT, all_of_them) == all_of_them[:1]
    assert changes_for(HOT, all_of_them) == all_of_them


ENDS = st.none() | st.floats(-4, 4)


@given(
    low=ENDS,
    high=ENDS,
    depth=st.none() | st.floats(0, 8),
    missed=st.sets(st.sampled_from([SHORT, SPILL, LIGHT]), min_size=1),
    high_is=st.sampled_from(["exact", "at_most"]),
)
def test_an_exposure_alone_keeps_within_the_limits(
    low: float | None, high: float | None, depth: float | None, missed: set[str], high_is: str
) -> None:
    """Where it is all that is advised every rule allows it; where none is, one must give way."""
    found = changes(*missed, low=low, high=high, depth=depth, high_is=high_is)
    assert 1 <= len(found) <= 2
    if len(found) == 1 and found[0][0] is Kind.EXPOSE:
        stops = found[0][1]
        assert stops >= (low or 0.0) - 0.01
        assert stops <= (inf if high is None else high) + 0.01
        assert stops <= (inf if depth is None else depth - 4) + 0.01
