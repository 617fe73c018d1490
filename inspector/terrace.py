"""Terraces: white light on the subject, dimmer or brighter than the backdrop, up to one sharp step.

Under the ceiling, and far over it with a darker frame, the outline beneath spill shows as a step
from the backdrop's level to that of the light on the subject. Fitting it (``onset``) takes sites
together by their distance from where white ends, and so needs an outline that runs along with that
line; around a nose or a shoulder beneath deep spill it does not. But the step is crossed all the
same on every way outwards. Strands and seams dim the light and let it come back; shades fade; a
second panel steps, but the edge before it stays sharp, whereas light on the subject falls slowly.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.across import Across
from inspector.arrays import Floats, Mask, Points
from inspector.clean_part import Falls
from inspector.cues import SURE_OVERLAP
from inspector.halfway import past_the_middle
from inspector.levels import WHITE, Levels
from inspector.outline import (
    TOLERANCE_PX,
    average_along,
    long_runs,
    read_along,
    runs_of,
    without_gaps,
)
from inspector.zones import Zones

# All widths below are for a tolerance of 3 px, and grow with it.
REACH_PX = 56.0
"""So far out a step is looked for."""
SLOWER_PX = 1.2
"""Light on the subject falls slower than on a clean part of the edge by so much, or more."""
BLURRED, LEAST_BLURRED, LATEST_PX = 2.0, 1.5, 6.0
"""Light is looked at from so many sigmas of the blur outside the end of white, besides half a
working pixel; from so many working pixels at least, and from so many pixels further at most."""
ABOUT = 1.5
"""Within so many sigmas a step is neither of its sides."""
SMOOTHED, OVER = 0.6, 5
"""Light is smoothed by so many working pixels, sigma, and over so many points of the outline."""
BESIDE_PX, BEYOND_PX, LEAST_READINGS = 5.0, 10.0, 4
"""A step is taken between so wide parts of either side, of at least so many readings; further out
light keeps its level for the second."""
LEAST_STEP_EV, OVER_NOISE = 0.06, 2.5
"""A step is larger by stops, and by so many times the noise of a working pixel."""
HELD, RETURNED = 0.5, 0.4
"""Of the step, so much is there all the way in to the edge, and less than so much further out, as
far as ``BEYOND_PX``."""
UNDER_CEILING_EV = 0.05
"""Light nearer to the ceiling has no level."""
LEAST_RUN_PX, GAP_PX = 24.0, 8.0
"""A terrace goes on for so long along the edge, gaps left out."""
SLOPES, JUMPS_PX = 1.5, 3.0
"""Its depth changes by no more than so much of the way along the edge, and so many pixels: that of
strands, which each cross elsewhere, jumps."""


def find_terraces(
    levels: Levels, zones: Zones, across: Across, falls: Falls, *, tolerance: float
) -> Points:
    """Pixels to which white reaches past the end of a terrace at N outline points; 0 elsewhere.

    Parameters
    ----------
    falls : Falls
        Where light falls slowly, and where on the backdrop already.
    tolerance : float
        Pixels by which white may cross the outline.
    """
    slow = (falls.slower > SLOWER_PX * falls.wide) & ~falls.shaded & np.isfinite(across.white_at)
    slow = _lasting(slow, across, falls)
    depths = np.zeros(len(slow))
    if slow.any():
        depths[slow] = _steps(levels, zones, across, slow, tolerance=tolerance)
    depths = _steady(np.where(depths > tolerance, depths, 0.0), across, falls)
    ends = falls.soft & ~falls.shaded & across.told & (falls.deeper > SURE_OVERLAP * falls.wide)
    for run in runs_of(ends | (depths > 0), across.outline.line):
        if depths[run].any():
            depths[run] = np.maximum(depths[run], falls.deeper[run])
    return depths


def _lasting(mask: Mask, across: Across, falls: Falls) -> Mask:
    mask = without_gaps(mask, across.outline, GAP_PX * falls.long)
    return long_runs(mask, across.outline, LEAST_RUN_PX * falls.long)


def _steady(depths: Points, across: Across, falls: Falls) -> Points:
    """(N,) depths that change slowly from point to point for long enough, and what is between."""
    outline, steady = across.outline, np.zeros_like(depths)
    known, along = np.flatnonzero(depths), np.cumsum(outline.step)
    apart, jumps = np.diff(along[known]), np.abs(np.diff(depths[known]))
    broken = (apart > GAP_PX * falls.long) | (jumps > SLOPES * apart + JUMPS_PX * falls.wide)
    broken |= np.diff(outline.line[known]) != 0
    for part in np.split(known, np.flatnonzero(broken) + 1):
        if part.size and np.ptp(along[part]) >= LEAST_RUN_PX * falls.long:
            span = np.arange(part[0], part[-1] + 1)
            steady[span] = np.interp(span, part, depths[part])
    return steady


def _steps(levels: Levels, zones: Zones, across: Across, here: Mask, *, tolerance: float) -> Points:
    """(M,) how far out light steps to the backdrop's own level at some points, pixels, or 0."""
    unit, scale = tolerance / TOLERANCE_PX, levels.scale
    outline, white_at = across.outline.at(here), across.white_at[here]
    over, noise = _over_backdrop(levels, zones)
    half = ABOUT * float(np.hypot(zones.blur_px, scale * np.hypot(0.5, SMOOTHED)))
    fine = scale / 2
    offsets = np.arange(0.0, (REACH_PX + BEYOND_PX) * unit + half + scale, fine)
    ends = levels.from_view(outline.inwards(white_at))
    light = read_along(over, ends, -outline.inward / scale, offsets)
    light = average_along(light, _stretches(here, across), over=OVER)
    backdrop_ev = across.backdrop_ev[here].astype(np.float32)
    begins = (BLURRED + past_the_middle(backdrop_ev)) * zones.blur_px + scale / 2
    begins = np.maximum(begins, LEAST_BLURRED * scale)
    light = _in_sight(light, offsets, begins, LATEST_PX * unit)
    near, wide = round(half / fine), round((half + BESIDE_PX * unit) / fine)
    step = _mean_over(light, -wide, -near) - _mean_over(light, near, wide)
    step[:, offsets > REACH_PX * unit] = np.nan
    size = np.nan_to_num(np.abs(step))
    row, at = np.arange(len(size)), size.argmax(axis=1)
    size = size[row, at]
    # Nearest to the edge what looks largest may be what is left of a step still nearer.
    told = np.isfinite(step[row, np.maximum(at - 1, 0)]) & (at > 0)
    told &= size > max(LEAST_STEP_EV, OVER_NOISE * noise)
    outside = _mean_over(light, near, wide)[row, at]
    part = (light - outside[:, None]) / np.where(told, step[row, at], np.nan)[:, None]
    place = np.arange(len(offsets)) - at[:, None]
    held = np.where((place <= -near) & np.isfinite(part), part, np.inf).min(axis=1) > HELD
    further = (place >= near) & (place <= near + round(BEYOND_PX * unit / fine))
    # Light that is not seen to go on may fall at an edge opposite.
    back = np.where(np.isfinite(part), np.abs(part), np.inf)
    returned = np.where(further, back, 0.0).max(axis=1) < RETURNED
    return np.where(told & held & returned, offsets[at], 0.0)


def _stretches(here: Mask, across: Across) -> NDArray[np.intp]:
    """(M,) number of the stretch of outline that each of some points is on."""
    runs = runs_of(here, across.outline.line)
    return np.repeat(np.arange(len(runs)), [run.stop - run.start for run in runs])


def _over_backdrop(levels: Levels, zones: Zones) -> tuple[Floats, float]:
    """(h, w) stops over the backdrop of white light that has a level, smoothed; NaN elsewhere.

    And the noise of a working pixel, stops.
    """
    over = levels.ev - zones.backdrop_ev
    white = levels.rendered.min(axis=2) >= WHITE
    seen = zones.backdrop & white & (levels.ev < levels.ceiling_ev - UNDER_CEILING_EV)
    share = cv2.GaussianBlur(seen.astype(np.float32), (0, 0), SMOOTHED)
    total = cv2.GaussianBlur(np.where(seen, over, np.float32(0)), (0, 0), SMOOTHED)
    smooth = np.where(share > 0.3, total / np.maximum(share, 1e-6), np.nan)
    inner = cv2.erode((seen & ~zones.fringe).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    rough = np.abs(over - cv2.blur(over, (3, 3)))[inner]
    noise = 1.4826 * float(np.median(rough)) if rough.size else np.inf
    return np.asarray(smooth, np.float32), noise


def _in_sight(light: Floats, offsets: Points, begins: Points, latest: float) -> Floats:
    """(M, K) light from where it is first seen after its beginning on, as far as it is seen."""
    known = np.isfinite(light) & (offsets >= begins[:, None])
    first = offsets[known.argmax(axis=1)]
    known &= (first <= begins + latest)[:, None]
    lost = (offsets > first[:, None]) & ~known
    return np.where(known & (np.cumsum(lost, axis=1) == 0), light, np.float32(np.nan))


def _mean_over(light: Floats, first: int, last: int) -> NDArray[np.float64]:
    """(M, K) mean of readings from ``first`` to ``last`` further on; NaN where few are known."""
    known = np.isfinite(light)
    sums = [
        np.cumsum(np.pad(v, ((0, 0), (1, 0))), axis=1) for v in (np.where(known, light, 0), known)
    ]
    count = light.shape[1]
    low, high = (np.clip(np.arange(count) + k, 0, count) for k in (first, last + 1))
    total, number = (s[:, high] - s[:, low] for s in sums)
    return np.where(number >= LEAST_READINGS, total / np.maximum(number, 1), np.nan)
