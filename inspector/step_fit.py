"""A step that only the lens has blurred, fitted to photosites at every place where it might be.

Outside it is the backdrop's light, inside a smooth curve. How well each place explains the light is
the marginal likelihood of a linear model (Bishop, Pattern Recognition and Machine Learning, 2006,
section 3.5).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Mask, Points
from inspector.outline import SMOOTHED
from inspector.profile import blurred_step

# All lengths below are in steps of a pixel for a tolerance of 3 px, and grow with it.
BIN_PX = 0.5
"""Steps of distance in which the photosites are gathered, and between the places tried."""
FURTHEST_PX, DEEPEST_PX = -16.0, 3.0
"""Range of the places tried, from outside to inside the traced outline."""
CLEAN_PX = 2.5
"""So far inside the end of white lies the outline at the most, where the edge is clean."""
KNOTS_PX = np.arange(3.0, 19.0, 3.0)
"""Distances from the outline at which the light on the subject may bend."""
STEP, SLOPE, BEND = 0.4, 0.3, 0.05
"""Standard deviations expected, parts of the brightest light: of the step, of the slope just
inside it per pixel, and of how much that slope changes at a knot. Measured: light on the subject
falls by 2 to 60 pixels for two stops."""
OUTER = 0.004
"""Standard deviation expected of the slope of all light, outside too, per step."""
LEAST_NOISE = 0.01
"""No photosite is trusted better than this: sites differ by as much in what they make of light."""
UNEVEN = 0.06
"""By so much light that saturates outside may lie over what is foretold there, parts of the
brightest: so suddenly the backdrop's own light changes. What it lacks beyond is weighed in units of
it, too."""
DARK, DIM = 0.3, 0.55
"""Outside, what is darker than this part of the brightest light is another limb; where all of the
light that is looked at is white, what is darker than the second: large steps smear a blade."""
UNDER_WHITE = 0.97
"""So is, however bright its rim, what is darker than this before a backdrop that is white."""
LEAST_WHITE = 0.8
"""Only before a backdrop that is at least nearly white light on the subject is told brighter; in a
darker frame, too, as it is."""
LEAST_BINS = 6
"""A channel that responds in fewer of the steps of distance tells nothing."""
HOP = 3
"""Every so many points of the outline one is fitted; the photosites of its neighbours count."""
AT_ONCE = 200
"""Points that are fitted at once, for the memory's sake."""
UNLIKELY = 60.0
"""A logarithm of a chance that is none."""
PLACES = np.arange(FURTHEST_PX, DEEPEST_PX + 0.01, BIN_PX)
"""Offsets inwards from the traced outline at which the subject might begin."""
BOUNDS = np.arange(FURTHEST_PX - 6.0, DEEPEST_PX + 7.01, BIN_PX)
MIDDLES = (BOUNDS[1:] + BOUNDS[:-1]) / 2
OUTSIDE = PLACES[:, None] > MIDDLES
"""(P, B) which steps of distance lie outside each place."""
BEFORE = np.searchsorted(MIDDLES, PLACES - 1.0)
"""The step of distance that lies outside each place's blur: a channel that responds nowhere there
tells no rise."""
INSIDE = np.array([0.0, 1.0, 1.0] + [1.0] * len(KNOTS_PX) + [0.0])
"""Which of the light's parts are the subject's."""


@dataclass(frozen=True, eq=False)
class Fits:
    """What N points say of each of P places for the step.

    Attributes
    ----------
    evidence : ndarray, float64
        (N, P) logarithm of how well the place explains the light, 0 for the best.
    rises, drops : ndarray, float64
        (N, P) by how much the light inside would be brighter, and how much darker up to its end;
        parts of the brightest light.
    parts : ndarray, float64
        (N, P, C, K) the parts of each channel's light; none at all of one that tells nothing.
    told : ndarray, bool
        (N, P) whether any channel shows light outside the place.
    """

    evidence: Points
    rises: Points
    drops: Points
    parts: Points
    told: Mask


def fit_steps(
    light: Points,
    number: Points,
    white_at: Points,
    basis: Points,
    *,
    outer: float,
    inner: float,
    dark: float,
    white: Mask,
) -> Fits:
    """Fit the step at all places to the light of N points by distance from the outline.

    The same site speaks for as many neighbours as are summed up, and counts so much less in each.

    Parameters
    ----------
    light, number : ndarray, float64
        (N, C, B) mean level by channel and step of distance, and how many sites tell it; where
        none does, the least that it is, or 0.
    white_at : ndarray, float64
        (N,) where white ends, steps.
    basis : ndarray, float64
        (P, B, K) ``light_parts``.
    outer, inner : float
        How far outside and inside the end of white the light is looked at, steps.
    dark : float
        Part of the brightest light under which something stands before the backdrop.
    white : ndarray, bool
        (N, C) where the backdrop is white, so that whatever is not stands before it.
    """
    inwards = MIDDLES - white_at[:, None]
    window = (inwards > -outer) & (inwards < inner)
    window &= _in_sight(light, number, inwards, dark, white)
    total, misfit, rises, drops = (np.zeros((len(light), len(PLACES))) for _ in range(4))
    end = np.maximum(np.searchsorted(MIDDLES, white_at + inner) - 1, 0)
    parts = np.zeros((len(light), light.shape[1], len(PLACES), basis.shape[2]))
    freedom, told = np.zeros(len(light)), np.zeros(total.shape, bool)
    for c in range(light.shape[1]):
        tells, y, weight, brightest = _weighed(light[:, c], np.where(window, number[:, c], 0.0))
        least = np.where(window & (number[:, c] == 0), light[:, c], 0.0)[tells] / brightest
        freedom[tells] += np.count_nonzero(weight, axis=1) - 5
        for some in (slice(i, i + AT_ONCE) for i in range(0, len(tells), AT_ONCE)):
            rows = tells[some]
            unlikely, unexplained, found = _fit(y[some], weight[some], basis)
            told_outside = np.cumsum(weight[some] > 0, axis=1) > 1
            outside = told_outside[:, BEFORE]
            bright = np.where(told_outside, least[some], 0.0)
            total[rows] += unlikely + _too_dark(found, basis, bright)
            misfit[rows] += unexplained
            rise, drop = _rise_and_drop(found, outside, brightest[some], basis[:, end[rows]])
            rises[rows] = np.maximum(rises[rows], rise)
            drops[rows] = np.maximum(drops[rows], drop)
            told[rows] |= outside
            parts[rows, c] = found * brightest[some, :, None]
    furthest = np.maximum(white_at + CLEAN_PX, FURTHEST_PX)
    total[PLACES[None] > furthest[:, None]] = np.inf
    return Fits(_evidence(total, misfit, freedom), rises, drops, parts.transpose(0, 2, 1, 3), told)


def _weighed(light: Points, number: Points) -> tuple[NDArray[np.intp], Points, Points, Points]:
    """Which M of N points a channel tells of, and their (M, B) light in parts of the brightest,
    (M, B) weight, one over its variance, and (M, 1) brightest light.

    ``light``, ``number`` (N, B) mean level by step of distance, and how many sites tell it.
    """
    tells = np.flatnonzero(np.count_nonzero(number, axis=1) >= LEAST_BINS)
    light, weight = light[tells], number[tells]
    brightest = np.where(weight > 0, light, 0.0).max(axis=1, keepdims=True, initial=0)
    y = light / np.maximum(brightest, 1e-3)
    return tells, y, weight / _noise(y, weight) ** 2, brightest


def _evidence(total: Points, misfit: Points, freedom: Points) -> Points:
    """(N, P) logarithm of how well a place explains the light of all channels, 0 for the best.

    ``total`` (N, P) minus twice that of the marginal likelihood, ``misfit`` (N, P), and
    ``freedom`` (N,) what it would be by noise alone.
    """
    row, best = np.arange(len(total)), total.argmin(axis=1)
    # What no place explains, a strand or a corner, makes all of them less sure.
    worse = np.maximum(1.0, misfit[row, best] / np.maximum(freedom, 1))
    total = total / (worse[:, None] * SMOOTHED / HOP)
    evidence = -(total - total.min(axis=1, keepdims=True)) / 2
    return np.asarray(np.maximum(evidence, -UNLIKELY), np.float64)


def _too_dark(found: Points, basis: Points, least: Points) -> Points:
    """(N, P) squares of what the light foretold outside each place lacks, summed up.

    ``found`` (N, P, K) the light's parts, ``least`` (N, B) what it is at least where it saturates.
    """
    bright = np.flatnonzero((least > 0).any(axis=1))
    light = np.einsum("npk,pbk->npb", found[bright], basis)
    lacks = np.where(OUTSIDE, least[bright, None] - light - UNEVEN, 0.0)
    unlikely = np.zeros(found.shape[:2])
    unlikely[bright] = (np.maximum(lacks, 0.0) ** 2).sum(axis=2) / UNEVEN**2
    return unlikely


def _rise_and_drop(
    found: Points, outside: Mask, brightest: Points, at_end: Points
) -> tuple[Points, Points]:
    """(N, P) by how much light is brighter inside the place, and how much darker up to its end.

    ``found`` (N, P, K) and ``at_end`` (P, N, K) the light's parts there. Of a seam, which is a
    line, light comes back; of spill it goes on to its end.
    """
    before = found[..., 0] + found[..., -1] * PLACES
    step = np.where(outside & (before * brightest > LEAST_WHITE), found[..., 1], 0.0)
    end = np.einsum("npk,pnk->np", found, at_end * INSIDE)
    return step, -np.maximum(step, end)


def _in_sight(light: Points, number: Points, inwards: Points, dark: float, white: Mask) -> Mask:
    """(N, B) outside, only as far as the next limb or prop that stands before the backdrop."""
    brightest = np.where(number > 0, light, 0.0).max(axis=2)
    least = np.maximum(dark * brightest, np.where(white, UNDER_WHITE, 0.0))[..., None]
    hides = ((number > 0) & (light < least)).any(axis=1) & (inwards < -CLEAN_PX)
    return ~np.logical_or.accumulate(hides[:, ::-1], axis=1)[:, ::-1]


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
    root = np.asarray(np.linalg.cholesky(A), np.float64)
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


def light_parts(blur: float) -> Points:
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
