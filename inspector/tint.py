"""The backdrop's own tint: a wall is rarely quite neutral, nor is a tube's light."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats
from inspector.levels import RESPONDS, Levels, stops
from inspector.outline import right_hand
from inspector.profile import Sites, read_sites, stretches
from inspector.zones import Zones

LEAST_PIXELS, ENOUGH_PIXELS = 60, 60_000
"""Fewer working pixels in which nothing clips teach nothing; so many are enough."""
LEAST_STRETCHES = 12
"""Fewer stretches of the outline teach nothing."""
NEARLY_ALL_ITS_LIGHT = (0.35, 0.9)
"""Levels between which the blur of the outline is nearly all the backdrop's own light."""
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


def _of_stretch(sites: Sites, row: NDArray[np.intp], levels: Levels) -> NDArray[np.float64] | None:
    """Each channel's profile over green's, at the same distances from the outline."""
    channels = len(levels.frame.channels)
    place = np.floor(sites.distance[row] * 2).astype(int) + 8
    level, channel = sites.rendered[row], sites.channel[row]
    use = (place >= 0) & (place < 16) & np.isfinite(level)
    index = channel[use] * 16 + place[use]
    total = np.bincount(index, weights=level[use], minlength=channels * 16).reshape(channels, 16)
    count = np.bincount(index, minlength=channels * 16).reshape(channels, 16)
    with np.errstate(invalid="ignore"):
        profile = total / count
    low, high = NEARLY_ALL_ITS_LIGHT
    inside = ((profile > low) & (profile < high)).all(axis=0)
    if inside.sum() < 1:
        return None
    return _over_green(profile[:, inside].sum(axis=1), levels)


def _over_green(sums: NDArray[np.float64], levels: Levels) -> NDArray[np.float64]:
    green = np.array([name[0] in "GL" for name in levels.frame.channels])
    tint = np.asarray(sums / sums[green].mean(), np.float64)
    tint[green] = 1.0
    return tint
