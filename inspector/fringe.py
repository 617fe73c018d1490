"""What is left out of the fractions: a band along every border, as wide as the blur, and hair."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask, disc, distance_to

STRAND_EV = 0.35
"""A line this much darker than the backdrop is no seam but something that hangs before it."""
SHORT_EV, SHORT, LEAST_PX = 0.2, 0.08, 8
"""One that is only so much darker is no seam either where it ends within such a part of the long
side; less of it, working pixels, is noise."""
ROUNDED, TIP_PX = 1.5, 4.0
"""Corners of what is wide lie so many widths of the fringe and working pixels from where it is, and
so many of these from what is no strand."""
FAINT_EV = 0.1
"""A line that is joined to such a one is of it down to here."""
HANGS = 0.012
"""So near the subject, or each other, lines are strands; roots may be thinner than what shows,
part of the long side."""


def find_fringe(label: NDArray[np.uint8], sigma: float, cell: int) -> Mask:
    """True within three sigma of the blur, and at least one pixel, of any border of zones.

    A ``cell`` of several pixels, as that of an X-Trans sensor, lies in it if any part does.
    """
    reach = max(1, math.ceil(3 * sigma + 0.25)) + max(0, cell - 1)
    kernel = disc(reach)
    return np.not_equal(cv2.dilate(label, kernel), cv2.erode(label, kernel))


def thin_parts(subject: Mask, strands: Mask, sigma: float) -> Mask:
    """(h, w) where the subject is no wider than the fringe: foils, and ``strands`` that stick out.

    The corners of what is wide are not. ``sigma`` of the blur in working pixels.
    """
    width = 3 * sigma
    inside = distance_to(~subject)
    thin = distance_to(inside > width) > ROUNDED * width + TIP_PX
    stick_out = strands & (distance_to(subject & ~strands) > TIP_PX)
    return thin | _joined_to(stick_out, strands)


def find_strands(ev: Floats, backdrop: Mask, subject: Mask, sigma: float) -> tuple[Mask, Mask]:
    """Lines on the backdrop thinner than the fringe that hang on the subject: loose hair.

    And the same with their fainter parts, since a blurred strand goes on as long as its line does,
    and with faint ones that are short.
    """
    lines = cv2.morphologyEx(ev, cv2.MORPH_BLACKHAT, disc(max(2, round(3 * sigma))))
    thin = (lines > STRAND_EV) & backdrop
    reach = max(1, round(HANGS * max(ev.shape) / 2))
    joined = cv2.dilate((thin | subject).astype(np.uint8), disc(reach)) > 0
    sure = thin & _joined_to(subject, joined)
    short = _short((lines > SHORT_EV) & backdrop) & _joined_to(subject, joined)
    whole = _joined_to(sure | short, sure | (lines > FAINT_EV) & backdrop)
    strands, fainter = (
        cv2.dilate(one.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0 for one in (sure, whole)
    )
    return strands, fainter


def _short(lines: Mask) -> Mask:
    """The lines that are no longer than a loose hair."""
    _, label, stats, _ = cv2.connectedComponentsWithStats(lines.astype(np.uint8), connectivity=8)
    sides = stats[:, (cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT)].max(axis=1)
    kept = (sides <= SHORT * max(lines.shape)) & (stats[:, cv2.CC_STAT_AREA] >= LEAST_PX)
    kept[0] = False
    return np.asarray(kept[label], bool)


def _joined_to(seed: Mask, mask: Mask) -> Mask:
    """The parts of a mask that have some of the seed in them."""
    count, label = cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)
    kept = np.zeros(count, bool)
    kept[label[seed]] = True
    kept[0] = False
    return np.asarray(kept[label], bool)
