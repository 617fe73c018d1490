"""Whether a bright patch is the backdrop seen through a hole, or light that lies on the subject.

A hole has the backdrop's level and tint and an edge as sharp as the rest of the outline. Light on
the subject differs in one or more of them, or in its shape. Each sign is weighed by the logarithm
of how much more often holes look like that than lit places do, and the weights add up (the weight
of evidence: Good, Probability and the Weighing of Evidence, 1950, from memory). How often was
measured on the frames of several simulators.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from math import exp, log, pi, sqrt

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask, some
from inspector.behind import Behind, behind
from inspector.fall import REACH, edge_falls
from inspector.levels import RESPONDS, Levels
from inspector.shape import is_thin, roundness
from inspector.student import beyond, density

Patch = NDArray[np.uint8]

HOLES_BEFORE = 2.0
"""Weight that a patch is a hole before anything is known of it: gaps are far more common."""
SURE, OPEN = 0.5, 2.0
"""Under the first weight a patch is light, under the second it may be either."""
ENOUGH = 150
"""Working pixels of a patch that show its level and its edge well; fewer show them less so."""
ENOUGH_CORE, CORE_PART = 12, 1 / 3
"""So many working pixels tell a patch's level and tint, or of a small one its brightest third."""
OFF_EV, LIGHT_OFF_EV = 0.03, 0.35
"""By how many stops a hole is off the level foretold, and light off the backdrop's. A few holes are
far off, before a shadow or the brightest place of a wall: thinner tails would make them light."""
FAR, FAR_EV = (0.15, 0.4), (OFF_EV, 0.2)
"""A hole is off by more where the backdrop is seen only so far away, part of the long side: of 838
holes of three simulators by 0.01 to 0.03 up to 0.16, 0.05 to 0.2, 0.09 to 0.3, 0.22 beyond."""
TINT_EV, LIGHT_TINT_EV, NEUTRAL = 0.015, 0.15, 0.3
"""The same for the tint, and the part of lit places that have the backdrop's."""
CUT_TINT = 0.5
"""What the tint weighs where the edge cuts pixels: the sites of its colours lie side by side. Where
a darker frame has filled in some colour, it tells nothing: the edge cuts other sites of that."""
SLOWER, SLOWER_SPREAD = 1.02, 0.07
"""How many times slower than the outline the light falls at a hole's edge."""
SHARPEST = 0.3
"""No first fall is told to be shorter, working pixels."""
LIGHT_SLOWER, LIGHT_SPREAD, SHARP = 2.0, 0.5, 0.25
"""The same for light on the subject (a factor, and its spread in log), and the part of lit places
that are as sharp as a hole."""
SLOW_HOLES, MOST_SLOW_HOLES = 0.02, 0.5
"""Part of holes that are as slow as light for another reason, such as strands across them; of
small ones more, with the cube of their smallness, up to the second; of those amid strands that."""
ROUNDNESS, ROUND_WEIGHTS = (0.955, 0.98, 0.987), (1.0, -2.0, -5.0)
"""Gaps between limbs and in furniture have corners; spots of light are mostly round, as far as
``roundness`` tells (a square has the first value); and what that weighs. Of 2,032 gaps of four
simulators none was rounder than 0.985, of 213 spots 83; of 524 gaps 15 were rounder than 0.97 and
481 less than 0.955, of 53 spots 43 and 8. A ring or the handle of a chair may be round: where
level, tint and edge speak for one, it is open."""
ROUND_AT_CEILING = -2.3
"""No shape weighs more where the level tells nothing: with a sharp edge it stays open there."""
LEAST_DARK, LEAST_SLOW = 0.2, 40
"""Less of a patch's outline with dark beyond it, or fewer pixels, say nothing of its fall; nor do
so few of its shape."""
UNEVEN_EV, OVER_NOISE, PER_EV, MOST_UNEVEN = 0.05, 6.0, 50.0, 6.0
"""Light is uneven by more stops, and by more times its noise; what each stop more weighs."""
MOST_STRANDS, SETTLING = 30, 4
"""So many of a hundred pixels may be dark for the strands, spokes and corners before a gap: they
are left out of what is even, and the rest is fitted again so often."""
LEAST_TEXTURE = 25
"""Fewer working pixels show no texture."""
UNDER_CEILING_EV = 0.05
"""So near the ceiling a level is not told, stops."""
LARGE_SHARE, LARGE = 0.005, 2.0
"""A larger part of the picture is seldom lit, and what that weighs."""
COMPANY, COMPANY_WEIGHT = 4, 2.5
"""So many other bright patches nearby are gaps in hair or lace, and what that weighs: of 97 lit
patches on the frames of four simulators none had them, of 981 holes 87."""
AMID, AMID_WEIGHT = (0.2, 0.3), 3.0
"""A gap lies between strands or spokes where such a part of what is around it is bright, from
doubtful to plain, and what that weighs: of 68 lit patches on the frames of three simulators 3 had
more than the first and none more than the second, of 653 holes 215 and 172."""
VEILED_EV = 0.1
"""Their blur takes so much of the light of a gap, stops."""
LEAST_MAIN, ENOUGH_MAIN = 60, 8000
"""Working pixels of the backdrop that tell its tint, and that are enough."""


@dataclass(frozen=True, eq=False)
class Main:
    """What surely is backdrop, with which bright patches are compared.

    Attributes
    ----------
    levels : Levels
    light : ndarray, float32
        (N, C) rendered light of some of its pixels.
    ev : Behind
        Its level behind everything that stands before it.
    fall : float or None
        Distance over which light falls along its outline, working pixels.
    """

    levels: Levels
    light: Floats
    ev: Behind
    fall: float | None


def main_part(mask: Mask, levels: Levels, plate_ev: Floats | None) -> Main:
    """What is known of the parts that surely are backdrop, ``mask`` (h, w).

    ``plate_ev`` (h, w): its level everywhere where a plate has shown it.
    """
    falls = edge_falls(mask.astype(np.uint8), levels.ev)
    inner = cv2.erode(mask.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    return Main(
        levels,
        some(levels.rendered, inner if inner.any() else mask, most=ENOUGH_MAIN),
        behind(levels.ev, inner, plate_ev),
        float(np.nanmedian(falls)) if np.isfinite(falls).any() else None,
    )


def weight(
    box: tuple[int, int, int, int],
    mask: Mask,
    main: Main,
    *,
    company: int = 0,
    amid: float = 0.0,
) -> float:
    """Weight of evidence that a bright patch (its box and its mask there) is a hole.

    Natural logarithm of the odds: positive speaks for a hole. ``company`` is the number of other
    patches nearby that are not much smaller, ``amid`` the part of what is around it that is bright.
    """
    (x0, y0, x1, y1), levels = box, main.levels
    top, left = max(0, y0 - REACH), max(0, x0 - REACH)
    around = np.s_[top : y1 + REACH, left : x1 + REACH]
    ev = levels.ev[around]
    inside = np.zeros(ev.shape, np.uint8)
    inside[y0 - top : y1 - top, x0 - left : x1 - left] = mask
    core, is_whole = _core(inside, ev)
    found = float(np.median(ev[core]))
    rows, columns = np.nonzero(core)
    place = rows + top, columns + left
    foretold, far = main.ev.at(*place), float(np.interp(main.ev.away(*place), FAR, FAR_EV))
    area = int(mask.sum())
    vague = max(1.0, sqrt(ENOUGH / area))
    light = levels.rendered[around][core]
    told = found < levels.ceiling_ev - UNDER_CEILING_EV
    strands = float(np.interp(amid, AMID, (0.0, 1.0)))
    signs = (
        HOLES_BEFORE,
        LARGE if area > LARGE_SHARE * levels.ev.size else 0.0,
        max(COMPANY_WEIGHT if company >= COMPANY else 0.0, AMID_WEIGHT * strands),
        _by_level(found, foretold, levels.ceiling_ev, max(vague * OFF_EV, far), strands),
        (1.0 if is_whole else _cut_tint(light, levels)) * _by_tint(light, main),
        _by_fall(inside, ev, main.fall, vague, strands),
        _by_texture(inside, ev) if told else 0.0,
        _by_shape(mask) if told else max(_by_shape(mask), ROUND_AT_CEILING),
    )
    return sum(signs)


def _core(inside: Patch, ev: Floats) -> tuple[Mask, bool]:
    """A patch less its rim, and whether that leaves enough of it; else its brightest pixels, since
    those that its edge cuts are darker."""
    for size in (5, 3):
        smaller = cv2.erode(inside, np.ones((size, size), np.uint8)) > 0
        if smaller.sum() >= ENOUGH_CORE:
            return smaller, True
    light = np.sort(ev[inside > 0])
    count = min(ENOUGH_CORE, max(1, int(CORE_PART * light.size)))
    return np.asarray((inside > 0) & (ev >= light[-count]), bool), False


def _by_level(
    found: float, foretold: tuple[float, ...], ceiling: float, off_ev: float, strands: float
) -> float:
    """What the level weighs; at the ceiling only that it is higher than foretold by so much."""
    capped = [min(ev, ceiling) for ev in foretold]
    # Where the ways to foretell it differ, none of them is known well.
    doubt = max(off_ev, (max(capped) - min(capped)) / 2)
    told = ceiling - UNDER_CEILING_EV
    if found >= told:
        higher = max(0.0, told - max(capped))
        return log(beyond(higher / doubt) / beyond(higher / LIGHT_OFF_EV))
    off = min(abs(found - ev) for ev in capped)
    doubt = max(doubt, strands * VEILED_EV * (found < min(capped)))
    return log(density(off, doubt) / density(off, LIGHT_OFF_EV))


def _cut_tint(light: Floats, levels: Levels) -> float:
    """What the tint of pixels that the edge cuts weighs, by their light (N, C)."""
    clipped = bool((light >= RESPONDS * levels.frame.gains).any())
    return 0.0 if levels.under is not None and clipped else CUT_TINT


def _by_tint(light: Floats, main: Main) -> float:
    """What the tint weighs; nothing where fewer than two colours respond on both."""
    off = tint_off(light, main.light, main.levels.top, main.levels.frame.channels)
    if off is None:
        return 0.0
    hole = density(off, TINT_EV, freedom=4)
    return log(hole / (NEUTRAL * hole + (1 - NEUTRAL) * density(off, LIGHT_TINT_EV)))


def tint_off(
    light: Floats, other: Floats, top: NDArray[np.float64], channels: tuple[str, ...]
) -> float | None:
    """Stops by which the ratio of two colours differs between two surfaces, the most of any pair.

    Parameters
    ----------
    light, other : ndarray
        (N, C), (M, C) rendered levels of pixels.
    top : ndarray
        (C,) highest level to which each channel responds.
    channels : tuple of str
        Their names, the first letter the colour.
    """
    responds = np.median(light, axis=0) < RESPONDS * top
    most = None
    for a, b in combinations(range(len(channels)), 2):
        if channels[a][0] == channels[b][0] or not (responds[a] and responds[b]):
            continue
        both = other[(other[:, a] < RESPONDS * top[a]) & (other[:, b] < RESPONDS * top[b])]
        if len(both) < LEAST_MAIN:
            continue
        off = abs(_ratio_ev(light, a, b) - _ratio_ev(both, a, b))
        most = off if most is None else max(most, off)
    return most


def _ratio_ev(light: Floats, a: int, b: int) -> float:
    return float(np.median(np.log2(np.maximum(light[:, a], 1e-6) / np.maximum(light[:, b], 1e-6))))


def _by_fall(inside: Patch, ev: Floats, clean: float | None, vague: float, strands: float) -> float:
    """What the sharpness of the edge weighs; nothing where hardly anything dark is around."""
    if clean is None or is_thin(inside > 0) or inside.sum() < LEAST_SLOW:
        return 0.0
    falls = edge_falls(inside, ev)
    known = falls[np.isfinite(falls)]
    if known.size < max(4, LEAST_DARK * falls.size):
        return 0.0
    slower = max(float(np.median(known)) / max(clean, SHARPEST), SLOWER - 0.1)
    light = exp(-0.5 * (log(slower / LIGHT_SLOWER) / LIGHT_SPREAD) ** 2)
    light /= LIGHT_SPREAD * sqrt(2 * pi) * slower
    slow = min(MOST_SLOW_HOLES, max(SLOW_HOLES * vague**6, MOST_SLOW_HOLES * strands))
    hole = density(abs(slower - SLOWER), vague * SLOWER_SPREAD) / 2
    hole += slow * (light - hole)
    return log(hole / (SHARP * hole + (1 - SHARP) * light))


def _by_texture(inside: Patch, ev: Floats) -> float:
    """What unevenness weighs: cloth and skin are uneven, the backdrop is smooth."""
    spread, noise = _texture(inside, ev)
    if spread < UNEVEN_EV or spread < OVER_NOISE * noise:
        return 0.0
    return -min(MOST_UNEVEN, PER_EV * (spread - UNEVEN_EV))


def _texture(inside: Patch, ev: Floats) -> tuple[float, float]:
    """By how many stops a patch, less its rim, is over any smooth slope, and its noise in stops.

    Twice from the middle to the brightest tenth of what a quadratic leaves, for what is dark may
    hang before it; nought where the patch is too small.
    """
    core = cv2.erode(inside, np.ones((5, 5), np.uint8)) > 0
    if core.sum() < LEAST_TEXTURE:
        return 0.0, 0.0
    smooth = np.asarray(cv2.blur(ev, (3, 3)), np.float32)
    noise = float((ev - smooth)[core].std())
    y, x = (axis - axis.mean() for axis in np.nonzero(core))
    slopes = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
    value = smooth[core].astype(np.float64)
    left = value - slopes @ np.linalg.lstsq(slopes, value)[0]
    for _ in range(SETTLING):
        lit = left > np.percentile(left, MOST_STRANDS)
        left = value - slopes @ np.linalg.lstsq(slopes[lit], value[lit])[0]
    middle, high = np.percentile(left, (50, 90))
    return 2 * float(high - middle), noise


def _by_shape(mask: Mask) -> float:
    """What roundness weighs."""
    if is_thin(mask) or mask.sum() < LEAST_SLOW:
        return 0.0
    return float(np.interp(roundness(mask), ROUNDNESS, ROUND_WEIGHTS))
