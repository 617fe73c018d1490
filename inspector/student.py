"""Student's t distribution, whose heavy tails let a few deviations be large."""

from __future__ import annotations

from math import gamma, pi, sqrt


def beyond(x: float) -> float:
    """Chance that Student's t with two degrees of freedom is above x."""
    return 0.5 - x / (2 * sqrt(2 + x * x))


def density(x: float, scale: float, freedom: int = 2) -> float:
    """Density of a deviation's size x: Student's t, its tails heavier the less its ``freedom``."""
    height = 2 * gamma((freedom + 1) / 2) / (gamma(freedom / 2) * sqrt(freedom * pi))
    return float(height / scale * (1 + (x / scale) ** 2 / freedom) ** (-(freedom + 1) / 2))
