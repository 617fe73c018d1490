"""The backdrop's own tint: a wall is rarely quite neutral, nor is a tube's light."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from inspector.arrays import ENOUGH_PIXELS, Floats, Mask, Points, some
from inspector.cast import at_least_white
from inspector.levels import RESPONDS, Levels, stops
from inspector.outline import joined
from inspector.profile import Sites, filled, read_sites, stretches
from inspector.zones import Zones

LEAST_PIXELS = 60
"""Fewer working pixels in which nothing clips teach nothing."""
LEAST_STRETCHES, STRETCH_LENGTH, STRETCH_HOP = 12, 31, 16
"""Fewer stretches of the outline teach nothing; points of a stretch, and to the next one."""
USUAL_TINT = 0.02
"""Standard deviation of white surfaces' tints, as a factor; ours."""
NORMAL_MAD, MEDIAN_VARIANCE = 1.4826, np.pi / 2
"""Of a normal distribution: standard deviation over median deviation, and the variance of a
median over that of a mean."""
NEARLY_ALL_ITS_LIGHT = (0.15, 0.6)
"""Levels between which the blur of the outline is nearly all the backdrop's own light."""
REACH_PX, BIN_PX = 4.0, 0.5
"""How far from the outline its profile is followed, and the steps of that, pixels."""
LEAST_LIGHT = 3.0
"""Sum of levels of a channel's sites below which a stretch says nothing of it."""
STRONGEST = 1.12
"""A stronger tint than this, as a factor on the light's cast, is not that of a white surface."""


def backdrop_tint(levels: Levels, zones: Zones) -> NDArray[np.float64]:
    """(C,) rendered level of each channel over that of green, on the backdrop.

    Learned where on the backdrop nothing clips, else from the blur along the subject's outline,
    which passes through every level below white; else neutral, or the cast of the light.
    """
    for learn in (_on_the_backdrop, _along_the_outline):
        tint = learn(levels, zones)
        if tint is not None and np.all(np.abs(np.log2(tint / levels.tint)) < np.log2(STRONGEST)):
            return tint
    return levels.tint


def backdrop_stops(levels: Levels, zones: Zones) -> Floats:
    """(h, w) float32 stops of a surface that has the backdrop's tint."""
    tint = backdrop_tint(levels, zones)
    ev = stops(levels.rendered, levels.top, levels.frame.channels, tint=tint)
    ev = np.minimum(ev, np.float32(levels.ceiling_ev))
    return at_least_white(ev, levels.white, levels.tint)


def _on_the_backdrop(levels: Levels, zones: Zones) -> NDArray[np.float64] | None:
    channels = some(levels.rendered, zones.backdrop & ~zones.fringe, most=ENOUGH_PIXELS).T.copy()
    tells = ((channels < RESPONDS * levels.top[:, None]) & (channels > 0.1)).all(axis=0)
    if np.count_nonzero(tells) < LEAST_PIXELS:
        return None
    return _over_green(channels[:, tells].mean(axis=1, dtype=np.float64), levels)


def _along_the_outline(levels: Levels, zones: Zones) -> NDArray[np.float64] | None:
    """What the stretches of the outline tell, as far as they agree."""
    rows = stretches(zones.outlines, length=STRETCH_LENGTH, hop=STRETCH_HOP)
    if len(rows) < LEAST_STRETCHES or levels.frame.mosaic.ndim == 3:
        return None
    outline = joined(zones.outlines)
    sites = read_sites(levels, outline.points, outline.inward, np.arange(-3.0, 3.5, 0.5))
    own, expected = _by_stretch(sites, rows, _is_green(levels))
    known = (expected > LEAST_LIGHT).all(axis=1)
    if np.count_nonzero(known) < LEAST_STRETCHES:
        return None
    return believed(_over_green(own[known] / expected[known], levels))


def believed(tints: Points) -> Points:
    """(C,) mean of the (M, C) tints of stretches and of what white surfaces are known to be.

    Each counts by its variance, as two normal distributions combine (Bishop, Pattern Recognition
    and Machine Learning, 2006, section 2.3.6); median and median deviation stand for mean and
    standard deviation, since some stretches glow or spill.
    """
    median = np.median(tints, axis=0)
    deviation = NORMAL_MAD * np.median(np.abs(tints - median), axis=0)
    independent = len(tints) * STRETCH_HOP / STRETCH_LENGTH
    variance = MEDIAN_VARIANCE * deviation**2 / independent
    return np.asarray(1 + (median - 1) * USUAL_TINT**2 / (USUAL_TINT**2 + variance))


def _by_stretch(sites: Sites, rows: NDArray[np.intp], is_green: Mask) -> tuple[Points, Points]:
    """(M, C) sums of each channel's levels, and of green's profile at just their distances."""
    known = (np.isfinite(sites.rendered) & (np.abs(sites.distance) < REACH_PX))[rows].ravel()
    stretch = np.repeat(np.arange(len(rows)), known.size // len(rows))[known]
    distance = sites.distance[rows].ravel()[known]
    level = sites.rendered[rows].ravel()[known]
    channel = sites.channel[rows].ravel()[known]
    green = _green_at(distance, level, is_green[channel], stretch, len(rows))
    low, high = NEARLY_ALL_ITS_LIGHT
    use = (green > low) & (green < high)
    count = len(is_green)
    key, size = (stretch * count + channel)[use], len(rows) * count
    own, of_green = (np.asarray(np.bincount(key, v[use], size), np.float64) for v in (level, green))
    return own.reshape(-1, count), of_green.reshape(-1, count)


def _green_at(
    distance: Floats, level: Floats, is_green: Mask, stretch: NDArray[np.intp], count: int
) -> Points:
    """(S,) green's profile along each site's stretch, at the site's distance; NaN beyond it."""
    bins = round(2 * REACH_PX / BIN_PX)
    place = ((distance + REACH_PX) / BIN_PX).astype(np.intp).clip(0, bins - 1)
    key, size = (stretch * bins + place)[is_green], count * bins
    number = np.bincount(key, minlength=size)
    with np.errstate(invalid="ignore"):
        at, profile = (
            filled((np.bincount(key, v[is_green], size) / number).reshape(-1, bins))
            for v in (distance, level)
        )
    before = (place - (distance < at[stretch, place])).clip(0, bins - 2)
    x0, x1, y0, y1 = (a[stretch, before + i] for a in (at, profile) for i in (0, 1))
    between = y0 + (y1 - y0) * (distance - x0) / np.maximum(x1 - x0, 1e-9)
    beyond = (distance <= at[stretch, 0]) | (distance >= at[stretch, -1])
    return np.where(beyond, np.nan, between)


def _over_green(sums: Points, levels: Levels) -> Points:
    """(..., C) sums over the mean of green's."""
    green = _is_green(levels)
    tint = sums / sums[..., green].mean(axis=-1, keepdims=True)
    tint[..., green] = 1.0
    return np.asarray(tint, np.float64)


def _is_green(levels: Levels) -> Mask:
    return np.array([name[0] in "GL" for name in levels.frame.channels])
