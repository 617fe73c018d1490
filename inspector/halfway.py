"""Where the subject truly begins across its outline, finer than the working picture tells.

The traced outline is good to about half a photosite's neighbourhood. Single photosites tell more:
in the units of the backdrop beside them, light falls from 1 in a step, blurred by the lens, to the
subject's own light. That is brightest at its rim and fades inwards (light that wraps around it),
so the place where light is halfway lies a little inside the step. Step and fading light are told
apart by fitting both to the profile that the whole outline shows.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask, Points
from inspector.levels import RESPONDS, Levels
from inspector.outline import SMOOTHED, Outline, along, average_along, mean_along
from inspector.profile import STEP, STEP_AT, blurred_step, crossing, filled, read_sites

STEP_PX = 0.5
"""Steps of distance in which a profile is gathered, pixels."""
BESIDE_PX = (6.0, 10.0)
"""So far outside the outline the backdrop beside it is measured, pixels."""
INSIDE_PX = 6.0
"""How far inwards a profile is fitted, pixels."""
FITTED_AT = np.arange(-7.0, INSIDE_PX, STEP_PX)
"""Where the common profile is fitted, pixels from where light is halfway."""
UNDER_TOP = 0.95
"""A channel tells the backdrop's level where it lies under this part of its own highest."""
MOST_OFF_PX = 3.0
"""The traced outline is off by less."""
ALONG_PX, CALM_PX, OVER = (-1.0, -0.5, 0.5, 1.0), 0.5, 3
"""Each outline point is read so far to either side, pixels: points lie whole cells apart, and might
see one colour only. What all have in common is calmed over neighbouring points instead, and read
less far aside; where the outline begins at each is not, since the traced one wavers among them."""
LEAST_SHOWN = 0.3
"""Of the sites beside so many must not have clipped: fewer are those that noise has made dim."""
LEAST_LIGHT = 0.05
"""A backdrop darker than this is none, in units of white."""
ENOUGH_POINTS = 500
"""So many outline points give the common profile."""
LEAST_POINTS, LEAST_PART = 40, 0.1
"""Fewer outline points, or a smaller part of them, give no common profile."""
CUT_AT = (0.9, 0.45)
"""Levels, parts of the ceiling, that tell by how much a backdrop lies over it."""
TIMES = np.geomspace(1.0, 3.0, 60)
"""How many times the ceiling a backdrop may be for that."""
FADES = (1.5, 5.0)
"""Lengths over which light on the subject's rim fades inwards, in sigmas of the blur: that of a
narrow rim and of light that wraps around. A rim much narrower than the blur looks like a step
that lies further in; nothing can tell the two apart."""
SIGMAS = np.geomspace(0.5, 4.0, 18)
"""Blurs that are tried, pixels."""
SHIFTS = np.arange(-1.0, 0.31, 0.05)
"""Places of the step that are tried, pixels inwards from where light is halfway."""


@dataclass(frozen=True, eq=False)
class Begins:
    """Where the subject begins at N outline points.

    Attributes
    ----------
    at : ndarray, float64
        (N,) pixels inwards from the traced outline.
    told : ndarray, bool
        (N,) whether that is known: not before a backdrop far over the ceiling.
    fitted : ndarray, bool
        (N,) whether only the fall of light under the ceiling tells it.
    blur : float or None
        Sigma of the lens, pixels; None where nothing tells it.
    """

    at: Points
    told: Mask
    fitted: Mask
    blur: float | None = None


def where_subject_begins(levels: Levels, outline: Outline) -> Begins:
    """Find the true outline along the traced one."""
    count, line = len(outline.line), outline.line
    reach = min(float(levels.scale), MOST_OFF_PX)
    bins = np.arange(-BESIDE_PX[1] - reach, INSIDE_PX + reach + STEP_PX, STEP_PX)
    middle = (bins[:-1] + bins[1:]) / 2
    profile, calm, told = _profiles(levels, outline, bins)
    halfway, of_calm = (crossing(p, middle, np.full(count, 0.5)) for p in (profile, calm))
    near = (np.abs(halfway) < 1.5 * reach) & np.isfinite(of_calm)
    if np.count_nonzero(told & near) < max(LEAST_POINTS, LEAST_PART * count):
        return Begins(np.zeros(count), *np.zeros((2, count), bool))
    x = FITTED_AT
    some = np.flatnonzero(told & near)[:: 1 + np.count_nonzero(told & near) // ENOUGH_POINTS]
    common = _common(calm[some], of_calm[some], middle, x)
    under, found = _under_ceiling(calm, line, middle, common, x)
    at = np.where(told, halfway, under)
    settled = near & (told | found)
    at = np.where(settled, at, np.median(at[settled]))
    known = settled | told
    shift, blur = _fitted_step(common)
    return Begins(np.where(known, at + shift, 0.0), known, known & ~told, blur)


def _profiles(levels: Levels, outline: Outline, bins: Points) -> tuple[Points, Points, Mask]:
    """(N, B) light by distance in units of the backdrop beside, as it is and calmed; if it is told.

    Where every channel is at its end, the light of the one that goes furthest in units of its end.
    """
    offsets = np.arange(np.ceil(bins[0]), bins[-1])
    points, inward = outline.points, outline.inward
    sideways = along(inward)
    read = [read_sites(levels, points + at * sideways, inward, offsets) for at in ALONG_PX]
    distance, light, channel = (
        np.concatenate(parts, axis=1)
        for parts in zip(*((s.distance, s.rendered, s.channel) for s in read), strict=True)
    )
    clipped = _clipped(levels, light, channel)
    out = np.tile(offsets < -BESIDE_PX[0], len(ALONG_PX))
    beside, told = _beside(levels, light[:, out], channel[:, out], clipped[:, out], outline.line)
    level = np.take_along_axis(beside, channel, axis=1)
    part = np.where(clipped & (light < UNDER_TOP * level), np.nan, light / level)
    count, row = len(bins) - 1, np.arange(len(points))[:, None]
    place = np.floor((distance - np.float32(bins[0])) / np.float32(STEP_PX)).astype(np.intp)
    use = np.isfinite(part) & (place >= 0) & (place < count)
    at, shape, middle = row * count + place, (len(points), count), (bins[:-1] + bins[1:]) / 2

    def profile(use: Mask, over: int) -> Points:
        seen, where = (
            filled(_means(at, v, use, shape, outline.line, over)) for v in (part, distance)
        )
        steep = np.gradient(seen, axis=1) / np.maximum(np.gradient(where, axis=1), STEP_PX / 2)
        return np.asarray(seen + steep * (middle - where), np.float64)

    near = np.repeat(np.abs(ALONG_PX) <= CALM_PX, len(offsets))
    return profile(use, 1), profile(use & near, OVER), told


def _beside(
    levels: Levels,
    light: Floats,
    channel: NDArray[np.intp],
    clipped: Mask,
    line: NDArray[np.intp],
) -> tuple[Points, Mask]:
    """(N, C) the backdrop's level in each channel, from sites (N, K) beside; (N,) if it is told."""
    row, tops = np.arange(len(light))[:, None], _tops(levels)
    place, shape = row * tops.size + channel, (len(light), tops.size)
    use = np.isfinite(light)
    all_of_it, shown = (_means(place, light, u, shape, line) for u in (use, use & ~clipped))
    share = _means(place, np.asarray(~clipped, np.float32), use, shape, line)
    beside = np.where(share > LEAST_SHOWN, shown, all_of_it)
    beside[~((beside > LEAST_LIGHT) & (beside < UNDER_TOP * tops))] = np.nan
    told = np.asarray(np.isfinite(beside).any(axis=1))
    beside[np.ix_(~told, tops >= tops.max())] = tops.max()
    return beside, told


def _tops(levels: Levels) -> Points:
    """(C,) rendered level at which the sites of each channel end."""
    single = levels.frame.mosaic.ndim == 2
    return levels.top if single else np.full(levels.top.size, levels.top.min())


def _clipped(levels: Levels, light: Floats, channel: NDArray[np.intp]) -> Mask:
    """(N, K) sites that have clipped and have no brighter one of an under frame beneath them.

    Its sites lie elsewhere and may have another colour, which clips earlier: such a site is only
    known to be at least so bright.
    """
    if levels.under is None:
        return np.zeros(light.shape, bool)
    gains = levels.frame.gains
    clip = gains[channel] if levels.frame.mosaic.ndim == 2 else gains.min()
    return np.asarray(np.abs(light / clip - 1) < 1 - RESPONDS)


def _means(
    place: NDArray[np.intp],
    values: NDArray[np.floating],
    use: Mask,
    shape: tuple[int, int],
    line: NDArray[np.intp],
    over: int = SMOOTHED,
) -> Points:
    """Means of values by their place in a picture of a shape, over neighbouring rows; or NaN."""
    size = shape[0] * shape[1]
    total = np.bincount(place[use], values[use], size).astype(np.float64)
    count = np.bincount(place[use], minlength=size).astype(np.float64)
    total, count = (mean_along(v.reshape(shape), line, over=over) for v in (total, count))
    # A running mean leaves crumbs where nothing counts.
    return np.where(count > 0.5 / over, total / np.maximum(count, 0.5 / over), np.nan)


def _common(profile: Points, halfway: Points, distance: Points, x: Points) -> Points:
    """(K,) median of the profiles at places x from where each is halfway."""
    at = np.interp(x + halfway[:, None], distance, np.arange(len(distance)))
    before = np.minimum(at.astype(int), len(distance) - 2)
    row, part = np.arange(len(profile))[:, None], at - before
    moved = profile[row, before] * (1 - part) + profile[row, before + 1] * part
    return np.asarray(np.median(moved, axis=0), np.float64)


def _under_ceiling(
    profile: Points, line: NDArray[np.intp], distance: Points, common: Points, x: Points
) -> tuple[Points, Mask]:
    """(N,) place where light would be halfway, of profiles (N, B) cut off at the ceiling.

    The backdrop is so many times the ceiling; the more, the shorter the way from just under the
    ceiling to a lower level. (N,) whether it is not too many times.
    """
    high, low = (crossing(profile, distance, np.full(len(profile), q)) for q in CUT_AT)
    fall = np.minimum.accumulate(common)
    to_high, to_low = (np.interp(-q / TIMES, -fall, x) for q in CUT_AT)
    width = (to_low - to_high)[::-1]
    # The backdrop hardly changes along the outline, so that neighbours tell its level together.
    seen = average_along((low - high)[:, None], line)[:, 0]
    times = np.interp(seen, width, TIMES[::-1])
    at = low - np.interp(times, TIMES, to_low)
    return at, np.isfinite(at) & (times < 0.9 * TIMES[-1])


def _fitted_step(light: Points) -> tuple[float, float]:
    """Place and blur of the step in a profile at ``FITTED_AT``, in units of the backdrop's light.

    ``light = step + c (1 - step) + sum a_i glow_i`` with c and a_i at least zero: an ordinary
    least squares over every choice of them, the best of all that hold.
    """
    shift, sigma, step, columns = _steps_and_glows()
    rest = light - step
    best = np.full(len(shift), np.inf)
    for use in product((False, True), repeat=columns.shape[2]):
        if not any(use):
            continue
        a = columns[:, :, list(use)]
        normal = np.swapaxes(a, 1, 2) @ a + 1e-9 * np.eye(sum(use))
        found = np.linalg.solve(normal, np.swapaxes(a, 1, 2) @ rest[..., None])
        misfit = ((a @ found)[..., 0] - rest) ** 2
        holds = (found[..., 0] >= 0).all(axis=1)
        best = np.where(holds, np.minimum(best, misfit.sum(axis=1)), best)
    return float(shift[best.argmin()]), float(sigma[best.argmin()])


@cache
def _steps_and_glows() -> tuple[Points, Points, Points, Points]:
    """For every step tried (M): its place and blur, (M, K) its light, (M, K, 3) what adds."""
    sigma, shift = (g.ravel() for g in np.meshgrid(SIGMAS, SHIFTS, indexing="ij"))
    d, s = FITTED_AT - shift[:, None], sigma[:, None]
    added = [blurred_step(d / s), *(_glow(d, s, fade * s) for fade in FADES)]
    return shift, sigma, blurred_step(-d / s), np.stack(added, axis=2)


def _glow(d: Points, sigma: Points, fade: Points) -> Points:
    """Light that is 1 at the step and fades exponentially inwards, blurred by a Gaussian."""
    grown = np.exp(np.minimum(sigma**2 / (2 * fade**2) - d / fade, 30.0))
    return np.asarray(grown * blurred_step(d / sigma - sigma / fade))


def past_the_middle(backdrop_ev: Floats) -> Points:
    """(N,) sigmas of the blur by which white ends past the middle of a step down from a level."""
    left = 1 - np.exp2(-np.maximum(backdrop_ev.astype(np.float64), 1.0))
    return np.asarray(np.interp(left, STEP, STEP_AT))
