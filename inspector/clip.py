"""Where each channel stops responding, measured from the pile-up at the top of its histogram.

Clipping gathers sites in a narrow peak; an unclipped surface, however even, is spread by its
shot noise, which near saturation is at least 0.26 % of the level (150,000 electrons, larger
than any photosite in use; the signal-dependent model is Foi et al., IEEE TIP 17(10), 2008).
The noise that a sensor shows at saturation is far smaller: that difference tells them apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Histogram = NDArray[np.int64]

PEAK_SPAN = 0.0105
"""A pile-up lies within this part of its level below the highest sites."""
LEAST_SITES = 12
LEAST_SHARE = 0.0002
"""Fewer sites, or a smaller share of the channel, make no peak."""
ONE_SIGMA = 0.6827
"""Part of a normal distribution within one standard deviation of its middle."""
MOST_SPREAD = 0.0021
"""A pile-up is no wider than this part of its level: 20 levels of noise in 12,000 make 0.0017, the
shot noise of a patch that does not clip at least 0.0026."""
LEAST_LEVELS = 8
"""Fewer levels in use show no step."""
WITHIN_STEP = 0.7
"""A pile-up is spread over at least this part of a step of a file that stores coarse levels."""
LOWEST_SHARE_OF_STATED = 0.7
"""Lowest part of the stated range at which a pile-up is believed to be the clip."""


@dataclass(frozen=True, eq=False)
class Clip:
    """Where each channel stops responding.

    ``level`` (C,) raw level before black subtraction; ``measured`` (C,) True where it comes
    from a pile-up in this frame, ``remembered`` (C,) where from those in other frames of the set,
    False in both where the metadata stands. ``own`` (C,) are the frame's pile-ups, NaN where
    there is none; left out where they are what ``measured`` says.
    """

    level: NDArray[np.float64]
    measured: NDArray[np.bool_]
    remembered: NDArray[np.bool_] | None = None
    own: NDArray[np.float64] | None = None

    @property
    def source(self) -> str:
        """``measured``, ``metadata`` or ``mixed``."""
        if self.measured.all():
            return "measured"
        return "mixed" if set(self.origins) != {"metadata"} else "metadata"

    @property
    def origins(self) -> tuple[str, ...]:
        """Of each channel: ``measured``, ``set`` (remembered), ``scaled`` (stated, corrected by
        as much as the others are off) or ``metadata``.
        """
        taken = np.zeros_like(self.measured) if self.remembered is None else self.remembered
        rest = "scaled" if (self.measured | taken).any() else "metadata"
        return tuple(
            "measured" if measured else "set" if remembered else rest
            for measured, remembered in zip(self.measured, taken, strict=True)
        )

    @property
    def pile_ups(self) -> tuple[float | None, ...]:
        """The frame's own pile-up of each channel, None where there is none."""
        own = np.where(self.measured, self.level, np.nan) if self.own is None else self.own
        return tuple(None if np.isnan(level) else float(level) for level in own)


@dataclass(frozen=True)
class Peak:
    """A peak of a histogram: its middle and its standard deviation, raw levels."""

    centre: float
    spread: float


def find_pile_up(histogram: Histogram, *, black: float, stated: float) -> float | None:
    """Centre of the pile-up at the top of one channel's histogram, None if there is none.

    Parameters
    ----------
    histogram : ndarray, int64
        (65536,) sites at each raw level.
    black, stated : float
        Raw levels of no light and of the saturation that the metadata states.
    """
    found = find_peak(histogram, black=black, stated=stated, within=PEAK_SPAN)
    if found is None or found.spread > MOST_SPREAD * (found.centre - black):
        return None
    return found.centre


def find_peak(histogram: Histogram, *, black: float, stated: float, within: float) -> Peak | None:
    """The peak at the top of one channel's histogram, however wide, None if there is none.

    It lies ``within`` a part of its level below the highest sites; the rest is as for
    ``find_pile_up``.
    """
    total = int(histogram.sum())
    needed = max(LEAST_SITES, LEAST_SHARE * total)
    top = _level_reached_by(histogram, needed)  # hot photosites above it are fewer
    if top - black < LOWEST_SHARE_OF_STATED * (stated - black):
        return None
    span = max(2, round(within * (top - black)))
    mode = _mode(histogram, top - span, top, width=max(1, span // 20))
    if mode <= top - span + span // 8:
        return None  # still rising downwards: a tail of shot noise, not a pile-up
    # Between two steps a pile-up is spread over both, however little noise it has.
    spread = max(
        _upper_spread(histogram, mode), WITHIN_STEP * _step(histogram, top - 5 * span, top)
    )
    centre = _centre(histogram, mode, spread)
    reach = 2.5 * spread + 1
    inside = _count(histogram, centre - reach, centre + reach)
    below = _count(histogram, centre - 3 * reach - 2, centre - reach) / 2
    if inside < needed or inside < 2 * below:
        return None
    return Peak(centre, spread)


def _level_reached_by(histogram: Histogram, sites: float) -> int:
    """Highest level with at least so many sites at or above it."""
    from_top = np.cumsum(histogram[::-1])
    return int(histogram.size - 1 - np.searchsorted(from_top, sites))


def _mode(histogram: Histogram, low: int, high: int, *, width: int) -> int:
    """Fullest level between two, after smoothing over ``width`` levels on either side."""
    low, high = max(low, 0), min(high + 3 * width, histogram.size - 1)
    part = histogram[low : high + 1].astype(float)
    kernel = np.convolve(np.ones(width + 1), np.ones(width + 1))
    smooth = np.convolve(part, kernel / kernel.sum(), mode="same")
    return low + int(smooth.argmax())


def _step(histogram: Histogram, low: int, high: int) -> int:
    """The step by which the levels between two go; 1 unless the file leaves some out."""
    occupied = np.flatnonzero(histogram[max(low, 0) : high + 1])
    return int(np.gcd.reduce(np.diff(occupied))) if occupied.size >= LEAST_LEVELS else 1


def _upper_spread(histogram: Histogram, mode: int) -> float:
    """Standard deviation of the peak, from the sites above the mode: no unclipped light is there.

    That of a normal distribution with as many within; hot pixels far above do not widen it.
    """
    above = np.concatenate([[0.0], np.cumsum(histogram[mode:]) - histogram[mode] / 2])
    ends = np.concatenate([[0.0], np.arange(above.size - 1) + 0.5])
    return float(np.interp(ONE_SIGMA * above[-1], above, ends))


def _centre(histogram: Histogram, mode: int, spread: float) -> float:
    """Mean of the peak, in a window of 1.5 spreads that follows it."""
    centre = float(mode)
    for _ in range(8):
        half = 1.5 * spread + 0.5
        levels = np.arange(max(0, round(centre - half)), round(centre + half) + 1)
        levels = levels[levels < histogram.size]
        weights = histogram[levels]
        moved = float(np.average(levels, weights=weights)) if weights.any() else centre
        if abs(moved - centre) < 0.05:
            break
        centre = moved
    return centre


def _count(histogram: Histogram, low: float, high: float) -> int:
    return int(histogram[max(0, round(low)) : max(0, round(high) + 1)].sum())
