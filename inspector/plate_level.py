"""The level of the backdrop in a frame, as a plate and the frame itself tell it."""

from __future__ import annotations

import numpy as np

from inspector.arrays import Floats, Mask, median_of
from inspector.evidence import UNDER_CEILING_EV

BRIGHT_EV = 0.5
"""What is darker than the plate by more, stops, after its change, tells nothing of the backdrop."""
LEAST_TOLD, LEAST_PIXELS = 0.05, 100
"""Part of the backdrop under the ceiling, and working pixels, that tell how its level changed."""
UNEVEN_EV = 0.1
"""The light does not change alike all over: by less, stops, it may have fallen further there."""


def level_by_plate(
    ev: Floats,
    plate_ev: Floats,
    own_ev: Floats,
    face: Mask,
    seen: Mask,
    *,
    ceiling: float,
    plate_ceiling: float,
) -> tuple[Floats, Mask]:
    """Stops of the backdrop in a frame, all over, and the parts of the picture that surely show it.

    The plate's own, changed by what the light has changed since. Where the plate is at the ceiling
    it tells no more than that the backdrop is at least so bright: once power was taken off, the
    frame itself tells its level there.

    Parameters
    ----------
    ev, plate_ev : ndarray, float32
        (h, w) stops of the frame and of the plate, moved onto it.
    own_ev : ndarray, float32
        (h, w) stops of the backdrop, found by the frame alone.
    face, seen : ndarray, bool
        (h, w) the backdrop by the plate, and what shows it by the frame alone.
    ceiling, plate_ceiling : float
        Stops over white above which the frame tells nothing, and the plate. An under frame lifts
        the first.
    """
    top = ceiling - UNDER_CEILING_EV
    least = plate_ev >= min(ceiling, plate_ceiling) - UNDER_CEILING_EV
    about = _about(ev, plate_ev, face & seen)
    parts = face & (ev > plate_ev + min(about, np.float32(0)) - BRIGHT_EV)
    both = parts & (ev < top) & ~least
    told = both.sum() >= max(LEAST_PIXELS, LEAST_TOLD * parts.sum())
    change = np.float32(np.median((ev - plate_ev)[both])) if told else about
    surface = plate_ev + change
    if change < -UNDER_CEILING_EV or ceiling > plate_ceiling + UNDER_CEILING_EV:
        # The frame tells more than a plate that was at the ceiling.
        own = least & (own_ev > surface - UNEVEN_EV) if told else least
    else:
        at_ceiling = change > UNDER_CEILING_EV and not told  # the frame, in so much more light
        own = np.logical_and(own_ev > surface, at_ceiling)
    return np.where(own, own_ev, surface), parts


def _about(ev: Floats, plate_ev: Floats, seen: Mask) -> np.float32:
    """By how many stops the frame has more light than the plate, as far as the ceiling tells."""
    if seen.sum() < LEAST_PIXELS:
        return np.float32(0)
    return np.float32(median_of(ev - plate_ev, seen))
