"""The light of single photosites by their distance from the outline, channel by channel."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Points
from inspector.levels import RESPONDS, Levels
from inspector.outline import SMOOTHED, along, mean_along, read_along
from inspector.profile import read_sites


def light_by_distance(
    levels: Levels,
    backdrop_ev: Floats,
    points: Points,
    inward: Points,
    stretch: NDArray[np.intp],
    bounds: Points,
) -> tuple[Points, Points]:
    """Gather photosites in steps of distance, summed over neighbouring points.

    Levels are freed from the backdrop's own slope. A darker frame's channels are channels of
    their own: nothing hangs on how much darker it is. Where any site of a step is saturated, none
    of it counts: what is left would be too dark.

    Parameters
    ----------
    backdrop_ev : ndarray, float32
        (h, w) stops of the backdrop, carried on behind the subject.
    points, inward : ndarray, float64
        (N, 2) outline points, viewed pixels, and unit vectors into the subject.
    stretch : ndarray, intp
        (N,) which stretch of the outline a point belongs to.
    bounds : ndarray, float64
        (B + 1,) bounds of the steps, pixels inwards from the points, evenly spaced.

    Returns
    -------
    tuple of ndarray, float64
        (N, C, B) mean rendered level by channel and step, and how many sites tell it; where
        none does, the least that its saturated sites allow, or 0.
    """
    offsets = np.arange(bounds[0] - 1, bounds[-1] + 1.1)
    start, step = levels.from_view(points), inward / levels.scale
    slope = read_along(backdrop_ev, start, step, offsets)
    shade = np.exp2(slope - read_along(backdrop_ev, start, step, np.zeros(1)))
    frames = [(replace(levels, under=None), points)]
    if levels.under is not None:
        frames.append((levels.under.levels, levels.under.at(points)))
    found = [
        _by_channel(one, at, inward, shade, stretch, bounds=bounds, offsets=offsets)
        for one, at in frames
    ]
    light, number = zip(*found, strict=True)
    return np.concatenate(light, axis=1), np.concatenate(number, axis=1)


def _by_channel(
    levels: Levels,
    points: Points,
    inward: Points,
    shade: Floats,
    stretch: NDArray[np.intp],
    *,
    bounds: Points,
    offsets: Points,
) -> tuple[Points, Points]:
    """The same of one frame."""
    frame, steps = levels.frame, len(bounds) - 1
    colours = [name[0] for name in frame.channels]
    kind = np.array([sorted(set(colours)).index(colour) for colour in colours])
    # Points lie whole cells apart: so that not each sees the same colour, every other one is read
    # a photosite further along the outline.
    aside = np.where(np.arange(len(points)) % 2 > 0, 0.5, -0.5)[:, None]
    sites = read_sites(levels, points + aside * along(inward), inward, offsets)
    # Of a file that is RGB already the channel that is lowest is read, and it may be any.
    top = frame.gains[sites.channel] if frame.mosaic.ndim == 2 else frame.gains.min()
    place = np.floor((sites.distance - bounds[0]) / (bounds[1] - bounds[0])).astype(np.intp)
    inside = (place >= 0) & (place < steps) & np.isfinite(sites.rendered)
    responds = inside & (sites.rendered < RESPONDS * top)
    saturated = inside & ~responds
    light = np.where(saturated, top, sites.rendered) / shade
    rows = np.arange(len(points))[:, None] * (kind.max() + 1) + kind[sites.channel]
    key, size = rows * steps + place, len(points) * (kind.max() + 1) * steps
    counts = [
        count
        for use in (responds, saturated)
        for count in (
            np.bincount(key[use], light[use], size),
            np.bincount(key[use], minlength=size),
        )
    ]
    shape = (len(points), -1, steps)
    total, number, least, lost = (
        mean_along(v.astype(np.float64).reshape(len(points), -1), stretch).reshape(shape) * SMOOTHED
        for v in counts
    )
    number = np.where(lost > 0.5, 0.0, np.round(number))
    least = np.where(lost > 0.5, least / np.maximum(lost, 1), 0.0)
    return np.where(number > 0, total / np.maximum(number, 1), least), number
