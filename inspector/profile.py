"""Profiles across the edge, read from single photosites.

The slanted-edge idea of ISO 12233: every site near a stretch of the outline is put at its own
distance from it, so the profile is finer than the sensor's pitch and no interpolation blurs it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Points
from inspector.frame import Frame, to_sensor
from inspector.levels import RESPONDS, Levels
from inspector.outline import right_hand

TEN_TO_NINETY = 2.5631
"""10 to 90 % width of an edge blurred by a Gaussian, in units of its sigma."""
BIN_PX = 0.25
"""Steps of distance in which an edge's profile is gathered, pixels; they widen it by 1 %."""
RAMP_REACH = 24.0
"""How far on either side of the outline a ramp is followed, pixels."""


@dataclass(frozen=True, eq=False)
class Sites:
    """Photosites along the normals of N outline points, at K nominal offsets.

    Attributes
    ----------
    distance : ndarray, float64
        (N, K) signed distance of the site's centre from the outline, pixels, inwards positive.
    rendered : ndarray, float32
        (N, K) rendered level of the site; NaN outside the picture.
    channel : ndarray, intp
        (N, K) index of its channel.
    """

    distance: NDArray[np.float64]
    rendered: Floats
    channel: NDArray[np.intp]


def read_sites(levels: Levels, points: Points, inward: Points, offsets: Points) -> Sites:
    """Read the photosites nearest to each point + offset * inward (viewed pixels)."""
    frame = levels.frame
    at = points[:, None] + offsets[:, None] * inward[:, None]
    centre = np.floor(at) + 0.5
    distance = ((centre - points[:, None]) * inward[:, None]).sum(axis=-1)
    rendered, channel = _rendered_at(levels, centre)
    if levels.under is not None:
        _look_under(levels, centre, rendered, channel)
    width, height = frame.size
    x, y = centre[..., 0], centre[..., 1]
    outside = (x < 0) | (y < 0) | (x >= width) | (y >= height)
    rendered[outside] = np.nan
    return Sites(distance, rendered, channel)


def _look_under(
    levels: Levels,
    centre: Points,
    rendered: Floats,
    channel: NDArray[np.intp],
) -> None:
    """Replace what is saturated by what the under frame has there."""
    assert levels.under is not None
    lost = rendered >= RESPONDS * levels.frame.gains[channel]
    below, _ = _rendered_at(levels.under.levels, centre[lost] + levels.under.shift)
    rendered[lost] = below * 2.0**levels.under.stops


def _rendered_at(levels: Levels, centre: Points) -> tuple[Floats, NDArray[np.intp]]:
    frame = levels.frame
    width, height = frame.sensor_size
    xy = np.floor(to_sensor(centre, frame)).astype(np.intp)
    x, y = np.clip(xy[..., 0], 0, width - 1), np.clip(xy[..., 1], 0, height - 1)
    raw = frame.mosaic[y, x].astype(np.float32)
    per_level = (frame.gains / (levels.clip.level - frame.black)).astype(np.float32)
    black = frame.black.astype(np.float32)
    if raw.ndim > x.ndim:  # already RGB: the channel that falls first decides
        rendered = ((raw - black) * per_level).min(axis=-1)
        return rendered, np.zeros(x.shape, np.intp)
    channel = _channel_at(frame, x, y)
    return (raw - black[channel]) * per_level[channel], channel


def _channel_at(frame: Frame, x: NDArray[np.intp], y: NDArray[np.intp]) -> NDArray[np.intp]:
    ph, pw = frame.pattern.shape
    return np.asarray(frame.pattern[y % ph, x % pw], np.intp)


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
    step = bins[1] - bins[0]
    count = len(bins) - 1
    place = np.floor((sites.distance[stretch] - bins[0]) / step).astype(np.intp)
    level = np.minimum(sites.rendered[stretch], 1.0)
    use = (place >= 0) & (place < count) & np.isfinite(level)
    index = (np.arange(len(stretch))[:, None, None] * count + place)[use]
    total = np.bincount(index, weights=level[use], minlength=len(stretch) * count)
    number = np.bincount(index, minlength=len(stretch) * count)
    with np.errstate(invalid="ignore"):
        return (total / number).reshape(len(stretch), count)


def stretches(lines: tuple[Points, ...], *, length: int, hop: int) -> NDArray[np.intp]:
    """(M, W) indices, into the lines laid end to end, of overlapping stretches of each line."""
    rows = []
    start = 0
    for line in lines:
        for first in range(0, len(line) - length + 1, hop):
            rows.append(np.arange(start + first, start + first + length))
        start += len(line)
    return np.array(rows, np.intp).reshape(-1, length)


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


def ramps(levels: Levels, lines: tuple[Points, ...], *, core: float) -> Points:
    """(M,) 10 to 90 % distances between ``core`` level and white, one a stretch of outline."""
    rows = stretches(lines, length=21, hop=10)
    if len(rows) == 0:
        return np.zeros(0)
    points = np.concatenate(lines)
    inward = np.concatenate([right_hand(line) for line in lines])
    sites = read_sites(levels, points, inward, np.arange(-RAMP_REACH, RAMP_REACH + 1.0))
    bins = np.arange(-RAMP_REACH + 1.0, RAMP_REACH, BIN_PX)
    spread = _filled(edge_spread(sites, rows, bins))
    middle = (bins[:-1] + bins[1:]) / 2
    white = np.minimum(1.0, spread[:, : round(3 / BIN_PX)].mean(axis=1))
    high = crossing(spread, middle, core + 0.9 * (white - core))
    low = crossing(spread, middle, core + 0.1 * (white - core))
    return low - high


def _filled(spread: Points) -> Points:
    """Profiles with their empty bins interpolated: along an upright edge sites share distances."""
    index = np.arange(spread.shape[1])
    filled = np.full_like(spread, np.nan)
    for row, profile in enumerate(spread):
        known = np.isfinite(profile)
        if known.sum() > 2:
            filled[row] = np.interp(index, index[known], profile[known])
    return filled


def sharpest_blur(levels: Levels, lines: tuple[Points, ...]) -> float:
    """Sigma of the lens blur in pixels, from the sharpest tenth of the outline.

    10 to 90 % of a Gaussian's edge is 2.563 sigma.
    """
    found = ramps(levels, lines, core=0.0)
    found = found[np.isfinite(found)]
    if found.size == 0:
        return 1.0
    return max(0.5, float(np.percentile(found, 10)) / TEN_TO_NINETY)
