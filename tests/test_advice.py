"""Advice is arithmetic in the trade's units."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspector.advice import (
    Change,
    Kind,
    fraction_text,
    say,
    stop_word,
    stops_text,
    thirds_down,
    thirds_text,
    thirds_up,
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
    ("ev", "text"),
    [
        (1 / 3, "⅓ stop"),
        (1, "1 stop"),
        (4 / 3, "1⅓ stops"),
        (-2, "2 stops"),
        (0.5, "0.5 stop"),
        (-1.2, "1.2 stops"),
    ],
)
def test_one_stop_is_not_plural_and_what_is_no_third_is_in_tenths(ev: float, text: str) -> None:
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


@pytest.mark.parametrize(
    ("stops", "times"), [(1, 1.5), (2, 2), (3.17, 3), (4, 4), (0.1, 1.1), (1.17, 1.5)]
)
def test_distance_by_the_inverse_square(stops: float, times: float) -> None:
    """1.414 times as far is a stop, 1.5: 1.170, 2: 2, 3: 3.170, 4: 4 (the inverse-square law);

    rounded up to a tenth.
    """
    change = Change(Kind.MOVE, stops)
    assert change.times_as_far == pytest.approx(times)
    assert change.moved_stops >= stops - 0.05
    said = "twice" if times == 2 else f"{times:g} times"
    assert f" {said} as far" in say([change])


def test_more_light_in_stops_and_power() -> None:
    """2^(2/3) = 1.587 times the power is two thirds of a stop."""
    assert say([Change(Kind.EXPOSE, 2 / 3, most=1.75)]) == (
        "Raise the background light by ⅔ stop (power × 1.6) or open the lens as much;"
        " edge and subject allow 1⅔ stops"
    )


def test_less_light() -> None:
    """Half the power is a stop."""
    assert say([Change(Kind.EXPOSE, -1)]) == (
        "Close down or lower the background light by 1 stop (power × 0.5);"
        " the background stays white"
    )


def test_two_changes_are_one_sentence() -> None:
    assert say([Change(Kind.EXPOSE, 1 / 3), Change(Kind.MOVE, 1)]) == (
        "Raise the background light by ⅓ stop (power × 1.3) or open the lens as much; the edge then"
        " spills, so move the subject 1.5 times as far from the background or flag its edges with"
        " black"
    )
    assert say([Change(Kind.EXPOSE, -1 / 3), Change(Kind.FLAG, 1, "left")]) == (
        "Close down or lower the background light by ⅓ stop (power × 0.79), and hang black on the"
        " left side: light bounces from there onto the subject"
    )


def test_a_place_is_named() -> None:
    assert say([Change(Kind.EXPOSE, 1, "upper left")]) == (
        "Turn the background light towards the upper left or raise it by 1 stop (power × 2)"
    )
    assert "towards the upper left, where 1⅓ stops are" in say(
        [Change(Kind.TURN, 4 / 3, "upper left")]
    )
    assert "towards the middle, where ⅓ stop is" in say([Change(Kind.TURN, 1 / 3, "centre")])
    assert "the white panel on the right twice" in say([Change(Kind.PANEL, 2, "right")])


@given(
    kinds=st.lists(st.sampled_from(Kind), min_size=1, max_size=2),
    stops=st.floats(-6, 6),
    most=st.floats(-4, 8) | st.just(float("inf")),
    where=st.none() | st.sampled_from(["left", "lower right", "centre", "all over"]),
)
def test_advice_is_one_line_without_odd_numbers(
    kinds: list[Kind], stops: float, most: float, where: str | None
) -> None:
    text = say([Change(kind, stops, where, most) for kind in kinds])
    assert re.match("[A-Z]", text)
    assert "\n" not in text
    assert not text.endswith(".")
    assert not re.search(r"nan|inf|-\d", text), text
