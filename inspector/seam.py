"""Seams of the backdrop that run along the subject: their line goes on beyond it."""

from __future__ import annotations

import numpy as np

from inspector.arrays import Floats, Points
from inspector.outline import read_along

LEAST_PX = 8.0
"""Shorter runs have no direction, working pixels."""
TURNS = np.radians(np.arange(-8.0, 8.1, 0.5))
"""So far the line may turn from the course of the run."""
CLEAR_PX, TIMES, LEAST_BEYOND_PX = 4.0, 3.0, 60.0
"""From so far beyond a run on, for so many times its length or so many pixels, its line is
followed; working pixels."""
LEAST_ROWS = 15
"""So many working pixels of it must be in sight."""
ACROSS = np.arange(-4.0, 4.1)
"""Offsets from the line at which the light is read, working pixels."""
EVERY_WAY = np.radians(np.arange(0.0, 180.0, 0.5))
FAR_PX, LEAST_FAR_ROWS, PLAIN_STEP_EV = 300.0, 60, 0.05
"""A seam through a bite is looked for in all these directions and so far; so many working pixels of
it must be in sight, and it steps by so many stops."""
APART = 3
"""Readings between which a seam steps."""
LEAST_STEP_EV, OVER_NOISE = 0.03, 6.0
"""A seam steps by more stops, and by so many standard errors."""


def goes_on(light: Floats, ends: Points) -> bool:
    """Whether the line on which light begins to differ goes on as a step in the backdrop.

    So does a seam, or the joint of two softboxes, along which a limb happens to lie; the outline
    beneath light that has spilled ends with the subject.

    Parameters
    ----------
    light : ndarray, float32
        (h, w) stops over the backdrop's level; NaN off the backdrop.
    ends : ndarray, float64
        (N, 2) x, y of the outer ends of a run of light, working pixels.
    """
    middle, course = _line(ends)
    length = float(np.ptp((ends - middle) @ course))
    if length < LEAST_PX:
        return False
    beyond = length / 2 + np.arange(CLEAR_PX, max(TIMES * length, LEAST_BEYOND_PX))
    at = np.concatenate([beyond, -beyond])
    return any(
        _steps(_read(light, middle, _turned(course, turn), at), LEAST_STEP_EV, LEAST_ROWS)
        for turn in TURNS
    )


def passes(light: Floats, place: Points) -> bool:
    """Whether a straight line on which light steps passes a place (2,) and goes on in the backdrop.

    ``light`` as in ``goes_on``; x, y in working pixels.
    """
    beyond = np.arange(CLEAR_PX, FAR_PX)
    at = np.concatenate([beyond, -beyond])
    ways = np.stack([np.cos(EVERY_WAY), np.sin(EVERY_WAY)], axis=1)
    return any(_steps(_read(light, place, way, at), PLAIN_STEP_EV, LEAST_FAR_ROWS) for way in ways)


def is_straight(ends: Points, within: float) -> bool:
    """Whether points (N, 2) leave a straight line by less than so much, root mean square."""
    middle, course = _line(ends)
    off = (ends - middle) @ np.array([-course[1], course[0]])
    return bool(np.sqrt((off**2).mean()) < within)


def _line(points: Points) -> tuple[Points, Points]:
    """A place on the line that points (N, 2) lie along, and its course (2,)."""
    middle = np.median(points, axis=0)
    return middle, np.linalg.svd(points - middle, full_matrices=False)[2][0]


def _turned(course: Points, by: float) -> Points:
    """A unit vector (2,) turned by so many radians."""
    return np.array([[np.cos(by), -np.sin(by)], [np.sin(by), np.cos(by)]]) @ course


def _read(light: Floats, middle: Points, along: Points, at: Points) -> Floats:
    """(N, K) light across a line, at places along it that lie in the picture."""
    points = middle + at[:, None] * along
    height, width = light.shape
    points = points[((points > 6) & (points < np.array([width - 6, height - 6]))).all(axis=1)]
    across = np.array([-along[1], along[0]])
    return read_along(light, points, np.tile(across, (len(points), 1)), ACROSS)


def _steps(rows: Floats, least_ev: float, least_rows: int) -> bool:
    """Whether the mean of so many of the profiles (N, K), NaN left out, steps by so many stops."""
    known = np.isfinite(rows)
    count = known.sum(axis=0)
    enough = count >= least_rows
    if enough.sum() <= APART:
        return False
    rows, known, count = rows[:, enough], known[:, enough], count[enough]
    mean = np.where(known, rows, 0).sum(axis=0) / count
    spread = np.where(known, (rows - mean) ** 2, 0).sum(axis=0) / count
    apart = np.abs(mean[APART:] - mean[:-APART])
    error = np.sqrt((spread / count)[APART:] + (spread / count)[:-APART])
    return bool((apart > np.maximum(least_ev, OVER_NOISE * error)).any())
