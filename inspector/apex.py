"""Stop arithmetic: the APEX values of a shot, power fractions, the inverse-square law.

APEX: ASA PH2.5-1960; Exif 2.32 (CIPA DC-008), annex C. Lens and shutter markings are rounded
(f/5.6 is 2^(5/2), 1/125 s is 1/128 s), which costs up to 0.1 stop each; the standard markings in
thirds of a stop are therefore taken for what they stand for.
"""

from __future__ import annotations

from math import isclose, log2
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from inspector.frame import Shot

F_NUMBERS = (
    *(1, 1.1, 1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.5, 2.8, 3.2, 3.5, 4, 4.5, 5, 5.6, 6.3, 7.1, 8, 9, 10),
    *(11, 13, 14, 16, 18, 20, 22, 25, 29, 32),
)
"""Marked f-numbers in thirds of a stop, from Av 0."""
SHUTTER_MARKINGS = (
    *(1, 1 / 0.8, 1 / 0.6, 2, 2.5, 1 / 0.3, 4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 80),
    *(100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000),
    *(5000, 6400, 8000),
)
"""Marked shutter times in thirds of a stop, from Tv 0, as the n of 1/n s."""
MOST_ROUNDED = 0.11
"""No marking is further than this from the third of a stop it stands for; f/1.2, which is, is a
lens's widest opening and taken at its word."""


def aperture_value(f_number: float) -> float:
    """Av = 2 log2 N of an f-number, a standard marking taken for the exact stop it stands for."""
    return _marked(f_number, F_NUMBERS, 2 * log2(f_number))


def time_value(seconds: float) -> float:
    """Tv = -log2 t of a shutter time in seconds, standard markings up to 1 s taken likewise."""
    return _marked(1 / seconds, SHUTTER_MARKINGS, -log2(seconds))


def speed_value(iso: float) -> float:
    """Sv = log2(S / 3.125) of an ISO speed: 5 for ISO 100."""
    return log2(iso / 3.125)


def exposure_value(f_number: float, seconds: float) -> float:
    """Ev = Av + Tv: 13 for f/8 and 1/125 s. One more lets in half the light."""
    return aperture_value(f_number) + time_value(seconds)


def stops_brighter(shot: Shot, than: Shot) -> float | None:
    """Stops that a shot's settings make its frame brighter than another's, the light unchanged.

    None where aperture, shutter or ISO of either is not known.
    """
    one, other = _gain(shot), _gain(than)
    return None if one is None or other is None else one - other


def power_stops(fraction: float) -> float:
    """Stops of a flash at a fraction of its power: -1 at one half, -7 at 1/128."""
    return log2(fraction)


def power_fraction(stops: float) -> float:
    """The inverse of ``power_stops``: what the power is multiplied by to change by ``stops``."""
    return float(2.0**stops)


def distance_stops(near: float, far: float) -> float:
    """Stops that a small light loses from one distance to another, 2 log2(far / near)."""
    return 2 * log2(far / near)


def distance_factor(stops: float) -> float:
    """What the distance to a small light is multiplied by to lose ``stops``: √2 for one."""
    return float(2.0 ** (stops / 2))


def _gain(shot: Shot) -> float | None:
    if not shot.aperture_f or not shot.shutter_s or not shot.iso:
        return None
    return speed_value(shot.iso) - exposure_value(shot.aperture_f, shot.shutter_s)


def _marked(value: float, markings: tuple[float, ...], exact: float) -> float:
    """The third of a stop that a marking stands for, ``exact`` where it is no marking."""
    nearest = min(range(len(markings)), key=lambda k: abs(markings[k] - value))
    third = nearest / 3
    is_marking = isclose(markings[nearest], value, rel_tol=1e-3)
    return third if is_marking and abs(third - exact) < MOST_ROUNDED else exact
