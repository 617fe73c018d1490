"""Stop arithmetic against Exif's APEX tables and handbook values.

APEX: ASA PH2.5-1960, as told by D. A. Kerr, "APEX: Additive System of Photographic Exposure",
issue 7, 2007; CIPA DC-008 (Exif 2.3x), annex C: the rows are from memory. The exact series
f = 2^(k/6), t = 2^(k/3) behind the markings is Kerr's too.
"""

from __future__ import annotations

from dataclasses import replace
from math import log2

import pytest

from inspector.apex import (
    F_NUMBERS,
    SHUTTER_MARKINGS,
    aperture_value,
    distance_factor,
    distance_stops,
    exposure_value,
    power_fraction,
    power_stops,
    speed_value,
    stops_brighter,
    time_value,
)
from inspector.frame import Shot
from inspector.simulate import camera

SHOT = Shot("Fencing hall camera", 100, 1 / 125, 8)


@pytest.mark.parametrize(
    ("f_number", "av"),
    [(1, 0), (1.4, 1), (2, 2), (2.8, 3), (4, 4), (5.6, 5), (8, 6), (11, 7), (16, 8), (22, 9)],
)
def test_aperture_values_of_annex_c(f_number: float, av: float) -> None:
    assert aperture_value(f_number) == pytest.approx(av)


@pytest.mark.parametrize(
    ("seconds", "tv"),
    [(1, 0), (1 / 15, 4), (1 / 30, 5), (1 / 60, 6), (1 / 125, 7), (1 / 250, 8), (1 / 1000, 10)],
)
def test_time_values_of_annex_c(seconds: float, tv: float) -> None:
    assert time_value(seconds) == pytest.approx(tv)


def test_values_between_the_markings_are_unrounded() -> None:
    # 2 log2 5.7, 2 log2 9.5, log2 137 by hand.
    assert aperture_value(5.7) == pytest.approx(5.0219, abs=1e-4)
    assert aperture_value(9.5) == pytest.approx(6.4959, abs=1e-4)
    assert time_value(1 / 137) == pytest.approx(7.0980, abs=1e-4)
    assert time_value(4.0) == pytest.approx(-2)


@pytest.mark.parametrize(
    ("iso", "sv"), [(3.125, 0), (100, 5), (200, 6), (400, 7), (125.99, 5 + 1 / 3)]
)
def test_speed_values(iso: float, sv: float) -> None:
    """Sv = log2(S / 3.125); ISO 100·2^(1/3) is 125.99."""
    assert speed_value(iso) == pytest.approx(sv, abs=1e-4)


@pytest.mark.parametrize("exact", [5.66, 6.35, 7.13, 8.98, 10.08, 11.31, 12.70, 14.25, 22.63])
def test_markings_stand_for_the_exact_series(exact: float) -> None:
    """Kerr's table of f = 2^(k/6): each to the nearest marking."""
    marked = min(F_NUMBERS, key=lambda f: abs(f - exact))
    assert 2 ** (aperture_value(marked) / 2) == pytest.approx(exact, abs=0.006)


@pytest.mark.parametrize(
    ("marking", "error"), [(5.6, 0.029), (11, 0.081), (22, 0.081), (13, 0.068)]
)
def test_what_the_rounding_of_a_lens_marking_would_cost(marking: float, error: float) -> None:
    """Worked out from f = 2^(k/6)."""
    assert abs(aperture_value(marking) - 2 * log2(marking)) == pytest.approx(error, abs=1e-3)


@pytest.mark.parametrize(("n", "error"), [(125, 0.034), (60, 0.093)])
def test_what_the_rounding_of_a_shutter_marking_would_cost(n: float, error: float) -> None:
    """Worked out from t = 2^(k/3)."""
    assert time_value(1 / n) - log2(n) == pytest.approx(error, abs=1e-3)


def test_no_value_is_moved_by_more_than_the_rounding_of_a_marking() -> None:
    for f in F_NUMBERS:
        assert aperture_value(f) == pytest.approx(2 * log2(f), abs=0.11)
    for n in SHUTTER_MARKINGS:
        assert time_value(1 / n) == pytest.approx(log2(n), abs=0.11)
    assert aperture_value(1.2) == pytest.approx(0.526, abs=1e-3)


def test_exposure_value_of_the_sunny_hall() -> None:
    """f/8 and 1/125 s: EV 13."""
    assert exposure_value(8, 1 / 125) == pytest.approx(13)


def test_the_difference_of_two_shots() -> None:
    """f/8 1/125 ISO 100 to f/5.6 1/200 ISO 200: +4/3 in the exact series, 1.3511 as marked."""
    other = Shot("Fencing hall camera", 200, 1 / 200, 5.6)
    found = stops_brighter(other, SHOT)
    assert found == pytest.approx(4 / 3, abs=1e-9)
    assert stops_brighter(SHOT, other) == pytest.approx(-4 / 3, abs=1e-9)
    assert found == pytest.approx(1.3511, abs=0.02)


@pytest.mark.parametrize(
    "unknown",
    [
        replace(SHOT, iso=None),
        replace(SHOT, shutter_s=None),
        replace(SHOT, aperture_f=None),
        replace(SHOT, aperture_f=0.0),  # a lens without contacts
    ],
)
def test_the_difference_is_not_made_up(unknown: Shot) -> None:
    assert stops_brighter(unknown, SHOT) is None
    assert stops_brighter(SHOT, unknown) is None


def test_the_simulated_camera_is_marked_alike() -> None:
    """A third of a stop wider on the lens is a third of a stop more light."""
    for third in range(1, 16):
        wide = replace(SHOT, aperture_f=camera.nominal_aperture(8, third / 3))
        assert stops_brighter(wide, SHOT) == pytest.approx(third / 3)


@pytest.mark.parametrize(
    ("fraction", "stops"), [(1, 0), (1 / 2, -1), (1 / 4, -2), (1 / 16, -4), (1 / 128, -7), (2, 1)]
)
def test_power(fraction: float, stops: float) -> None:
    """Flash power 1/2 to 1/128 is -1 to -7 stops: the scale on every pack (common practice)."""
    assert power_stops(fraction) == pytest.approx(stops)
    assert power_fraction(stops) == pytest.approx(fraction)


@pytest.mark.parametrize(("times", "stops"), [(1.414, 1), (1.5, 1.170), (2, 2), (3, 3.170), (4, 4)])
def test_inverse_square_law(times: float, stops: float) -> None:
    """Lambert's law of distance: 2 log2(d2 / d1)."""
    assert distance_stops(1.3, 1.3 * times) == pytest.approx(stops, abs=1e-3)
    assert distance_factor(stops) == pytest.approx(times, rel=1e-3)


@pytest.mark.parametrize(("times", "iso"), [(0.632, 80), (1.414, 400), (2, 800)])
def test_guide_numbers_grow_with_the_distance_a_speed_allows(times: float, iso: float) -> None:
    """A flash manual's factors for guide numbers from ISO 200: distance at the same f-number."""
    assert distance_factor(speed_value(iso) - speed_value(200)) == pytest.approx(times, abs=1e-3)
