"""The lit surface of the backdrop: where it begins, what carries it on, its level everywhere."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask, averaged, disc
from inspector.soft_fall import DARK_AROUND, DARK_EV, past_soft_fall

COARSE_SIDE = 480
"""Long side of the picture on which regions are found, coarse pixels."""
SMOOTH_SLOPE = 0.1
"""Steepest slope within a lit surface, stops per coarse pixel; an edge is many times steeper."""
LEAST_SEED = 0.01
"""Smallest share of the picture from which a backdrop is followed."""
DARKEST_BACKDROP_EV = -3.5
"""A surface darker than this was not lit to become white."""
SLOPES_EV, LEAST_DARK, CLEAR_OF_PX = 0.25, 0.002, (20, 40, 80)
"""A surface that goes on without an edge into so large a part of the picture that is too dark for
a backdrop ends where it is so far under the level foretold from around, stops; from so far off the
dark that this holds all around, coarse pixels."""
SOFT_SLOPE = 0.35
"""A penumbra is no steeper than this, and no edge so soft, stops per coarse pixel."""
STEP_EV = 0.6
"""Largest difference between two parts of one backdrop, once its slope is taken off, stops."""
ADJOINING_STEP_EV = 0.25
"""Largest difference from a part right beside it, with nothing dark between, stops."""
MOST_FALL_EV, BESIDE_STEP_EV, LEAST_BESIDE = 2.0, 0.15, 20
"""A part that is darker on the whole, but by less than the first, is the same surface if it has
no larger step than the second where it lies beside the rest, over so many coarse pixels."""
BESIDE = np.ones((21, 21), np.uint8)
"""Beside is what lies so near, across a blade or an arm, coarse pixels."""
LEAST_APART = 0.01
"""So large a part of the picture is the same surface though it lies further off, across a body."""
CUT_OFF_EV, LEAST_CUT_OFF = 2.5, 0.002
"""So is one that differs by no more and is as large, a part of the picture, with nothing but dark
around: someone stands between."""
BORDER_PX = 4, 6
"""Whether there is nothing but dark around a part is looked at so far off, coarse pixels."""
DIMMEST_EV = -1.6
"""A part that is darker than this may be lit by the backdrop, as a wall or a panel is, stops."""
VALLEY_EV = 0.5
"""What parts one backdrop in two is darker than both by more than this, stops."""
LEAST_OTHER = 40
"""A smooth part of fewer coarse pixels is no other surface."""
AT_CEILING_EV, LEAST_SLOPE = 0.05, 200
"""So near its brightest a surface may be cut off, stops; fewer coarse pixels show no slope."""
NEAR, ENOUGH_PIXELS = 40.0, 4000
"""Coarse pixels around a place whose light shapes a quadratic, and how many are enough."""
STIFF = np.diag([0.0, 0.3, 0.3, 1.0, 1.0, 1.0])
"""Keeps a quadratic's slope and curvature small where little is known."""
REACH = 0.06
"""How far the backdrop's level is continued smoothly, part of the long side."""
NARROWEST, OCTAVES = 0.25, 5
"""Sigma of the Gaussian nearest to the surface, part of the reach, and how often it doubles."""
REPLICATE = cv2.BORDER_REPLICATE


def find_surface(ev: Floats) -> tuple[Floats, Mask, Mask] | None:
    """The brightest large smooth surface and all that carries on its slope.

    Parameters
    ----------
    ev : ndarray, float32
        (h, w) stops.

    Returns
    -------
    tuple or None
        (h, w) stops of the surface, continued over the whole picture, and (h, w) masks of the
        parts that are surely on it and of other smooth surfaces; None where nothing was lit to
        become white.
    """
    coarse, _ = coarsened(ev)
    seed = _seed(coarse)
    if seed is None:
        return None
    surface, parts, others = _grow(coarse, seed)
    return _resized(surface, ev.shape[::-1]), _enlarge_mask(parts, ev), _enlarge_mask(others, ev)


def coarsened(ev: Floats) -> tuple[Floats, int]:
    """Stops of the area-averaged light on the coarse picture, and working pixels to each of its."""
    factor = max(1, round(max(ev.shape) / COARSE_SIDE))
    return averaged(ev, factor), factor


def brightest_part(coarse: Floats) -> Mask | None:
    """(h, w) the smooth part that gives the most light; None if nothing was lit to become white."""
    seed = _seed(coarse)
    return None if seed is None else seed[0] == seed[1]


def slope(ev: Floats) -> Floats:
    """Steepness of a picture in stops per pixel (Sobel's derivative)."""
    dx = cv2.Sobel(ev, cv2.CV_32F, 1, 0, scale=1 / 8, borderType=cv2.BORDER_REPLICATE)
    dy = cv2.Sobel(ev, cv2.CV_32F, 0, 1, scale=1 / 8, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(cv2.magnitude(dx, dy), np.float32)


def _smooth_parts(ev: Floats) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Connected parts without an edge in them, and their statistics (OpenCV's)."""
    quiet = np.asarray(cv2.GaussianBlur(ev, (0, 0), 0.7), np.float32)
    smooth = (slope(quiet) < SMOOTH_SLOPE).astype(np.uint8)
    _, label, stats, _ = cv2.connectedComponentsWithStats(smooth, connectivity=4)
    return np.asarray(label, np.int32), np.asarray(stats, np.int32)


def _seed(ev: Floats) -> tuple[NDArray[np.int32], int] | None:
    """The smooth parts and the one that gives the most light: where the backdrop begins."""
    label, stats = _smooth_parts(ev)
    light = np.bincount(label.ravel(), weights=np.exp2(ev).ravel())
    light[0] = 0
    best = int(light.argmax())
    if best == 0 or stats[best, cv2.CC_STAT_AREA] < LEAST_SEED * ev.size:
        return None
    if np.median(ev[label == best]) < DARKEST_BACKDROP_EV:
        return None
    label[_slope_into_dark(ev, label == best)] = 0
    return label, best


def _slope_into_dark(ev: Floats, part: Mask) -> Mask:
    """(h, w) where a smooth part goes over into a subject on which light falls very slowly."""
    dark = part & (ev < DARKEST_BACKDROP_EV)
    found = np.zeros(ev.shape, bool)
    if np.count_nonzero(dark) < LEAST_DARK * ev.size:
        return found
    away = cv2.distanceTransform((~dark).astype(np.uint8), cv2.DIST_L2, 3)
    for clear_of in CLEAR_OF_PX:
        rest = part & (away > clear_of)
        if not rest.any():
            break
        under = part & (ev < continue_smoothly(ev, rest, REACH) - SLOPES_EV) & ~rest
        _, label = cv2.connectedComponents(under.astype(np.uint8), connectivity=8)
        found = np.isin(label, np.unique(label[dark])) & under
        if not found[away > clear_of - 2].any():
            break
    return found


def _grow(ev: Floats, seed: tuple[NDArray[np.int32], int]) -> tuple[Floats, Mask, Mask]:
    """Join to the seed every smooth part that carries on its level.

    Returns the level everywhere, the parts that were joined, and those that were not.
    """
    label, first = seed
    count = np.bincount(label.ravel())
    joined = np.zeros(count.size, bool)
    joined[first] = True
    beyond = np.zeros(ev.shape, bool)
    soft = (slope(ev) < SOFT_SLOPE) & (ev > DIMMEST_EV)
    while True:
        mask = joined[label] | beyond
        surface = continue_smoothly(ev, mask, REACH)
        difference = np.abs(ev - surface)
        mean = np.bincount(label.ravel(), weights=difference.ravel()) / np.maximum(count, 1)
        candidates = np.flatnonzero((mean < MOST_FALL_EV) & (count >= 4) & ~joined)
        more = [i for i in candidates if i and _carries_on(difference, ev, label == i, mask)]
        if not more:
            large = np.flatnonzero((count >= LEAST_CUT_OFF * ev.size) & ~joined)
            more = [i for i in large if i and _is_cut_off(difference, ev, label == i)]
        if not more and (more_of_it := past_soft_fall(ev, soft, mask)).any():
            beyond |= more_of_it
            continue
        if not more:
            others = (count >= LEAST_OTHER) & ~joined
            others[0] = False
            return surface, mask, others[label] & ~mask
        joined[more] = True


def _carries_on(difference: Floats, ev: Floats, part: Mask, joined: Mask) -> bool:
    """Whether a part is the same surface: parted by something darker, or hardly by a step.

    Where it falls off further away, as towards a corner, its level beside the rest decides.
    """
    near = np.ones((11, 11), np.uint8)
    by_part = cv2.dilate(part.astype(np.uint8), near) > 0
    by_joined = cv2.dilate(joined.astype(np.uint8), near) > 0
    beside = _nearest(part, joined)
    if beside.sum() >= LEAST_BESIDE:
        step_beside = min(float(difference[beside].mean()), _step_of_slope(ev, beside, joined))
        if step_beside < BESIDE_STEP_EV:
            return True
    step = float(difference[part].mean())
    if step >= STEP_EV:
        return False
    between = by_part & by_joined & ~part & ~joined
    if between.sum() < 4:
        return True
    valley = np.median(ev[part]) - np.percentile(ev[between], 15)
    return bool(step < ADJOINING_STEP_EV or valley > VALLEY_EV)


def _is_cut_off(difference: Floats, ev: Floats, part: Mask) -> bool:
    """Whether a part is lit as the backdrop is and ends in the dark all around, or at the border.

    A wall or floor meets the backdrop somewhere, light on the subject fades.
    """
    level = float(np.median(ev[part]))
    if level < DIMMEST_EV or float(np.median(difference[part])) > CUT_OFF_EV:
        return False
    near, far = (cv2.dilate(part.astype(np.uint8), disc(px)) > 0 for px in BORDER_PX)
    around = ev[far & ~near]
    return around.size > 0 and float((around < level - DARK_EV).mean()) >= DARK_AROUND


def _nearest(part: Mask, joined: Mask) -> Mask:
    """The pixels of a part right beside the rest, or its nearest tenth where it is further off."""
    beside = part & (cv2.dilate(joined.astype(np.uint8), BESIDE) > 0)
    if beside.sum() >= LEAST_BESIDE or part.sum() < LEAST_APART * part.size:
        return beside
    away = cv2.distanceTransform((~joined).astype(np.uint8), cv2.DIST_L2, 3)
    return np.asarray(part & (away <= np.percentile(away[part], 10)), bool)


def _step_of_slope(ev: Floats, beside: Mask, joined: Mask) -> float:
    """Step between a part and where the slope of the rest, below its ceiling, leads."""
    told = joined & (ev < ev[joined].max() - AT_CEILING_EV)
    if told.sum() < LEAST_SLOPE:
        return np.inf
    rows, columns = np.nonzero(beside)
    foretold = quadratic_at(ev, told, float(rows.mean()), float(columns.mean()), NEAR)
    return abs(float(np.median(ev[beside])) - foretold)


def quadratic_at(ev: Floats, known: Mask, row: float, column: float, near: float) -> float:
    """Stops at a place, of a quadratic fitted by least squares to (h, w) stops where known.

    Pixels weigh as a Gaussian of their distance, of sigma ``near``; where little is known, slope
    and curvature are held small.
    """
    place = np.flatnonzero(known)
    place = place[:: max(1, place.size // ENOUGH_PIXELS)]
    v, u = (place // ev.shape[1] - row) / near, (place % ev.shape[1] - column) / near
    weight = np.exp(-0.5 * np.minimum(u * u + v * v, 60.0)) + 1e-6
    terms = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v])
    weighted = terms * weight
    normal = weighted @ terms.T + STIFF**2
    return float(np.linalg.solve(normal, weighted @ ev.reshape(-1)[place])[0])


def continue_smoothly(ev: Floats, mask: Mask, reach: float) -> Floats:
    """Continue a surface over the whole picture by normalised convolution.

    Near the mask a narrow Gaussian follows it closely, further off ever wider ones carry on
    (Knutsson and Westin, normalised convolution, CVPR 1993). Wide Gaussians need few samples:
    each is done on a picture of its own size, the widest first.
    """
    known = mask.astype(np.float32)
    known_light = np.dstack([known, np.where(mask, ev, 0).astype(np.float32)])
    narrow = max(1.0, NARROWEST * reach * max(ev.shape))
    pyramid = [known_light]
    for _ in range(OCTAVES):
        pyramid.append(_halved(pyramid[-1]))
    result: Floats = np.full(pyramid[-1].shape[:2], np.mean(ev[mask]), np.float32)
    sigma = narrow / 2
    for picture in reversed(pyramid[1:]):
        share, sums = cv2.split(cv2.GaussianBlur(picture, (0, 0), sigma, borderType=REPLICATE))
        near = sums / np.maximum(share, 1e-4)
        trust = np.clip(share / 0.3, 0, 1) * (share > 1e-4)
        wider = _resized(result, picture.shape[1::-1])
        result = np.asarray(wider + trust * (near - wider), np.float32)
    return _resized(result, ev.shape[::-1])


def _halved(picture: Floats) -> Floats:
    height, width = picture.shape[:2]
    size = (max(1, width // 2), max(1, height // 2))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.float32)


def _resized(picture: Floats, size: tuple[int, ...]) -> Floats:
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_LINEAR), np.float32)


def _enlarge_mask(coarse: Mask, like: Floats) -> Mask:
    size = (like.shape[1], like.shape[0])
    return cv2.resize(coarse.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
