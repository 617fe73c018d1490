"""What stands before the backdrop, and what only dims it: folds, shadows and faint seams."""

from __future__ import annotations

import cv2
import numpy as np

from inspector.arrays import Floats, Mask, disc
from inspector.face import scallops, slivers
from inspector.shade import find_shade

SEAM_EV = 0.9
"""A dark line no deeper than this is a seam of the diffuser, not a subject, stops."""
RIM_PX = 3
"""Slivers no wider than this along the face's rim belong to the surround, working pixels."""


def part_subject(
    ev: Floats, backdrop_ev: Floats, face: Mask, backdrop: Mask, bright: Mask
) -> tuple[Mask, Mask]:
    """(h, w) the subject, and the backdrop with what only dims it.

    Parameters
    ----------
    ev, backdrop_ev : ndarray, float32
        (h, w) stops, and those of the backdrop there.
    face : ndarray, bool
        (h, w) where the backdrop would be seen, were nobody before it.
    backdrop, bright : ndarray, bool
        (h, w) what is seen of it, and what is as bright.
    """
    before = face & ~backdrop
    shade = find_shade(ev, backdrop_ev, before, face)
    subject = _subject(before & ~shade, face, ev, backdrop_ev)
    sliver = slivers(subject, backdrop, face)
    subject &= ~sliver
    dim = face & ~subject & ~sliver & ~bright & (ev > backdrop_ev - SEAM_EV)
    return subject, backdrop | shade | dim


def _subject(before: Mask, face: Mask, ev: Floats, backdrop_ev: Floats) -> Mask:
    """What stands before the backdrop: no diffuser seams, no slivers along the face's rim."""
    inner = (before & (cv2.erode(face.astype(np.uint8), disc(RIM_PX)) > 0)).astype(np.uint8)
    _, label, stats, _ = cv2.connectedComponentsWithStats(inner, connectivity=8)
    keep = np.zeros(len(stats), bool)
    keep[label[backdrop_ev - ev > SEAM_EV]] = True
    keep &= stats[:, cv2.CC_STAT_AREA] >= max(4, 2e-5 * ev.size)
    keep &= ~scallops(np.asarray(label, np.int32), face, len(stats), rim=RIM_PX)
    keep[0] = False
    kept = keep[label]
    near = cv2.dilate(kept.astype(np.uint8), np.ones((2 * RIM_PX + 3,) * 2, np.uint8)) > 0
    return np.asarray(kept | (before & (inner == 0) & near), bool)
