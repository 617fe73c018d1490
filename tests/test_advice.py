"""Advice is arithmetic in the trade's units."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspector.advice import (
    advise_background,
    advise_depth,
    advise_edge,
    fraction_text,
    stop_word,
    stops_text,
    thirds_down,
    thirds_text,
    thirds_up,
)
from inspector.exposure import Exposure, ShortRegion, Window

CORNER = ShortRegion("upper left", (0, 0, 90, 60), 5400, -0.9)


def exposure(
    *,
    low: float | None = 0.6,
    high: float | None = 1.5,
    high_is: str = "exact",
    p50: float | None = -0.4,
    depth: float | None = 6.0,
    short: tuple[ShortRegion, ...] = (),
    side: float | None = 0.0,
) -> Exposure:
    return Exposure(
        backdrop_area=0.5,
        ev_p50=p50,
        depth_ev=depth,
        short_regions=short,
        side_ev=side,
        window=Window(low, "exact", high, high_is),
    )


@pytest.mark.parametrize(
    ("ev", "thirds"), [(0.01, 1), (0.3, 1), (0.34, 1), (0.36, 2), (0.6, 2), (0.66, 2), (1.0, 3)]
)
def test_need_is_rounded_up_to_what_can_be_set(ev: float, thirds: int) -> None:
    """A sixtieth of a stop over is within what a setting is good for; none is no advice."""
    assert thirds_up(ev) == pytest.approx(thirds / 3)


@pytest.mark.parametrize(("ev", "thirds"), [(0.3, 0), (0.32, 1), (0.6, 1), (1.6, 4), (2.0, 6)])
def test_what_is_allowed_is_rounded_down(ev: float, thirds: int) -> None:
    assert thirds_down(ev) == pytest.approx(thirds / 3)


@given(st.floats(0.3, 6))
def test_need_is_met_by_less_than_a_third_more(ev: float) -> None:
    assert -0.017 <= thirds_up(ev) - ev < 1 / 3 + 1e-9


@pytest.mark.parametrize(
    ("ev", "text"),
    [(0, "0"), (1 / 3, "⅓"), (2 / 3, "⅔"), (1, "1"), (4 / 3, "1⅓"), (2.99, "3"), (-1 / 3, "⅓")],
)
def test_thirds(ev: float, text: str) -> None:
    assert thirds_text(ev) == text


@pytest.mark.parametrize(
    ("ev", "text"), [(1 / 3, "⅓ stop"), (1, "1 stop"), (4 / 3, "1⅓ stops"), (2, "2 stops")]
)
def test_one_stop_is_not_plural(ev: float, text: str) -> None:
    assert stop_word(ev) == text


@pytest.mark.parametrize(
    ("ev", "text"), [(0.96, "1.0 stop"), (1.04, "1.0 stop"), (1.1, "1.1 stops"), (0.4, "0.4 stops")]
)
def test_stops_to_a_tenth(ev: float, text: str) -> None:
    assert stops_text(ev) == text


@pytest.mark.parametrize(
    ("part", "text"),
    [(0.5, "50 %"), (0.99499, "99.4 %"), (0.9999, "99.9 %"), (1.0, "100.0 %"), (0.0126, "1.2 %")],
)
def test_a_part_never_rounds_up_to_the_limit(part: float, text: str) -> None:
    assert fraction_text(part) == text


@given(st.floats(0, 1))
def test_only_the_whole_is_called_the_whole(part: float) -> None:
    percent = float(fraction_text(part).removesuffix(" %"))
    assert (percent == 100) == (part == 1)
    assert abs(percent - 100 * part) <= 0.5


def test_a_short_backdrop_wants_more_light_in_stops_and_power() -> None:
    """0.6 stop short is two thirds: 2^(2/3) = 1.587 times the power."""
    text = advise_background(exposure(low=0.6, high=1.8), 4)
    assert text == (
        "Raise the background light by ⅔ stop (power × 1.6) or open the lens as much;"
        " the edge allows 1⅔ stops"
    )


def test_a_short_corner_wants_the_light_turned() -> None:
    text = advise_background(exposure(low=0.9, p50=0.5, short=(CORNER,)), 4)
    assert text.startswith("Turn the light towards the upper left, or raise it by 1 stop")


def test_more_light_that_the_edge_does_not_stand_needs_distance() -> None:
    text = advise_background(exposure(low=0.6, high=0.2), 4)
    assert text.endswith("the edge then spills: move the subject further from the background")


def test_the_lens_is_left_where_the_subject_has_no_depth_to_spare() -> None:
    text = advise_background(exposure(low=0.6, depth=4.3), 4)
    assert text.endswith("leave the lens: the subject has no depth to spare")
    assert "open the lens" not in text


def test_spill_closes_down_while_the_backdrop_stays_white() -> None:
    text = advise_edge(exposure(low=-0.7, high=-0.25))
    assert text == "Close down or lower the background light by ⅓ stop; the background stays white"


def test_spill_at_the_ceiling_closes_down_by_at_least() -> None:
    text = advise_edge(exposure(low=-0.7, high=-0.25, high_is="at_most"))
    assert "by at least ⅓ stop" in text


def test_spill_that_closing_down_does_not_cure() -> None:
    text = advise_edge(exposure(low=-0.2, high=-0.9))
    assert "Move the subject further" in text
    assert "would cost the background its white" in text


@pytest.mark.parametrize(("low", "high"), [(None, -0.5), (-0.5, None)])
def test_spill_without_a_window(low: float | None, high: float | None) -> None:
    assert advise_edge(exposure(low=low, high=high)).startswith("Move the subject further")


def test_a_light_subject_closes_down_where_the_backdrop_has_light_to_spare() -> None:
    text = advise_depth(exposure(depth=3.5, low=-0.8), 4)
    assert text == "Close down by ⅔ stop; the background stays white"


@pytest.mark.parametrize(("side", "wall"), [(0.8, "left"), (-0.8, "right")])
def test_a_light_subject_wants_black_on_its_brighter_side(side: float, wall: str) -> None:
    text = advise_depth(exposure(depth=3, low=-0.1, side=side), 4)
    assert text.startswith(f"Hang black on the {wall} side")


@pytest.mark.parametrize("side", [None, 0.1])
def test_a_light_subject_lit_all_round(side: float | None) -> None:
    text = advise_depth(exposure(depth=3, low=-0.1, side=side), 4)
    assert text.startswith("Keep 1 stop of light off the subject's front")


@given(
    low=st.none() | st.floats(-4, 4),
    high=st.none() | st.floats(-4, 4),
    p50=st.floats(-3, 1),
    depth=st.none() | st.floats(0, 8),
    side=st.none() | st.floats(-2, 2),
    short=st.sampled_from([(), (CORNER,)]),
)
def test_advice_is_one_line_without_odd_numbers(
    low: float | None,
    high: float | None,
    p50: float,
    depth: float | None,
    side: float | None,
    short: tuple[ShortRegion, ...],
) -> None:
    x = exposure(low=low, high=high, p50=p50, depth=depth, side=side, short=short)
    for text in (advise_background(x, 4), advise_edge(x), advise_depth(x, 4)):
        assert re.match("[A-Z]", text)
        assert "\n" not in text
        assert not re.search(r"nan|inf|None|-\d| 0 stop", text), text
