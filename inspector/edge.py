"""The subject's edge against the backdrop: ramp, spill runs, hot spots."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Box = tuple[int, int, int, int]
"""x0, y0, x1, y1 in the picture as viewed, half open."""


@dataclass(frozen=True, eq=False)
class SpillRun:
    """A stretch of the edge over which paper white has crossed onto the subject.

    ``where`` is a clock position as seen from the subject's centre ("2 o'clock"), lengths in
    viewed pixels. ``points`` (N, 2) walks along the edge; ``depths`` (N,) pixels to which white
    reaches inwards at each; ``inward`` (N, 2) unit vectors into the subject.
    """

    where: str
    box: Box
    length_px: float
    depth_px: float
    sure: bool
    points: NDArray[np.float64]
    depths: NDArray[np.float64]
    inward: NDArray[np.float64]


@dataclass(frozen=True)
class HotSpot:
    """A paper-white island inside the subject. ``warns`` if it is over the area limit."""

    box: Box
    area_px: int
    warns: bool
    sure: bool


@dataclass(frozen=True, eq=False)
class Edge:
    """What was measured along the subject's edge.

    Attributes
    ----------
    length_px : float
        Length of the edge, viewed pixels; 0 when there is none.
    ramp_px : float or None
        Median 10 to 90 % distance between core level and white.
    blur_px : float or None
        Sigma of the lens blur, from the sharpest part of the outline.
    spill_fraction : float or None
        Length of sure spill over length of edge.
    spill : tuple of SpillRun
        Longest first.
    hot_spots : tuple of HotSpot
        Largest first.
    headroom_ev : ndarray, float64
        (N,) for each edge sample, the exposure change in stops at which white would cross the
        edge by more than the tolerance there; not above zero where it already has.
    core : ndarray, bool
        (h, w) of the working picture: the subject less the band as deep as the ramp.
    """

    length_px: float
    ramp_px: float | None
    blur_px: float | None
    spill_fraction: float | None
    spill: tuple[SpillRun, ...]
    hot_spots: tuple[HotSpot, ...]
    headroom_ev: NDArray[np.float64]
    core: NDArray[np.bool_]
