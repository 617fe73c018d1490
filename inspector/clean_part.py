"""How light falls along the edge, against a clean part of the same edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspector.across import Across
from inspector.arrays import Mask, Points
from inspector.outline import TOLERANCE_PX

# All widths below are for a tolerance of 3 px, as on frames up to 3,000 px wide, and grow with it;
# lengths also with the spacing of the outline's points.
SPACING_PX = 2.0
"""The spacing that goes with those 3 px."""
MOST_BLUR_PX = 2.0
"""The sigma of the blur up to which they hold: of a softer picture they grow with it."""
CLEAN_SHARE = 30
"""Percentile of the edge that is taken for a clean part."""
LONGEST_CLEAN_FALL, LONGEST_CLEAN_OVERLAP = 4.5, 3.0
"""No clean part has more, pixels; guards against an edge that spills all along."""
SLOW_FIRST, LONGEST_CLEAN_FIRST = 1.5, (1.2, 2.0)
"""On spill the fall to 0.6 is longer than on a clean part by so many pixels at least (one in fifty
less); before a rim under white it is sharp, the light that follows may fall ever so slowly. No
clean part takes longer than the second."""
SHARP_START = 0.12
"""Before a rim nearer white the fall to 0.8 is less than this part of that to two stops under
white; on spill more (one in a hundred less)."""
OUTSIDE = 0.65
"""A fall of which more than this part lies before the outline is a shade on the backdrop."""
SOFT_FALL = 0.6
"""How many pixels longer the fall is at least wherever white light lies on the subject."""


@dataclass(frozen=True, eq=False)
class Falls:
    """How light falls at N outline points, against a clean part of the edge.

    Attributes
    ----------
    wide, long : float
        Pixels across and along the edge that stand for one where the tolerance is 3 px and the
        picture is no softer than usual.
    slower : ndarray, float64
        (N,) pixels by which the fall from white is longer than if clean; 0 where it is not, and
        where that is not known.
    deeper : ndarray, float64
        (N,) pixels by which white overlaps the end of the backdrop's light more than if clean;
        likewise.
    soft : ndarray, bool
        (N,) whether the fall is as slow as wherever white light lies on the subject.
    later : ndarray, float64
        (N,) pixels by which the fall to 0.6 is longer than if clean; NaN where it is not known.
    sharp : ndarray, bool
        (N,) whether it starts to fall as sharply as before a rim nearer white.
    rim : ndarray, bool
        (N,) whether light falls under white as fast as if clean, however slowly after that; so it
        may where that first fall cannot be told.
    shaded : ndarray, bool
        (N,) whether most of the fall lies before the outline, on the backdrop.
    """

    wide: float
    long: float
    slower: Points
    deeper: Points
    soft: Mask
    later: Points
    sharp: Mask
    rim: Mask
    shaded: Mask


def compare_falls(across: Across, *, blur: float, tolerance: float) -> Falls:
    """Compare the light across the edge with that across its clean part.

    Parameters
    ----------
    blur : float
        Sigma of the lens, pixels.
    tolerance : float
        Pixels by which white may cross the outline.
    """
    wide = max(tolerance / TOLERANCE_PX, blur / MOST_BLUR_PX)
    clean_fall = _clean(across.fall, LONGEST_CLEAN_FALL * wide)
    slower = np.nan_to_num(np.maximum(across.least_fall - clean_fall, 0.0))
    overlap = np.where(np.isfinite(across.least_fall), across.overlap, np.nan)
    longest = np.where(across.told, LONGEST_CLEAN_FIRST[1], LONGEST_CLEAN_FIRST[0])
    later = across.first - np.minimum(_clean(across.first, np.inf), longest * wide)
    sharp = across.early < SHARP_START * across.least_fall
    return Falls(
        wide=wide,
        long=max(wide, float(np.median(across.outline.step)) / SPACING_PX),
        slower=slower,
        deeper=_over_clean(overlap, LONGEST_CLEAN_OVERLAP * wide),
        soft=slower > SOFT_FALL * wide,
        later=later,
        sharp=sharp,
        rim=~(later >= SLOW_FIRST * wide) | sharp,
        shaded=~(across.white_at > -OUTSIDE * across.least_fall),
    )


def _over_clean(values: Points, longest: float) -> Points:
    """(N,) how much larger a value is than on a clean part of the edge; 0 where unknown."""
    return np.nan_to_num(np.maximum(values - _clean(values, longest), 0.0))


def _clean(values: Points, longest: float) -> float:
    """What a value is on a clean part of the edge."""
    known = values[np.isfinite(values)]
    return min(longest, float(np.percentile(known, CLEAN_SHARE))) if known.size else longest
