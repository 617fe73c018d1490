"""The zones of the whole picture, from those of the working picture."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask
from inspector.levels import Levels
from inspector.outline import joined
from inspector.zones import BACKDROP, SUBJECT, SURROUND, Zones

SPREAD = 2.0
"""Sigma over which places near the outline follow it, working pixels."""


def zone_mask(zones: Zones, levels: Levels, *, spilled: Mask) -> NDArray[np.uint8]:
    """(H, W) uint8 zones of the whole picture as viewed, the size of the frame.

    The border of backdrop and subject runs where the subject begins, between the working pixels;
    where that is not known, where the light passes halfway. What has ``spilled`` (h, w) onto the
    subject is the subject's.
    """
    width, height = levels.frame.size
    x0, y0 = levels.origin
    h, w = zones.label.shape
    size = (w * levels.scale, h * levels.scale)
    label = np.where(spilled & (zones.label == BACKDROP), SUBJECT, zones.label).astype(np.uint8)
    full = _blown_up(label, size)
    margin = cv2.resize(_settled(zones, levels), size, interpolation=cv2.INTER_LINEAR)
    near = np.ones((3, 3), np.uint8)
    by_backdrop, by_subject = (
        cv2.dilate((zones.label == z).astype(np.uint8), near) > 0 for z in (BACKDROP, SUBJECT)
    )
    unsettled = by_backdrop & by_subject & ~spilled & (zones.label != SURROUND)
    border = _blown_up(unsettled.astype(np.uint8), size) > 0
    full[border] = np.where(margin[border] >= 0, BACKDROP, SUBJECT)
    right, bottom = width - x0 - size[0], height - y0 - size[1]
    return np.pad(full, ((y0, bottom), (x0, right)), mode="edge")


def _settled(zones: Zones, levels: Levels) -> Floats:
    """(h, w) light over halfway, moved across the outline to where the subject begins."""
    if zones.begins is None or not zones.begins.told.any():
        return zones.margin
    told, outline = zones.begins.told, joined(zones.outlines)
    place = levels.from_view(outline.points[told]).astype(int)
    moves = zones.begins.at[told, None] * outline.inward[told] / levels.scale
    h, w = zones.label.shape
    sums = np.zeros((h, w, 3), np.float32)
    column, row = place[:, 0].clip(0, w - 1), place[:, 1].clip(0, h - 1)
    np.add.at(sums, (row, column), np.column_stack([moves, np.ones(len(moves))]))
    dx, dy, share = cv2.split(cv2.GaussianBlur(sums, (0, 0), SPREAD))
    share = np.where(share > 1e-4, share, np.inf)
    y, x = np.mgrid[:h, :w].astype(np.float32)
    return np.asarray(
        cv2.remap(
            zones.margin,
            x - dx / share,
            y - dy / share,
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        ),
        np.float32,
    )


def _blown_up(label: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    return np.asarray(cv2.resize(label, size, interpolation=cv2.INTER_NEAREST), np.uint8)
