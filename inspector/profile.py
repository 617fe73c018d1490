"""Profiles across the edge, read from single photosites.

The slanted-edge idea of ISO 12233: every site near a stretch of the outline is put at its own
distance from it, so the profile is finer than the sensor's pitch and no interpolation blurs it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Points
from inspector.frame import Frame, to_sensor
from inspector.levels import RESPONDS, Levels, Under
from inspector.outline import joined, mean_along

TEN_TO_NINETY = 2.5631
"""10 to 90 % width of an edge blurred by a Gaussian, in units of its sigma."""
BIN_PX = 0.25
"""Steps of distance in which an edge's profile is gathered, pixels."""
WIDENED = BIN_PX**2 * (1 / 12 + 1 / 2)
"""By how much those steps and the calming of their noise add to a blur's sigma, squared pixels."""
WAVERS_STILL = 0.15**2
"""What the outline still wavers by along a stretch, squared pixels; from simulated frames."""
STEEP = (0.8, 0.4)
"""The part of an edge's fall that tells the blur of the lens."""
SHARPEST = 20
"""So many of a hundred profiles may be sharper than the lens makes them, by noise."""
LEAST_BLUR_PX = 0.5
"""No lens is sharper than that on a sensor."""
RAMP_REACH = 24.0
"""How far on either side of the outline a ramp is followed, pixels."""
RAMP_BINS = np.arange(-RAMP_REACH + 1.0, RAMP_REACH, BIN_PX)
"""Bounds of those steps."""
STRETCH = 21
"""Outline points over which a profile is gathered."""
ROUNDS = 2
"""So often the outline is set right by the profile, and the profile by the outline."""
ENOUGH = 40
"""About so many stretches give the common profile."""
WHITE_AT = (-12.0, -6.0)
"""Where white is read, pixels from the outline."""
BRIGHT = 9.0
"""Over every level of a profile."""
LEAST_RISE = 0.05
"""A profile that rises by less shows no edge."""
STEP_AT = np.linspace(-6, 6, 1201)
STEP = np.array([NormalDist().cdf(z) for z in STEP_AT])
"""A step blurred by a Gaussian, as a table: the normal distribution's integral."""
NO_SPREAD = np.zeros((0, len(RAMP_BINS) - 1))
"""Where there is no outline."""


@dataclass(frozen=True, eq=False)
class Sites:
    """Photosites along the normals of N outline points, at K nominal offsets.

    Attributes
    ----------
    distance : ndarray, float32
        (N, K) signed distance of the site's centre from the outline, pixels, inwards positive.
    rendered : ndarray, float32
        (N, K) rendered level of the site; NaN outside the picture.
    channel : ndarray, intp
        (N, K) index of its channel.
    """

    distance: Floats
    rendered: Floats
    channel: NDArray[np.intp]


def read_sites(levels: Levels, points: Points, inward: Points, offsets: Points) -> Sites:
    """Read the photosites nearest to each point + offset * inward (viewed pixels)."""
    start = to_sensor(points, levels.frame)
    step = to_sensor(points + inward, levels.frame) - start
    x, dx = _along_normals(start[:, 0], step[:, 0], offsets)
    y, dy = _along_normals(start[:, 1], step[:, 1], offsets)
    sites = Sites(dx + dy, *_rendered_at(levels, x, y))
    if levels.under is not None:
        _read_beneath(sites, levels, levels.under, points, inward, offsets)
    return sites


def _read_beneath(
    sites: Sites, levels: Levels, under: Under, points: Points, inward: Points, offsets: Points
) -> None:
    """Put the sites of the under frame in the place of those that have clipped.

    In units of the brighter frame, each at its own distance: the two do not lie site on site.
    """
    row, column = np.nonzero(sites.rendered >= RESPONDS * levels.frame.gains[sites.channel])
    start, ahead = under.at(points)[row], inward[row]
    start_at = to_sensor(start, under.levels.frame)
    step = to_sensor(start + ahead, under.levels.frame) - start_at
    corner = np.floor(start_at + offsets[column, None] * step).astype(np.int32)
    rendered, channel = _rendered_at(under.levels, *corner.T)
    rendered = rendered * np.float32(2.0**under.stops)
    # What has clipped is at least so bright, whatever a step aside makes of it.
    brighter = rendered > sites.rendered[row, column]
    row, column = row[brighter], column[brighter]
    distance = ((corner + 0.5 - start_at) * step).sum(axis=1)
    sites.distance[row, column] = distance[brighter]
    sites.rendered[row, column] = rendered[brighter]
    sites.channel[row, column] = channel[brighter]


def _along_normals(
    start: Points, step: Points, offsets: Points
) -> tuple[NDArray[np.int32], Floats]:
    """One coordinate of the sites at each start + offset * step, and its part of their distance."""
    first, ahead = (a.astype(np.float32)[:, None] for a in (start, step))
    corner = np.floor(first + offsets.astype(np.float32) * ahead)
    return corner.astype(np.int32), (corner + np.float32(0.5) - first) * ahead


def _rendered_at(
    levels: Levels, x: NDArray[np.int32], y: NDArray[np.int32]
) -> tuple[Floats, NDArray[np.intp]]:
    """Rendered level and channel of the sites in so many columns and rows of the sensor."""
    frame = levels.frame
    width, height = frame.sensor_size
    inside = (x >= 0) & (x < width) & (y >= 0) & (y < height)
    x, y = np.clip(x, 0, width - 1), np.clip(y, 0, height - 1)
    per_level = (frame.gains / (levels.clip.level - frame.black)).astype(np.float32)
    black = frame.black.astype(np.float32)
    raw = frame.mosaic.reshape(width * height, -1).take(y * width + x, axis=0).astype(np.float32)
    if raw.shape[-1] > 1:  # already RGB: the channel that falls first decides
        channel = np.zeros(x.shape, np.intp)
        rendered = ((raw - black) * per_level).min(axis=-1)
    else:
        channel = _channel_at(frame, x, y)
        rendered = (raw[..., 0] - black.take(channel)) * per_level.take(channel)
    rendered[~inside] = np.nan
    return rendered, channel


def _channel_at(frame: Frame, x: NDArray[np.int32], y: NDArray[np.int32]) -> NDArray[np.intp]:
    ph, pw = frame.pattern.shape
    width, height = frame.sensor_size
    row, column = np.arange(height) % ph * pw, np.arange(width) % pw
    return np.asarray(frame.pattern.take(row.take(y) + column.take(x)), np.intp)


def edge_spread(sites: Sites, stretch: NDArray[np.intp], bins: Points) -> Points:
    """Mean level by distance over stretches of the outline (the edge spread function).

    Parameters
    ----------
    stretch : ndarray, intp
        (M, W) indices of the outline points of each stretch.
    bins : ndarray, float64
        (B + 1,) edges of the distance bins, pixels, evenly spaced.

    Returns
    -------
    ndarray, float64
        (M, B) mean rendered level, each site capped at white; NaN where a bin is empty.
    """
    count = len(bins) - 1
    place = np.floor((sites.distance - bins[0]) / (bins[1] - bins[0])).astype(np.intp)
    use = (place >= 0) & (place < count) & np.isfinite(sites.rendered)
    level = np.where(use, np.minimum(sites.rendered, 1.0), 0.0)
    place[~use] = count  # one bin more, for what is left out
    first = np.arange(len(stretch))[:, None, None] * (count + 1)
    index, size = (first + place[stretch]).ravel(), len(stretch) * (count + 1)
    total = np.bincount(index, weights=level[stretch].ravel(), minlength=size)
    number = np.bincount(index, minlength=size)
    with np.errstate(invalid="ignore"):
        return (total / number).reshape(-1, count + 1)[:, :count]


def blurred_step(z: Points) -> Points:
    """Level, 0 to 1, across a step blurred by a Gaussian, at distances ``z`` in sigmas."""
    return np.asarray(np.interp(z, STEP_AT, STEP), np.float64)


def stretches(lines: tuple[Points, ...], *, length: int, hop: int) -> NDArray[np.intp]:
    """(M, W) indices, into the lines laid end to end, of overlapping stretches of each line."""
    start = np.cumsum([0, *map(len, lines)])
    first = [np.arange(a, b - length + 1, hop) for a, b in pairwise(start.tolist())]
    return np.concatenate([np.zeros(0, np.intp), *first])[:, None] + np.arange(length)


def crossing(profile: Points, distance: Points, level: Points) -> Points:
    """(M,) distance at which each (M, B) profile first falls below its (M,) level; NaN if never."""
    below = profile < level[:, None]
    below[:, 0] = False
    first = below.argmax(axis=1)
    row = np.arange(len(profile))
    high, low = profile[row, first - 1], profile[row, first]
    part = np.clip((high - level) / np.maximum(high - low, 1e-9), 0, 1)
    at = distance[first - 1] + part * (distance[first] - distance[first - 1])
    return np.where(below.any(axis=1), at, np.nan)


def spread_along(levels: Levels, lines: tuple[Points, ...]) -> Points:
    """(M, len(RAMP_BINS) - 1) edge spread functions of overlapping stretches of the outlines."""
    rows = stretches(lines, length=STRETCH, hop=STRETCH // 2)
    if len(rows) == 0:
        return NO_SPREAD
    outline, reach = joined(lines), np.arange(-RAMP_REACH, RAMP_REACH + 1.0)
    sites = read_sites(levels, outline.points, outline.inward, reach)
    for _ in range(ROUNDS):
        # Along an upright edge the sites share their distances: some bins are empty.
        some = filled(edge_spread(sites, rows[:: 1 + len(rows) // ENOUGH], RAMP_BINS))
        wavers = _wavering(sites, np.nanmedian(some, axis=0), outline.line)
        sites = replace(sites, distance=sites.distance - wavers[:, None])
    return filled(edge_spread(sites, rows, RAMP_BINS))


def _wavering(sites: Sites, common: Points, line: NDArray[np.intp]) -> Floats:
    """(N,) pixels by which the edge lies further in than its neighbours have it.

    The traced outline wavers about the edge, and over a stretch that would blur its profile. Least
    squares: how far the ``common`` profile must be moved to meet the sites of a point.
    """
    near = slice(round(RAMP_REACH - 5), round(RAMP_REACH + 6))
    distance, light = sites.distance[:, near], np.minimum(sites.rendered[:, near], 1.0)
    at = (RAMP_BINS[:-1] + RAMP_BINS[1:]) / 2
    slope = np.interp(distance, at, np.gradient(common, BIN_PX))
    known = np.isfinite(light)
    misfit = np.where(known, np.interp(distance, at, common) - light, 0.0)
    both = np.stack([(misfit * slope).sum(axis=1), (known * slope**2).sum(axis=1)], axis=1)
    around = mean_along(both, line, over=STRETCH)
    moved = (v[:, 0] / np.maximum(v[:, 1], 1e-9) for v in (both, around))
    return np.asarray(np.clip(np.subtract(*moved), -1.0, 1.0), np.float32)


def filled(rows: Points) -> Points:
    """Rows with what is NaN in them interpolated; one with fewer than three values stays NaN."""
    known = np.isfinite(rows)
    gaps = ~known.all(axis=1)
    result = rows.copy()
    result[gaps] = _without_gaps(rows[gaps], known[gaps])
    return result


def _without_gaps(rows: Points, known: NDArray[np.bool_]) -> Points:
    index = np.arange(rows.shape[1])
    last = index.size - 1
    before = np.maximum.accumulate(np.where(known, index, -1), axis=1)
    after = np.minimum.accumulate(np.where(known, index, last + 1)[:, ::-1], axis=1)[:, ::-1]
    left = np.where(before < 0, after, before).clip(0, last)
    right = np.where(after > last, before, after).clip(0, last)
    low, high = (np.take_along_axis(rows, at, axis=1) for at in (left, right))
    between = low + (high - low) * ((index - left) / np.maximum(right - left, 1))
    return np.where(known.sum(axis=1, keepdims=True) > 2, between, np.nan)


def ramps(spread: Points, *, core: float) -> Points:
    """10 to 90 % distances between ``core`` level and white of each profile that shows both."""
    found = _falls(spread, core, 0.9, 0.1)
    widened = TEN_TO_NINETY**2 * (WIDENED + WAVERS_STILL)
    return np.asarray(np.sqrt(np.maximum(found**2 - widened, 0.0)), np.float64)


def lens_blur(spread: Points, *, core: float, backdrop_ev: float) -> float | None:
    """Sigma of the lens, pixels, from the sharpest of the profiles; None without any.

    Their steep middle tells it, in parts of the way from ``core`` level to white: glare and light
    on the rim widen their foot. Before a backdrop over white that is but a small part of the step.
    """
    high, low = STEEP
    found = _falls(spread, core, high, low)
    if found.size == 0:
        return None
    normal, white = NormalDist(), (1 - core) / (2.0 ** max(backdrop_ev, 0.0) - core)
    seen = normal.inv_cdf(1 - low * white) - normal.inv_cdf(1 - high * white)
    sigma = float(np.percentile(found, SHARPEST)) / seen
    return max(LEAST_BLUR_PX, float(np.sqrt(max(sigma**2 - WIDENED, 0.0))))


def _falls(spread: Points, core: float, high: float, low: float) -> Points:
    """Distances over which profiles fall between two parts of the way from ``core`` to white.

    Both are looked for from halfway: further out noise or another limb may be as dark, too.
    """
    at = (RAMP_BINS[:-1] + RAMP_BINS[1:]) / 2
    beside = (at > WHITE_AT[0]) & (at < WHITE_AT[1])
    white = np.minimum(1.0, np.median(spread[:, beside], axis=1))
    shown = white > core + LEAST_RISE
    spread, white = _calmed(spread[shown]), white[shown]
    half, upper, lower = (core + share * (white - core) for share in (0.5, high, low))
    middle = crossing(np.where(at < WHITE_AT[1], BRIGHT, spread), at, half)
    inner = np.where(at < middle[:, None], BRIGHT, spread)
    outer = np.where(at > middle[:, None], -BRIGHT, spread)[:, ::-1]
    found = crossing(inner, at, lower) + crossing(-outer, -at[::-1], -upper)
    return np.asarray(found[np.isfinite(found)], np.float64)


def _calmed(spread: Points) -> Points:
    """Profiles less their noise from step to step, which would cross a level early."""
    before, after = spread[:, :-2], spread[:, 2:]
    return np.pad((before + 2 * spread[:, 1:-1] + after) / 4, ((0, 0), (1, 1)), mode="edge")
