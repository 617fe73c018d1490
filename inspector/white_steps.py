"""Steps in white light: where it changes suddenly, as the lens lets it, and not slowly.

A step is looked for in all directions and averaged along itself, so that it shows in noise that
hides it in a single profile.
"""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np

from inspector.arrays import Floats, Mask, disc

SEAM_PX = 3
"""Dark lines up to twice as wide, their blur included, are seams or strands, working pixels."""
DIRECTIONS = 16
NEAR_PX, FAR_PX, ALONG_PX = (0.8, 3.5), (3.5, 8.0), 2.7
"""Light on either side of a step is averaged from and to, its slope outside taken from further off;
and along it, sigma; working pixels."""
SEEN = 0.35
"""So much of an area must be told for its average."""
LEAST_STEP_EV, PLAIN_STEP_EV = 0.03, 0.05
"""A step is nowhere less, and somewhere more than the second, stops."""
LEAST_LENGTH_PX = 8
"""A shorter one is noise, working pixels."""


def find_steps(light: Floats, told: Mask) -> Floats:
    """(h, w) stops of a step along its ridge, about four fifths of it if blurred; 0 elsewhere.

    Ridges that are short, or nowhere plain, are left out.

    Parameters
    ----------
    light : ndarray, float32
        (h, w) stops, thin dark lines closed.
    told : ndarray, bool
        (h, w) where light counts.
    """
    return _plain(_ridges(light, told))


def without_seams(light: Floats, told: Mask) -> tuple[Floats, Mask]:
    """(h, w) light with thin dark lines closed, where it is told, and where these are.

    What is not told is darker than all.
    """
    own = np.where(told, light, 0).astype(np.float32)
    share = cv2.blur(told.astype(np.float32), (3, 3))
    mean = np.where(told, cv2.blur(own, (3, 3)) / np.maximum(share, 1 / 9), np.float32(-99))
    closed = np.asarray(cv2.morphologyEx(mean, cv2.MORPH_CLOSE, disc(SEAM_PX)), np.float32)
    return closed, told & (closed - mean > LEAST_STEP_EV)


@cache
def _areas() -> tuple[tuple[Floats, Floats], ...]:
    """Weights of the areas near and far off in each direction."""
    reach = int(np.ceil(FAR_PX[1])) + 2
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1].astype(np.float32)
    areas = []
    for angle in 2 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS:
        off, along = x * np.cos(angle) + y * np.sin(angle), y * np.cos(angle) - x * np.sin(angle)
        weight = np.exp(-((along / ALONG_PX) ** 2) / 2) * (np.abs(along) < 2.5 * ALONG_PX)
        near, far = ((off >= a) & (off <= b) for a, b in (NEAR_PX, FAR_PX))
        areas.append(((weight * near).astype(np.float32), (weight * far).astype(np.float32)))
    return tuple(areas)


def _ridges(light: Floats, told: Mask) -> Floats:
    """(h, w) stops of the ridge of a step; 0 beside one.

    The step is what the light beyond differs from that on this side, less what this side's slope
    makes of it; of the two the lesser.
    """
    here = told.astype(np.float32)
    near, far = ([_average(light, here, area[k]) for area in _areas()] for k in (0, 1))
    across = float(np.mean(FAR_PX) - np.mean(NEAR_PX))
    best, towards = np.zeros_like(light), np.zeros(light.shape, np.float32)
    for k, (own, further) in enumerate(zip(near, far, strict=True)):
        rise = near[(k + DIRECTIONS // 2) % DIRECTIONS] - own
        slope = np.nan_to_num((own - further) / across) * 2 * np.mean(NEAR_PX)
        step = np.where(rise * (rise - slope) > 0, np.minimum(abs(rise), abs(rise - slope)), 0)
        larger = told & (step > best)
        best[larger], towards[larger] = step[larger], k
    on_ridge = _is_ridge(best, towards * np.float32(2 * np.pi / DIRECTIONS))
    return np.asarray(np.where(on_ridge, best, 0), np.float32)


def _average(light: Floats, here: Floats, area: Floats) -> Floats:
    """(h, w) mean light over an area around each place; NaN where too little of it is told."""
    share = cv2.filter2D(here, -1, area, borderType=cv2.BORDER_CONSTANT)
    total = cv2.filter2D(light * here, -1, area, borderType=cv2.BORDER_CONSTANT)
    known = share > SEEN * area.sum()
    return np.where(known, total / np.where(known, share, 1), np.nan)


def _is_ridge(step: Floats, angle: Floats) -> Mask:
    """(h, w) True where a step is largest across itself."""
    y, x = np.mgrid[: step.shape[0], : step.shape[1]].astype(np.float32)
    dx, dy = np.cos(angle), np.sin(angle)
    beside = (cv2.remap(step, x + sign * dx, y + sign * dy, cv2.INTER_LINEAR) for sign in (1, -1))
    ridge = [step > LEAST_STEP_EV, *(step >= other for other in beside)]
    return np.asarray(np.logical_and.reduce(ridge), bool)


def _plain(step: Floats) -> Floats:
    """(h, w) the steps whose ridges are long, and plain somewhere; else 0."""
    ridge = step > 0
    joined = cv2.dilate(ridge.astype(np.uint8), disc(1))
    count, label = cv2.connectedComponents(joined, connectivity=8)
    keep = np.bincount(label[ridge], minlength=count) >= LEAST_LENGTH_PX
    plain = np.zeros(count, bool)
    plain[label[step > PLAIN_STEP_EV]] = True
    return np.asarray(np.where((keep & plain)[label], step, 0), np.float32)
