"""Where the subject begins beneath white light, fitted: a break that only the lens has blurred.

White light on the subject moves the place where white ends, not the outline itself. Under the
ceiling some channel still responds on both sides of the outline. There the light steps, in level
or in tint, as sharply as the lens lets it, while both the backdrop outside and the light on the
subject are smooth. As in ISO 12233's slanted edge, single photosites are put at their own
distances. At each place where the subject might begin, a step blurred by the lens is fitted to
them (``step_fit``). How well each place explains the light is weighed along the outline, which goes
on from point to point (``course``). Deep spill is looked for in larger steps, sharp spill
in white light alone.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask, Points
from inspector.by_distance import light_by_distance
from inspector.course import likely_places
from inspector.halfway import past_the_middle
from inspector.levels import WHITE, Levels
from inspector.outline import TOLERANCE_PX, Outline, average_along, read, runs_of
from inspector.profile import crossing
from inspector.step_fit import (
    BOUNDS,
    DARK,
    DIM,
    HOP,
    MIDDLES,
    PLACES,
    Fits,
    fit_steps,
    light_parts,
)

# All lengths below are for a tolerance of 3 px, and grow with it.
FURTHER = (3.0, 6.0)
"""The steps for deep spill are so many times as large."""
DEEP_PX, DEEP_ERROR = (3.3, 9.3), 2.0
"""There white counts that reaches so far over the outline, in such steps, if that is known so well,
pixels."""
STEPS, STEP_ERROR = 0.06, 1.0
"""Light that steps by this part, up or down, and ends as sharply as a clean edge is told from the
backdrop's by the step, if that is known so well, pixels. In larger steps only light that steps up
is."""
LEAST_STEP, AGREES = 0.04, 0.4
"""So is a smaller step, down to this part, where light leaves the backdrop's level early, too: by
such a part of the depth."""
OVER = 21
"""Points over which a step counts on the mean: where light saturates, each tells it badly."""
LEAST_CHANGE, LEAST_LEAVES = 0.035, 0.2
"""Deep white light that neither rises nor drops by more of it, nor leaves the backdrop's level by
such a part of its depth early, only bends: so may the backdrop's own."""
OUTER_PX, INNER_PX = 11.0, 6.0
"""How far outside and inside the end of white the light is looked at."""
DEEP_INNER_PX, SHARP_OUTER_PX = -1.0, 16.0
"""Of deep and of sharp spill white light alone is looked at, short of where it falls; sharp spill
may reach nearly as far as that else would."""
OVER_WHITE_EV = 0.1
"""A backdrop that is over white by more stops is white wherever nothing stands before it."""
LEAST_ERROR = 0.35
"""No place is known better than this, pixels: the light inside is not just as the model has it.
Measured on edges in closed form, which it puts up to 0.8 pixels off."""
SATURATED = 4.0
"""As bright a channel is taken to be that does not respond."""


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


@dataclass(frozen=True, eq=False)
class Suspect:
    """Where light may lie on the subject, at N outline points.

    Attributes
    ----------
    look, deep, sharp : ndarray, bool
        (N,) where to look, where in larger steps, and where for sharp ends, too.
    leaves : ndarray, float64
        (N,) pixels by which white light leaves the backdrop's level further out than if clean.
    """

    look: Mask
    deep: Mask
    sharp: Mask
    leaves: Points


def find_onset(
    levels: Levels,
    backdrop_ev: Floats,
    outline: Outline,
    white_at: Points,
    suspect: Suspect,
    *,
    known: bool,
    blur: float,
    tolerance: float,
) -> Onset:
    """Fit where the subject begins at suspect points of the traced outline.

    Parameters
    ----------
    backdrop_ev : ndarray, float32
        (h, w) stops of the backdrop, carried on behind the subject.
    white_at : ndarray, float64
        (N,) offset inwards at which white ends, pixels.
    known : bool
        Whether a plate has shown the backdrop's light.
    blur : float
        Sigma of the lens, pixels.
    tolerance : float
        Pixels by which white may cross the outline.
    """
    unit = tolerance / TOLERANCE_PX
    # The backdrop's level is else carried on smoothly over what is as small as deep spill.
    even = backdrop_ev if known else np.zeros_like(backdrop_ev)
    level = read(backdrop_ev, levels.from_view(outline.points))
    sharp = -(0.5 + (2 + float(np.median(past_the_middle(level)))) * blur / unit)
    onset, *others = (
        _in_steps(
            levels,
            slope,
            outline,
            white_at,
            runs_of(there & np.isfinite(white_at), outline.line),
            before_white=(level > OVER_WHITE_EV) & (times > 1),
            blur=blur,
            step=times * unit,
            outer=outer,
            inner=inner,
            dark=dark,
        )
        for times, slope, there, outer, inner, dark in (
            (1.0, backdrop_ev, suspect.look, OUTER_PX, INNER_PX, DARK),
            *(
                (t, even, suspect.deep, OUTER_PX, min(DEEP_INNER_PX, sharp / t), DIM)
                for t in reversed(FURTHER)
            ),
            (1.0, even, suspect.sharp, SHARP_OUTER_PX, sharp, DARK),
        )
    )
    past = max(TOLERANCE_PX, -sharp)
    for other, times in zip(others, (*reversed(FURTHER), 1.0), strict=True):
        onset = _where_deeper(
            onset, other, white_at, suspect.leaves, outline.line, times=times, unit=unit, past=past
        )
    return replace(onset, error=np.maximum(onset.error, LEAST_ERROR * unit))


def _where_deeper(
    onset: Onset,
    other: Onset,
    white_at: Points,
    leaves: Points,
    line: NDArray[np.intp],
    *,
    times: float,
    unit: float,
    past: float,
) -> Onset:
    """The onset, and where white light alone shows a deeper one, that.

    All of the light tells more finely: its place stands where the two agree, and where light falls
    slowly beyond it.
    """
    depth, larger = white_at - other.at, times > 1
    known = other.error < (DEEP_ERROR if larger else STEP_ERROR) * unit
    known &= depth < DEEP_PX[1] * times * unit
    step = other.rise if larger else np.fmax(other.rise, other.drop)
    on_the_mean = average_along(np.where(known, step, np.nan)[:, None], line, over=OVER)[:, 0]
    told = (np.fmax(step, on_the_mean) > STEPS) | ((step > LEAST_STEP) & (leaves > AGREES * depth))
    steps = known & (depth > past * unit) & told
    if larger:
        seen = (np.fmax(other.rise, other.drop) > LEAST_CHANGE) | (leaves > LEAST_LEAVES * depth)
        deep = known & (depth > DEEP_PX[0] * times * unit) & seen
        moved = deep | (steps & ~(onset.at - other.at < times / 2 * unit))
    else:
        deep = moved = steps = steps & ~(white_at - onset.at > TOLERANCE_PX / 2 * unit)
    return Onset(
        at=np.where(moved, other.at, onset.at),
        error=np.where(moved, other.error, onset.error),
        rise=np.where(moved, other.rise, onset.rise),
        drop=np.where(moved, other.drop, onset.drop),
        white_at=onset.white_at,
        steps=np.where(deep | steps, steps, onset.steps),
    )


def _in_steps(
    levels: Levels,
    backdrop_ev: Floats,
    outline: Outline,
    white_at: Points,
    spans: list[slice],
    *,
    before_white: Mask,
    blur: float,
    step: float,
    outer: float,
    inner: float,
    dark: float,
) -> Onset:
    """The onset along some runs of points, in steps of so many pixels."""
    if not spans:
        return _unknown(len(white_at))
    here = np.concatenate([np.arange(s.start, s.stop) for s in spans])
    stretch = np.repeat(np.arange(len(spans)), [s.stop - s.start for s in spans])
    fitted = [np.unique(np.append(np.arange(s.start, s.stop, HOP), s.stop - 1)) for s in spans]
    rows = np.searchsorted(here, np.concatenate(fitted))
    light, number = light_by_distance(
        levels, backdrop_ev, outline.points[here], outline.inward[here], stretch, BOUNDS * step
    )
    basis = light_parts(blur / step)
    ends = white_at[here][rows] / step
    # Channels of a darker frame, which come last, do not tell where this one is white.
    own = len({name[0] for name in levels.frame.channels})
    white = before_white[here][rows, None] & (np.arange(light.shape[1]) < own)
    fits = fit_steps(
        light[rows], number[rows], ends, basis, outer=outer, inner=inner, dark=dark, white=white
    )
    responds = number[rows, :own] > 0
    return _placed(fits, responds, basis, spans, fitted, len(white_at), step)


def _unknown(count: int) -> Onset:
    at, error, rise, drop, white_at = (np.full(count, np.nan) for _ in range(5))
    return Onset(at, error, rise, drop, white_at, np.zeros(count, bool))


def _placed(
    fits: Fits,
    responds: Mask,
    basis: Points,
    spans: list[slice],
    fitted: list[NDArray[np.intp]],
    count: int,
    unit: float,
) -> Onset:
    """The likely places along each run of points, from those that were fitted."""
    onset = _unknown(count)
    first = np.cumsum([0, *map(len, fitted)])
    for span, own, start in zip(spans, fitted, first, strict=False):
        mine = slice(start, start + len(own))
        chance = likely_places(fits.evidence[mine])
        mean = chance @ PLACES
        spread = np.sqrt(np.maximum(chance @ PLACES**2 - mean**2, 0.0))
        row, there = np.arange(len(own)), np.abs(PLACES - mean[:, None]).argmin(axis=1)
        each = np.arange(span.start, span.stop)
        told = np.interp(each, own, fits.told[mine][row, there]) > 0.5
        onset.at[span] = np.where(told, np.interp(each, own, mean * unit), np.nan)
        onset.error[span] = np.where(told, np.interp(each, own, spread * unit), np.nan)
        onset.rise[span] = np.interp(each, own, fits.rises[mine][row, there])
        onset.drop[span] = np.interp(each, own, fits.drops[mine][row, there])
        ends = _white_ends(fits.parts[mine][row, there], responds[mine], basis[there], mean)
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
    inside = begins[:, None, None] <= MIDDLES
    light[~np.logical_or.accumulate(responds & inside, axis=2)] = np.inf
    lowest = light.min(axis=1)
    return crossing(np.minimum(lowest, SATURATED), MIDDLES, np.full(len(lowest), WHITE))
