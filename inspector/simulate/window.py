"""The true exposure window, from re-scaling the noise-free light until a limit is crossed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Mask
from inspector.levels import WHITE
from inspector.simulate.outline import Crossing, Outline, spilled
from inspector.verdict import Limits

SEARCH_EV = 6.0
"""How far the high end is looked for, both ways."""


@dataclass(frozen=True)
class TrueWindow:
    """Changes of exposure in stops; None where there is none, or no end within ``SEARCH_EV``.

    From ``low_ev`` on the backdrop passes, up to ``high_ev`` the edge does; up to
    ``high_whole_ev`` where white has crossed only when the first pixel wholly past the tolerance
    is white.
    """

    low_ev: float | None = None
    high_ev: float | None = None
    high_whole_ev: float | None = None


def find_window(
    light: NDArray[np.float32], clean: Mask, outline: Outline, crossing: Crossing
) -> TrueWindow:
    """Least change that lifts the backdrop over its limit, greatest that spares the edge.

    ``light`` (H, W, 3) lies behind the lens, 1 at the white point; ``clean`` (H, W) is True on
    the backdrop less its fringe, and somewhere at least.
    """
    limits = Limits()
    share = float(np.quantile(light.min(axis=2)[clean], 1 - limits.white_fraction))
    low = float(np.log2(WHITE / share))
    if outline.length_px == 0:
        return TrueWindow(low)

    def greatest(headroom_ev: NDArray[np.float64]) -> float | None:
        return _last_true(
            lambda ev: spilled(outline, headroom_ev, ev=ev) <= limits.spill_fraction,
            -SEARCH_EV,
            SEARCH_EV,
        )

    return TrueWindow(low, greatest(crossing.headroom_ev), greatest(crossing.whole_ev))


def _last_true(holds: Callable[[float], bool], low: float, high: float) -> float | None:
    """Bisect the greatest argument at which a falling condition holds, to 1/64 stop."""
    if holds(high) or not holds(low):
        return None
    while high - low > 1 / 64:
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low
