"""The backdrop's own tint: a wall is rarely quite neutral, nor is a tube's light."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Points
from inspector.levels import RESPONDS, Levels, stops
from inspector.outline import right_hand
from inspector.profile import Sites, read_sites, stretches
from inspector.zones import Zones

LEAST_PIXELS, ENOUGH_PIXELS = 60, 60_000
"""Fewer working pixels in which nothing clips teach nothing; so many are enough."""
LEAST_STRETCHES = 12
"""Fewer stretches of the outline teach nothing."""
NEARLY_ALL_ITS_LIGHT = (0.15, 0.6)
"""Levels between which the blur of the outline is nearly all the backdrop's own light."""
REACH_PX, BIN_PX = 4.0, 0.5
"""How far from the outline its profile is followed, and the steps of that, pixels."""
LEAST_LIGHT = 3.0
"""Sum of levels of a channel's sites below which a stretch says nothing of it."""
STRONGEST = 1.12
"""A stronger tint than this, as a factor, is not that of a white surface."""


def backdrop_tint(levels: Levels, zones: Zones) -> NDArray[np.float64]:
    """(C,) rendered level of each channel over that of green, on the backdrop.

    Learned where on the backdrop nothing clips, else from the blur along the subject's outline,
    which passes through every level below white; ones (neutral) where there is neither.
    """
    for tint in (_on_the_backdrop(levels, zones), _along_the_outline(levels, zones)):
        if tint is not None and np.all((tint < STRONGEST) & (tint > 1 / STRONGEST)):
            return tint
    return np.ones(len(levels.frame.channels))


def backdrop_stops(levels: Levels, zones: Zones) -> Floats:
    """(h, w) float32 stops of a surface that has the backdrop's tint."""
    tint = backdrop_tint(levels, zones)
    return stops(levels.rendered, levels.top, levels.frame.channels, tint=tint)


def _on_the_backdrop(levels: Levels, zones: Zones) -> NDArray[np.float64] | None:
    inner = np.flatnonzero(zones.backdrop & ~zones.fringe)
    some = inner[:: max(1, inner.size // ENOUGH_PIXELS)]
    rendered = levels.rendered.reshape(-1, levels.rendered.shape[-1])[some]
    responds = (rendered < RESPONDS * levels.top).all(axis=-1)
    rendered = rendered[responds & (rendered > 0.1).all(axis=-1)]
    if len(rendered) < LEAST_PIXELS:
        return None
    return _over_green(rendered.mean(axis=0, dtype=np.float64), levels)


def _along_the_outline(levels: Levels, zones: Zones) -> NDArray[np.float64] | None:
    """Median over stretches of the outline, so that what spills or glows in part is left out."""
    rows = stretches(zones.outlines, length=31, hop=16)
    if len(rows) < LEAST_STRETCHES or levels.frame.mosaic.ndim == 3:
        return None
    points = np.concatenate(zones.outlines)
    inward = np.concatenate([right_hand(line) for line in zones.outlines])
    sites = read_sites(levels, points, inward, np.arange(-3.0, 3.5, 0.5))
    tints = [_of_stretch(sites, row, levels) for row in rows]
    known = [t for t in tints if t is not None]
    if len(known) < LEAST_STRETCHES:
        return None
    return np.asarray(np.median(known, axis=0), np.float64)


def _of_stretch(sites: Sites, row: NDArray[np.intp], levels: Levels) -> Points | None:
    """Each channel's sites over green's profile at just their distances from the outline."""
    distance, level = sites.distance[row].ravel(), sites.rendered[row].ravel()
    channel = sites.channel[row].ravel()
    known = np.isfinite(level) & (np.abs(distance) < REACH_PX)
    is_green = np.array([name[0] in "GL" for name in levels.frame.channels])[channel]
    of_green = known & is_green
    bins = ((distance + REACH_PX) / BIN_PX).astype(int).clip(0, round(2 * REACH_PX / BIN_PX) - 1)
    number = np.bincount(bins[of_green])
    if np.count_nonzero(number) < 3:
        return None
    full = number > 0
    at = np.bincount(bins[of_green], weights=distance[of_green])[full] / number[full]
    profile = np.bincount(bins[of_green], weights=level[of_green])[full] / number[full]
    green = np.interp(distance, at, profile)
    low, high = NEARLY_ALL_ITS_LIGHT
    use = known & (green > low) & (green < high) & (distance > at[0]) & (distance < at[-1])
    count = len(levels.frame.channels)
    own = np.bincount(channel[use], weights=level[use], minlength=count)
    expected = np.bincount(channel[use], weights=green[use], minlength=count)
    if (expected < LEAST_LIGHT).any():
        return None
    return _over_green(own / expected, levels)


def _over_green(sums: NDArray[np.float64], levels: Levels) -> NDArray[np.float64]:
    green = np.array([name[0] in "GL" for name in levels.frame.channels])
    tint = np.asarray(sums / sums[green].mean(), np.float64)
    tint[green] = 1.0
    return tint
