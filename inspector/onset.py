"""Where the subject begins beneath white light, fitted: a break that only the lens has blurred.

White light on the subject moves the place where white ends, not the outline itself. Under the
ceiling some channel still responds on both sides of the outline. There the light steps, in level
or in tint, as sharply as the lens lets it, while both the backdrop outside and the light on the
subject are smooth. As in ISO 12233's slanted edge, single photosites are put at their own
distances. At each place where the subject might begin, a step blurred by the lens is fitted to
them by least squares: the backdrop's light outside, a smooth curve inside. How well each place
explains the light (the marginal likelihood of a linear model: Bishop, Pattern Recognition and
Machine Learning, 2006, section 3.5) is weighed along the outline, which goes on from point to point
(forward and backward: the same, section 13.2). Deep spill is looked for once more in larger steps.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import pi

import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask, Points
from inspector.by_distance import light_by_distance
from inspector.levels import WHITE, Levels
from inspector.outline import SMOOTHED, TOLERANCE_PX, runs_of
from inspector.profile import blurred_step, crossing

# All lengths below are for a tolerance of 3 px, and grow with it.
FURTHER = (3.0, 6.0)
"""The steps for deep spill are so many times as large."""
DEEP_PX, DEEP_ERROR = (3.3, 9.3), 2.0
"""There white counts that reaches so far over the outline, in such steps, if that is known so well,
pixels."""
STEPS, STEP_ERROR = 0.06, 1.0
"""Light that steps by this part, up or down, and ends as sharply as a clean edge is told from the
backdrop's by the step, if that is known so well, pixels."""
LIFTS = 0.06
"""In the larger steps only light that steps up by this part is told so."""
BIN_PX = 0.5
"""Steps of distance in which the photosites are gathered, and between the places tried."""
FURTHEST_PX, DEEPEST_PX = -16.0, 3.0
"""Range of the places tried, from outside to inside the traced outline."""
OUTER_PX, INNER_PX = 11.0, 6.0
"""How far outside and inside the end of white the light is looked at."""
DEEP_INNER_PX = -1.0
"""In the larger steps white light alone is looked at, short of where it falls."""
CLEAN_PX = 2.5
"""So far inside the end of white lies the outline at the most, where the edge is clean."""
KNOTS_PX = np.arange(3.0, 19.0, 3.0)
"""Distances from the outline at which the light on the subject may bend."""
STEP, SLOPE, BEND = 0.4, 0.3, 0.06
"""Standard deviations expected, parts of the brightest light: of the step, of the slope just
inside it per pixel, and of how much that slope changes at a knot. Measured: light on the subject
falls by 2 to 60 pixels for two stops."""
OUTER = 0.004
"""Standard deviation expected of the slope of all light, outside too, per step."""
LEAST_NOISE = 0.01
"""No photosite is trusted better than this: sites differ by as much in what they make of light."""
DARK = 0.3
"""Outside, what is darker than this part of the brightest light is another limb."""
LEAST_WHITE = 0.8
"""Only before a backdrop that is at least nearly white light on the subject is told brighter."""
LEAST_BINS = 6
"""A channel that responds in fewer of the steps of distance tells nothing."""
HOP = 3
"""Every so many points of the outline one is fitted; the photosites of its neighbours count."""
STRAYS_PX = 0.5
"""How far the outline strays from point to point, as seen from the traced one."""
JUMPS = 0.02
"""Chance that it jumps, at a corner."""
AT_ONCE = 200
"""Points that are fitted at once, for the memory's sake."""
LEAST_ERROR = 0.35
"""No place is known better than this, pixels: the light inside is not just as the model has it.
Measured on edges in closed form, which it puts up to 0.8 pixels off."""
BRIGHTEST = 4.0
"""Fitted light is not asked for above."""
UNLIKELY = 60.0
"""A logarithm of a chance that is none."""


@dataclass(frozen=True, eq=False)
class Onset:
    """Where the subject begins, at N outline points; NaN where it is not known.

    Attributes
    ----------
    at, error : ndarray, float64
        (N,) offset inwards from the traced outline, pixels, and its standard error.
    rise, drop : ndarray, float64
        (N,) by how much the light on the subject is brighter there than the backdrop, and by how
        much darker, in the channel in which it is so most; part of the brightest light.
    steps : ndarray, bool
        (N,) where such a step tells it before white light that then ends sharply.
    white_at : ndarray, float64
        (N,) offset inwards at which the fitted light of the channel that falls first falls below
        white, pixels. (Tinted light is white only where all of its channels are.)
    """

    at: Points
    error: Points
    rise: Points
    drop: Points
    white_at: Points
    steps: Mask


def find_onset(
    levels: Levels,
    backdrop_ev: Floats,
    points: Points,
    inward: Points,
    line: NDArray[np.intp],
    white_at: Points,
    look: Mask,
    look_deep: Mask,
    *,
    blur: float,
    tolerance: float,
) -> Onset:
    """Fit where the subject begins at the points to ``look`` at.

    Parameters
    ----------
    backdrop_ev : ndarray, float32
        (h, w) stops of the backdrop, carried on behind the subject.
    points, inward : ndarray, float64
        (N, 2) the traced outlines, viewed pixels, and unit vectors into the subject.
    line : ndarray, intp
        (N,) which of the outlines a point belongs to.
    white_at : ndarray, float64
        (N,) offset inwards at which white ends, pixels.
    look, look_deep : ndarray, bool
        (N,) where to look, and where to look in larger steps, too.
    blur : float
        Sigma of the lens, pixels.
    tolerance : float
        Pixels by which white may cross the outline.
    """
    unit = tolerance / TOLERANCE_PX
    # The backdrop's level is carried on smoothly over what is as small as deep spill.
    even = np.zeros_like(backdrop_ev)
    sharp = -(0.5 + 2 * blur / unit)
    onset, *others = (
        _in_steps(
            levels,
            slope,
            points,
            inward,
            white_at,
            runs_of(there & np.isfinite(white_at), line),
            blur=blur,
            step=times * unit,
            inner=inner,
        )
        for times, slope, there, inner in (
            (1.0, backdrop_ev, look, INNER_PX),
            *((times, even, look_deep, DEEP_INNER_PX) for times in reversed(FURTHER)),
            (1.0, even, look_deep, sharp),
        )
    )
    for other, times in zip(others, (*reversed(FURTHER), 1.0), strict=True):
        onset = _where_deeper(onset, other, white_at, times=times, unit=unit)
    return replace(onset, error=np.maximum(onset.error, LEAST_ERROR * unit))


def _where_deeper(
    onset: Onset, other: Onset, white_at: Points, *, times: float, unit: float
) -> Onset:
    """The onset, and where white light alone shows a deeper one, that."""
    depth = white_at - other.at
    if times > 1:
        deep = (depth > DEEP_PX[0] * times * unit) & (other.error < DEEP_ERROR * unit)
        steps = (depth > TOLERANCE_PX * unit) & (other.rise > LIFTS)
        steps &= other.error < DEEP_ERROR * unit
    else:
        steps = (depth > TOLERANCE_PX * unit) & (np.maximum(other.rise, other.drop) > STEPS)
        steps &= other.error < STEP_ERROR * unit
        deep = steps
    found = (deep | steps) & (depth < DEEP_PX[1] * times * unit)
    return Onset(
        *(
            np.where(found, getattr(other, name), getattr(onset, name))
            for name in ("at", "error", "rise", "drop")
        ),
        white_at=onset.white_at,
        steps=np.where(found, steps, onset.steps),
    )


def _in_steps(
    levels: Levels,
    backdrop_ev: Floats,
    points: Points,
    inward: Points,
    white_at: Points,
    spans: list[slice],
    *,
    blur: float,
    step: float,
    inner: float,
) -> Onset:
    """The onset along some runs of points, in steps of so many pixels."""
    if not spans:
        return _unknown(len(points))
    here = np.concatenate([np.arange(s.start, s.stop) for s in spans])
    stretch = np.repeat(np.arange(len(spans)), [s.stop - s.start for s in spans])
    fitted = [np.unique(np.append(np.arange(s.start, s.stop, HOP), s.stop - 1)) for s in spans]
    rows = np.searchsorted(here, np.concatenate(fitted))
    light, number = light_by_distance(
        levels, backdrop_ev, points[here], inward[here], stretch, BOUNDS * step
    )
    basis = _basis(blur / step)
    explained = _evidence(light[rows], number[rows], white_at[here][rows] / step, basis, inner)
    # Channels of a darker frame, which come last, do not tell where this one is white.
    own = len({name[0] for name in levels.frame.channels})
    responds = number[rows, :own] > 0
    return _placed(explained, responds, basis, spans, fitted, len(points), step)


def _unknown(count: int) -> Onset:
    at, error, rise, drop, white_at = (np.full(count, np.nan) for _ in range(5))
    return Onset(at, error, rise, drop, white_at, np.zeros(count, bool))


def _placed(
    explained: tuple[Points, Points, Points, Mask],
    responds: Mask,
    basis: Points,
    spans: list[slice],
    fitted: list[NDArray[np.intp]],
    count: int,
    unit: float,
) -> Onset:
    """The likely places along each run of points, from those that were fitted."""
    evidence, (rises, drops), parts, tells = explained
    onset = _unknown(count)
    first = np.cumsum([0, *map(len, fitted)])
    for span, own, start in zip(spans, fitted, first, strict=False):
        mine = slice(start, start + len(own))
        chance = _along(evidence[mine])
        mean = chance @ PLACES
        spread = np.sqrt(np.maximum(chance @ PLACES**2 - mean**2, 0.0))
        row, there = np.arange(len(own)), np.abs(PLACES - mean[:, None]).argmin(axis=1)
        each = np.arange(span.start, span.stop)
        told = np.interp(each, own, tells[mine][row, there]) > 0.5
        onset.at[span] = np.where(told, np.interp(each, own, mean * unit), np.nan)
        onset.error[span] = np.where(told, np.interp(each, own, spread * unit), np.nan)
        onset.rise[span] = np.interp(each, own, rises[mine][row, there])
        onset.drop[span] = np.interp(each, own, drops[mine][row, there])
        ends = _white_ends(parts[mine][row, there], responds[mine], basis[there], mean)
        onset.white_at[span] = np.where(told, np.interp(each, own, ends * unit), np.nan)
    return onset


def _white_ends(parts: Points, responds: Mask, basis: Points, begins: Points) -> Points:
    """(N,) where, from the subject's beginning inwards, the first of the channels is under white.

    ``parts`` (N, C, K) of the light that was fitted there; none at all of a channel unfitted.
    ``responds`` (N, C, B) in which steps of distance a channel does: before those it is white.
    """
    parts = parts[:, : responds.shape[1]]
    light = parts @ basis.transpose(0, 2, 1)
    light[~parts.any(axis=2)] = np.inf
    inside = begins[:, None] <= MIDDLES
    light[~np.logical_or.accumulate(responds & inside[:, None], axis=2)] = np.inf
    lowest = light.min(axis=1)
    return crossing(np.minimum(lowest, BRIGHTEST), MIDDLES, np.full(len(lowest), WHITE))


PLACES = np.arange(FURTHEST_PX, DEEPEST_PX + 0.01, BIN_PX)
"""Offsets inwards from the traced outline at which the subject might begin."""
BOUNDS = np.arange(FURTHEST_PX - 6.0, DEEPEST_PX + 7.01, BIN_PX)
MIDDLES = (BOUNDS[1:] + BOUNDS[:-1]) / 2
BEFORE = np.searchsorted(MIDDLES, PLACES - 1.0)
"""The step of distance that lies outside each place's blur: a channel that responds nowhere there
tells no rise."""


INSIDE = np.array([0.0, 1.0, 1.0] + [1.0] * len(KNOTS_PX) + [0.0])
"""Which of the light's parts are the subject's."""


def _evidence(
    light: Points, number: Points, white_at: Points, basis: Points, inner: float
) -> tuple[Points, Points, Points, Mask]:
    """(N, P) logarithm of how well each place explains the light, (2, N, P) how much that would be
    brighter and darker inside, (N, P, C, K) the parts of the light; (N, P) whether any tells.

    The same site speaks for as many neighbours as are summed up, and counts so much less in each.
    """
    inwards = MIDDLES - white_at[:, None]
    window = (inwards > -OUTER_PX) & (inwards < inner) & _in_sight(light, number, inwards)
    total, misfit = (np.zeros((len(light), len(PLACES))) for _ in range(2))
    steps = np.zeros((2, len(light), len(PLACES)))
    # Of a seam, a line, light comes back; of spill it goes on to its end.
    inmost = basis[:, np.searchsorted(MIDDLES, white_at + inner) - 1] * INSIDE
    parts = np.zeros((len(light), light.shape[1], len(PLACES), basis.shape[2]))
    freedom, beyond = np.zeros(len(light)), np.zeros(total.shape, bool)
    for c in range(light.shape[1]):
        weight = np.where(window, number[:, c], 0.0)
        tells = np.flatnonzero(np.count_nonzero(weight, axis=1) >= LEAST_BINS)
        weight = weight[tells]
        brightest = np.where(weight > 0, light[tells, c], 0.0).max(axis=1, keepdims=True, initial=0)
        y = light[tells, c] / np.maximum(brightest, 1e-3)
        weight /= _noise(y, weight) ** 2
        for some in (slice(i, i + AT_ONCE) for i in range(0, len(tells), AT_ONCE)):
            each = _fit(y[some], weight[some], basis)
            total[tells[some]] += each[0]
            misfit[tells[some]] += each[1]
            outside = np.cumsum(weight[some] > 0, axis=1)[:, BEFORE] > 1
            before = each[2][..., 0] + each[2][..., -1] * PLACES
            white = before * brightest[some] > LEAST_WHITE
            step = np.where(outside & white, each[2][..., 1], 0.0)
            end = np.einsum("npk,pnk->np", each[2], inmost[:, tells[some]])
            steps[:, tells[some]] = np.maximum(
                steps[:, tells[some]], [step, -np.maximum(step, end)]
            )
            beyond[tells[some]] |= outside
            parts[tells[some], c] = each[2] * brightest[some, :, None]
        freedom[tells] += np.count_nonzero(weight, axis=1) - 5
    inmost = np.maximum(white_at + CLEAN_PX, FURTHEST_PX)
    total[PLACES[None] > inmost[:, None]] = np.inf
    row, best = np.arange(len(light)), total.argmin(axis=1)
    # What no place explains, a strand or a corner, makes all of them less sure.
    worse = np.maximum(1.0, misfit[row, best] / np.maximum(freedom, 1))
    total /= worse[:, None] * SMOOTHED / HOP
    evidence = -(total - total.min(axis=1, keepdims=True)) / 2
    return np.maximum(evidence, -UNLIKELY), steps, parts.transpose(0, 2, 1, 3), beyond


def _in_sight(light: Points, number: Points, inwards: Points) -> Mask:
    """(N, B) outside, only as far as the next limb or prop that stands before the backdrop."""
    brightest = np.where(number > 0, light, 0.0).max(axis=2, keepdims=True)
    dark = ((number > 0) & (light < DARK * brightest)).any(axis=1) & (inwards < -CLEAN_PX)
    return ~np.logical_or.accumulate(dark[:, ::-1], axis=1)[:, ::-1]


def _fit(y: Points, weight: Points, basis: Points) -> tuple[Points, Points, Points]:
    """(N, P) minus twice the logarithm of the marginal likelihood, misfit, and (N, P, K) parts of
    the light at each place.

    ``y`` (N, B) light, ``weight`` (N, B) one over its variance, ``basis`` (P, B, K).
    """
    places, bins, size = basis.shape
    flat = basis.transpose(1, 0, 2).reshape(bins, -1)
    lower = np.tril_indices(size)
    squares = (basis[..., lower[0]] * basis[..., lower[1]]).transpose(1, 0, 2).reshape(bins, -1)
    prior = np.array([1.0, STEP**-2, SLOPE**-2] + [BEND**-2] * len(KNOTS_PX) + [OUTER**-2])
    A = np.zeros((len(y), places, size, size))
    A[:, :, *lower] = (weight @ squares).reshape(-1, places, len(lower[0]))
    A += np.diag(prior)
    b = ((weight * y) @ flat).reshape(-1, places, size)
    root = np.linalg.cholesky(A)
    found, explained = _solved(root, b)
    unexplained = (weight * y * y).sum(axis=1)[:, None] - explained
    volume = 2 * np.log(np.diagonal(root, axis1=-2, axis2=-1)).sum(axis=-1)
    misfit = unexplained - found**2 @ prior
    return unexplained + volume, misfit, found


def _solved(root: Points, b: Points) -> tuple[Points, Points]:
    """x of ``root root^T x = b``, and x times b, for many roots (..., K, K) at once.

    The root is at hand for the volume; a solver would find another of its own.
    """
    size = b.shape[-1]
    half, found = np.empty_like(b), np.empty_like(b)
    for i in range(size):
        known = np.einsum("...k,...k->...", root[..., i, :i], half[..., :i])
        half[..., i] = (b[..., i] - known) / root[..., i, i]
    for i in reversed(range(size)):
        known = np.einsum("...k,...k->...", root[..., i + 1 :, i], found[..., i + 1 :])
        found[..., i] = (half[..., i] - known) / root[..., i, i]
    return found, (half**2).sum(axis=-1)


def _basis(blur: float) -> Points:
    """(P, B, K) the light's parts for each place: level, step, slope and bends inside, slope."""
    sigma = float(np.hypot(blur, BIN_PX / np.sqrt(12)))
    u = MIDDLES[None] - PLACES[:, None]
    parts = [np.ones_like(u), blurred_step(u / sigma)]
    parts += [_ramp(u - knot, sigma) for knot in (0.0, *KNOTS_PX)]
    parts.append(u)
    return np.stack(parts, axis=-1)


def _ramp(u: Points, sigma: float) -> Points:
    """The integral of a blurred step: a line that sets out at zero."""
    z = u / sigma
    return np.asarray(
        u * blurred_step(z) + sigma * np.exp(-(z**2) / 2) / np.sqrt(2 * pi), np.float64
    )


def _noise(y: Points, weight: Points) -> float:
    """Standard deviation of a site, from how a step of distance differs from its neighbours."""
    known = (weight[:, :-2] > 0) & (weight[:, 1:-1] > 0) & (weight[:, 2:] > 0)
    if np.count_nonzero(known) < 30:
        return 2 * LEAST_NOISE
    bend = (y[:, :-2] - 2 * y[:, 1:-1] + y[:, 2:])[known]
    a, b, c = (1 / w[known] for w in (weight[:, :-2], weight[:, 1:-1], weight[:, 2:]))
    return max(LEAST_NOISE, float(np.median(np.abs(bend) / np.sqrt(a + 4 * b + c))) * 1.4826)


def _along(evidence: Points) -> Points:
    """(N, P) chance of each place, given all the points of a stretch and that outlines go on."""
    far = (PLACES[:, None] - PLACES[None]) / (STRAYS_PX * np.sqrt(HOP))
    on = np.exp(-(far**2) / 2)
    on = (1 - JUMPS) * on / on.sum(axis=1, keepdims=True) + JUMPS / len(PLACES)
    likely = np.exp(evidence)
    forward = np.empty_like(likely)
    so_far = np.full(len(PLACES), 1 / len(PLACES))
    for i, one in enumerate(likely):
        so_far = (so_far @ on) * one
        so_far /= so_far.sum()
        forward[i] = so_far
    to_come = np.ones(len(PLACES))
    for i in range(len(likely) - 1, -1, -1):
        forward[i] *= to_come
        forward[i] /= forward[i].sum()
        to_come = on @ (to_come * likely[i])
        to_come /= to_come.sum()
    return forward
