"""A shadow that the subject casts on the backdrop: it lies beside it, and is no part of it.

Towards the lit backdrop a shadow ends in a penumbra, towards the subject before it as sharply as
the lens lets it. Light that has crept over the subject's edge begins softly, too, but fades into
the subject without such an end.
"""

from __future__ import annotations

import cv2
import numpy as np

from inspector.arrays import Floats, Mask, Points, around, disc
from inspector.outline import read_along

DIMMED_EV = (0.35, 2.5)
"""A shadow is darker than the backdrop by more and by less, stops."""
INNER_PX = 3
"""So far inside its border a part shows how dark it is there, working pixels."""
LEAST_AREA, LEAST_PX = 0.0005, 3
"""A smaller part of the picture is none, nor what is thinner than twice the second, working
pixels."""
REACH_PX = 9
"""So far on either side of its border the light is looked at, working pixels."""
OVER_PX, SOFT, SHARP = 5, 0.75, 0.6
"""Of all that light changes across a border, less than the second comes about over so many working
pixels where it is soft, more than the third where it is sharp."""
DEEP = 90
"""Percentile of a shadow that tells how dark it is."""
DARKER_EV = 1.0
"""Beyond its border with the subject it is darker by more, stops."""
LEAST_SOFT, LEAST_SHARP = 0.7, 0.8
"""So much of the border with the lit backdrop is soft, so much of that with the subject sharp."""
SOFTER = 0.7
"""In the middle the former is softer by this factor or more: a soft lens makes both soft."""
LEAST_LIT, LEAST_DARK = 0.05, 0.2
"""So much of all its border is with either. A hand on which light fades ends sharply at the sleeve,
too, but on less of its border."""
AS_DARK_EV = 0.35
"""What borders the subject less, or not at all, belongs to a shadow that is as dark."""
NORMAL_SIGMA = 2.0
"""Sigma over which the border is smoothed for its normals, working pixels."""


def find_cast_shadow(ev: Floats, backdrop_ev: Floats, face: Mask) -> Floats:
    """(h, w) stops by which the subject's shadow dims the backdrop; 0 off any shadow.

    Up to a little beyond its border they are told, too: over the subject's edge they go on, on the
    lit backdrop they are what noise makes of none.

    Parameters
    ----------
    ev, backdrop_ev : ndarray, float32
        (h, w) stops, and those of the lit backdrop there.
    face : ndarray, bool
        (h, w) where the backdrop would be seen, were nobody before it.
    """
    under = np.where(face, backdrop_ev - ev, np.float32(np.nan))
    dim = (under > DIMMED_EV[0]) & (under < DIMMED_EV[1])
    dimmed = np.zeros(face.shape, np.float32)
    least = LEAST_AREA * dim.size
    if np.count_nonzero(dim) < least:
        return dimmed
    parts = cv2.morphologyEx(dim.astype(np.uint8), cv2.MORPH_OPEN, disc(LEAST_PX))
    _, label, stats, _ = cv2.connectedComponentsWithStats(parts, connectivity=4)
    found = []
    for k in np.flatnonzero(stats[1:, cv2.CC_STAT_AREA] >= least) + 1:
        box = around(stats[k], REACH_PX + 1)
        part = label[box] == k
        beside = _share_with_subject(under[box], part)
        if beside is not None:
            found.append((box, part, float(np.percentile(under[box][part], DEEP)), beside))
    shadows = [deep for _, _, deep, beside in found if beside >= LEAST_DARK]
    for box, part, deep, _ in found:
        if any(abs(deep - other) < AS_DARK_EV for other in shadows):
            deepest = cv2.dilate(np.where(part, under[box], np.float32(0)), disc(REACH_PX))
            dimmed[box] = np.maximum(dimmed[box], np.clip(under[box], 0, deepest))
    return np.nan_to_num(dimmed)


def _share_with_subject(under: Floats, part: Mask) -> float | None:
    """How much of a part's border is with the subject; None if it is no shadow.

    It is soft towards the lit backdrop and sharp towards something darker. ``under`` (h, w) are
    stops under the backdrop, NaN beyond its face.
    """
    profiles = read_along(under, *_border(part), np.arange(-REACH_PX, REACH_PX + 1.0))
    profiles = profiles[np.isfinite(profiles).all(axis=1)]
    inside, outside = profiles[:, :REACH_PX], profiles[:, -1]
    level = np.median(inside[:, -INNER_PX:], axis=1)
    lit, dark = outside < DIMMED_EV[0], outside > level + DARKER_EV
    if len(profiles) == 0 or lit.mean() < LEAST_LIT:
        return None
    change = np.abs(profiles[:, OVER_PX:] - profiles[:, :-OVER_PX]).max(axis=1)
    in_all = np.where(lit, inside.max(axis=1) - outside, outside - inside.min(axis=1))
    steep = change / np.maximum(in_all, 1e-3)
    to_light, to_dark = steep[lit], steep[dark]
    cast = (to_light < SOFT).mean() >= LEAST_SOFT
    if to_dark.size:
        cast &= (to_dark > SHARP).mean() >= LEAST_SHARP
        cast &= np.median(to_light) < SOFTER * np.median(to_dark)
    return float(dark.mean()) if cast else None


def _border(part: Mask) -> tuple[Points, Points]:
    """(N, 2) x, y of the outermost pixels' middles of a part, and unit vectors out of it."""
    smooth = cv2.GaussianBlur(part.astype(np.float32), (0, 0), NORMAL_SIGMA)
    slopes = (cv2.Sobel(smooth, cv2.CV_32F, *d) for d in ((1, 0), (0, 1)))
    rim = part & ~(cv2.erode(part.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0)
    y, x = np.nonzero(rim)
    outwards = -np.stack([slope[y, x] for slope in slopes], axis=1).astype(np.float64)
    length = np.hypot(*outwards.T)[:, None]
    places = np.stack([x, y], axis=1).astype(np.float64) + 0.5
    return places, np.asarray(outwards / np.maximum(length, 1e-9), np.float64)
