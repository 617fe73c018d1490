"""The subject's edge against the backdrop: ramp, spill runs, hot spots."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.levels import WHITE, Levels
from inspector.outline import read, right_hand
from inspector.place import Box, clock, points_box, view_box
from inspector.profile import TEN_TO_NINETY, ramps, read_sites
from inspector.zones import Zones

Points = NDArray[np.float64]
Mask = NDArray[np.bool_]

SMOOTHED = 9
"""Outline points over which profiles are averaged."""
OUTWARD = 0.6
"""How far outwards a profile is followed, part of the way inwards."""
REACH = 0.036
"""How far inwards a profile is followed, part of the long side."""
TWO_STOPS = 0.25
"""Level two stops under white: the lower end of the fall that tells spill from a clean edge."""
SURE_FALL, POSSIBLE_FALL = 8.0, 5.5
"""Fall from white to two stops under it, pixels, above which a run is spill, or part of one."""
CLEAN_FALL_SIGMAS = 1.2
"""The part of that fall that the lens blur alone makes, in sigmas."""
THIN_MARGIN_PX = 2.0
"""A fall must end so far before the middle of a limb or prop to be told from its blur."""
LEAST_RUN_PX = 12.0
"""Shorter runs are not judged."""


@dataclass(frozen=True, eq=False)
class SpillRun:
    """A stretch of the edge over which paper white has crossed onto the subject.

    ``where`` is a clock position as seen from the subject's centre ("2 o'clock"), lengths in
    viewed pixels. ``points`` (N, 2) walks along the edge; ``depths`` (N,) pixels to which white
    reaches inwards at each; ``inward`` (N, 2) unit vectors into the subject.
    """

    where: str
    box: Box
    length_px: float
    depth_px: float
    sure: bool
    points: Points
    depths: Points
    inward: Points


@dataclass(frozen=True)
class HotSpot:
    """A paper-white island inside the subject. ``warns`` if it is over the area limit."""

    box: Box
    area_px: int
    warns: bool
    sure: bool


@dataclass(frozen=True, eq=False)
class Edge:
    """What was measured along the subject's edge.

    Attributes
    ----------
    length_px : float
        Length of the edge, viewed pixels; 0 when there is none.
    ramp_px : float or None
        Median 10 to 90 % distance between core level and white.
    blur_px : float or None
        Sigma of the lens blur, from the sharpest part of the outline.
    spill_fraction : float or None
        Length of sure spill over length of edge.
    spill : tuple of SpillRun
        Longest first.
    hot_spots : tuple of HotSpot
        Largest first.
    headroom_ev : ndarray, float64
        (N,) for each edge sample, the exposure change in stops at which white would cross the
        edge by more than the tolerance there; not above zero where it already has.
    core : ndarray, bool
        (h, w) of the working picture: the subject less the band as deep as the ramp.
    """

    length_px: float
    ramp_px: float | None
    blur_px: float | None
    spill_fraction: float | None
    spill: tuple[SpillRun, ...]
    hot_spots: tuple[HotSpot, ...]
    headroom_ev: NDArray[np.float64]
    core: Mask


@dataclass(frozen=True, eq=False)
class Profiles:
    """Smoothed profiles at N outline points, K offsets inwards (pixels), NaN past the middle.

    ``level`` (N, K) capped at white; ``fall`` (N,) pixels from white to two stops under it;
    ``white_at`` (N,) offset at which white ends, NaN where it never was; ``thickness`` (N,)
    pixels to the middle of the limb or prop.
    """

    offsets: Points
    level: Points
    white_at: Points
    fall: Points
    thickness: Points


def measure_edge(levels: Levels, zones: Zones, *, hot_spot_area: float) -> Edge:
    """Measure ramp, spill and hot spots along the border of subject and backdrop.

    Parameters
    ----------
    hot_spot_area : float
        Area, part of the picture, from which a hot spot warns.
    """
    lines = zones.outlines
    spots = _hot_spots(levels, zones, hot_spot_area)
    if not lines:
        none = np.zeros(0)
        return Edge(0.0, None, None, None, (), spots, none, _core(levels, zones, 4.0))
    points = np.concatenate(lines)
    inward = np.concatenate([right_hand(line) for line in lines])
    step = np.concatenate([_steps(line) for line in lines])
    core_level = _core_level(levels, zones)
    found = ramps(levels, lines, core=core_level)
    found = found[np.isfinite(found)]
    ramp = float(np.median(found)) if found.size else None
    blur = max(0.5, float(np.percentile(found, 10)) / TEN_TO_NINETY) if found.size else None
    profiles = _profiles(levels, zones, lines, points, inward)
    tolerance = tolerance_px(levels.frame.size)
    runs = _spill_runs(levels, zones, lines, points, inward, step, profiles, blur or 1.0)
    length = float(step.sum())
    sure = sum(r.length_px for r in runs if r.sure)
    return Edge(
        length_px=length,
        ramp_px=ramp,
        blur_px=blur,
        spill_fraction=min(1.0, sure / length) if length else None,
        spill=runs,
        hot_spots=spots,
        headroom_ev=_headroom(levels, lines, points, inward, profiles, tolerance),
        core=_core(levels, zones, ramp or 4.0),
    )


def tolerance_px(size: tuple[int, int]) -> float:
    """How far white may cross the outline: the larger of 3 px and 0.1 % of the long side."""
    return max(3.0, 0.001 * max(size))


def _steps(line: Points) -> Points:
    """(N,) length of line that each of its points stands for."""
    gaps = np.hypot(*np.diff(line, axis=0).T)
    padded = np.concatenate([gaps[:1] * 0, gaps, gaps[:1] * 0])
    return (padded[:-1] + padded[1:]) / 2


def _core_level(levels: Levels, zones: Zones) -> float:
    deep = _core(levels, zones, 8.0)
    return float(np.exp2(np.median(levels.ev[deep]))) if deep.any() else 0.0


def _core(levels: Levels, zones: Zones, ramp: float) -> Mask:
    """The subject less a band along the edge as deep as the ramp (at least the fringe)."""
    away = cv2.distanceTransform((~zones.backdrop).astype(np.uint8), cv2.DIST_L2, 5)
    return zones.subject & ~zones.fringe & (away > ramp / levels.scale)


def _profiles(
    levels: Levels, zones: Zones, lines: tuple[Points, ...], points: Points, inward: Points
) -> Profiles:
    reach = max(30.0, REACH * max(levels.frame.size))
    near = np.arange(0.0, 20.0)
    far = np.concatenate([np.arange(20.0, 40.0, 2.0), np.arange(40.0, reach, 4.0)])
    offsets = np.concatenate([-far[far < OUTWARD * reach][::-1], -near[:0:-1], near, far])
    sites = read_sites(levels, points, inward, offsets)
    level = np.minimum(sites.rendered, 1.0)
    past, thickness = _past_the_middle(levels, zones, points, inward, offsets)
    level[past] = np.nan
    smooth = _average_along(level, lines)
    start = int(np.argmax(offsets >= 0))
    outer, inner = smooth[:, start::-1], smooth[:, start:]
    white_at = -_first_above(outer, -offsets[start::-1], WHITE)
    core = np.clip(_deepest(inner), 0, 0.5)
    dark_at = _first_below(inner, offsets[start:], core + TWO_STOPS * (1 - core))
    too_thin = dark_at > thickness - THIN_MARGIN_PX
    fall = np.where(too_thin, np.nan, dark_at - white_at)
    return Profiles(offsets, smooth, white_at, fall, thickness)


def _deepest(level: Points) -> Points:
    return np.nanmin(np.where(np.isfinite(level).any(axis=1)[:, None], level, 0.0), axis=1)


def _first_above(level: Points, distance: Points, limit: float) -> Points:
    """(N,) distance at which each (N, K) profile first reaches the limit; NaN if it never does."""
    return _first_below(-level, distance, np.full(len(level), -limit + 1e-12))


def _past_the_middle(
    levels: Levels, zones: Zones, points: Points, inward: Points, offsets: Points
) -> tuple[Mask, Points]:
    """True where a profile has passed the subject's middle; (N,) pixels to that middle."""
    depth = cv2.distanceTransform((~zones.backdrop).astype(np.uint8), cv2.DIST_L2, 5)
    at = points[:, None] + offsets[:, None] * inward[:, None]
    along = read(depth, levels.from_view(at)) * levels.scale
    highest = np.maximum.accumulate(along, axis=1)
    past = (along < highest - 0.75 * levels.scale) & (offsets > 0)
    # The distance is to the next pixel's middle: half a pixel more than to the outline.
    return past, np.asarray(highest[:, -1] - 0.5 * levels.scale, np.float64)


def _average_along(level: NDArray[np.float32], lines: tuple[Points, ...]) -> Points:
    """Mean over a few neighbouring points of the same line, leaving out NaN."""
    result = np.empty(level.shape)
    start = 0
    for line in lines:
        part = level[start : start + len(line)]
        known = np.isfinite(part)
        size = (1, min(SMOOTHED, len(line)))
        mean = cv2.blur(np.where(known, part, 0.0), size, borderType=cv2.BORDER_REPLICATE)
        share = cv2.blur(known.astype(np.float64), size, borderType=cv2.BORDER_REPLICATE)
        with np.errstate(invalid="ignore", divide="ignore"):
            result[start : start + len(line)] = np.where(share > 0.3, mean / share, np.nan)
        start += len(line)
    return result


def _first_below(level: Points, distance: Points, limit: Points) -> Points:
    """(N,) distance at which each (N, K) profile first falls below its limit; NaN if never."""
    below = level < limit[:, None]
    first = below.argmax(axis=1)
    before = np.maximum(first - 1, 0)
    row = np.arange(len(level))
    high, low = level[row, before], level[row, first]
    part = np.clip((high - limit) / np.maximum(high - low, 1e-9), 0, 1)
    at = distance[before] + np.where(first > 0, part, 0) * (distance[first] - distance[before])
    return np.where(below.any(axis=1), at, np.nan)


def _headroom(
    levels: Levels,
    lines: tuple[Points, ...],
    points: Points,
    inward: Points,
    profiles: Profiles,
    tolerance: float,
) -> Points:
    """(N,) stops up to white from the level past the tolerance; infinite where nothing is so deep.

    The first pixel that lies wholly past the tolerance has its middle half a pixel further in. A
    straight line fitted to the stops of the sites around there gives its level.
    """
    past = tolerance + 0.5
    sites = read_sites(levels, points, inward, past + np.arange(-1.5, 1.6, 0.5))
    stops = np.log2(np.clip(sites.rendered, 2.0**-10, 1.0)) - np.log2(WHITE)
    level = _level_at(sites.distance - past, stops, lines)
    return np.where(profiles.thickness < past + 0.5, np.inf, -level)


def _level_at(distance: Points, stops: Points, lines: tuple[Points, ...]) -> Points:
    """(N,) value at distance zero of lines fitted to (N, K) samples of neighbouring points."""
    known = np.isfinite(stops) & np.isfinite(distance)
    x, y = np.where(known, distance, 0.0), np.where(known, stops, 0.0)
    moments = np.stack([known.sum(1), x.sum(1), (x * x).sum(1), y.sum(1), (x * y).sum(1)], axis=1)
    n, sx, sxx, sy, sxy = _sum_along(moments.astype(float), lines).T
    spread = np.maximum(n * sxx - sx * sx, 1e-9)
    return (sy * sxx - sx * sxy) / spread


def _sum_along(values: Points, lines: tuple[Points, ...]) -> Points:
    """Moving sums of (N, C) values over a few neighbouring points of the same line."""
    result = np.empty_like(values)
    start = 0
    for line in lines:
        part = values[start : start + len(line)]
        size = (1, min(SMOOTHED, len(line)))
        result[start : start + len(line)] = cv2.boxFilter(
            part, -1, size, normalize=False, borderType=cv2.BORDER_REFLECT_101
        )
        start += len(line)
    return result


def _spill_runs(
    levels: Levels,
    zones: Zones,
    lines: tuple[Points, ...],
    points: Points,
    inward: Points,
    step: Points,
    profiles: Profiles,
    blur: float,
) -> tuple[SpillRun, ...]:
    """Stretches whose fall from white is too slow for the lens: sure and possible runs."""
    fall = profiles.fall - CLEAN_FALL_SIGMAS * blur
    slow = np.nan_to_num(fall, nan=0.0) > POSSIBLE_FALL - 1.2
    very = np.nan_to_num(fall, nan=0.0) > SURE_FALL - 1.2
    centre = _centre(levels, zones)
    runs = []
    start = 0
    for line in lines:
        inside = slice(start, start + len(line))
        for a, b in _true_runs(slow[inside]):
            at = slice(start + a, start + b)
            length = float(step[at].sum())
            if length < LEAST_RUN_PX:
                continue
            sure = float(step[at][very[at]].sum()) >= LEAST_RUN_PX
            depths = np.nan_to_num(profiles.fall[at], nan=0.0)
            runs.append(
                SpillRun(
                    where=clock(points[at].mean(axis=0), centre),
                    box=points_box(points[at], levels.frame.size),
                    length_px=length,
                    depth_px=float(np.percentile(depths, 90)),
                    sure=sure,
                    points=points[at],
                    depths=depths,
                    inward=inward[at],
                )
            )
        start += len(line)
    return tuple(sorted(runs, key=lambda r: (-r.sure, -r.length_px)))


def _true_runs(mask: Mask) -> list[tuple[int, int]]:
    change = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(int)))
    return list(zip(change[::2].tolist(), change[1::2].tolist(), strict=True))


def _centre(levels: Levels, zones: Zones) -> Points:
    y, x = np.nonzero(zones.subject)
    return levels.to_view(np.array([x.mean() + 0.5, y.mean() + 0.5]))


def _hot_spots(levels: Levels, zones: Zones, limit: float) -> tuple[HotSpot, ...]:
    """Paper-white parts of the islands inside the subject, largest first."""
    picture = levels.frame.size[0] * levels.frame.size[1]
    spots = []
    for island in zones.islands:
        x0, y0, x1, y1 = island.box
        white = levels.white[y0:y1, x0:x1] * island.mask
        area = round(float(white.sum()) * levels.scale**2)
        if area < 4:
            continue
        y, x = np.nonzero(white > 0)
        box = (x0 + int(x.min()), y0 + int(y.min()), x0 + int(x.max()) + 1, y0 + int(y.max()) + 1)
        warns = island.sure and area >= limit * picture
        spots.append(HotSpot(view_box(levels, box), area, warns, island.sure))
    return tuple(sorted(spots, key=lambda s: -s.area_px))
