"""The zones of the whole picture, from those of the working picture."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Mask
from inspector.levels import Levels
from inspector.zones import BACKDROP, SUBJECT, SURROUND, Zones


def zone_mask(zones: Zones, levels: Levels, *, spilled: Mask) -> NDArray[np.uint8]:
    """(H, W) uint8 zones of the whole picture as viewed, the size of the frame.

    The border of backdrop and subject runs where the light passes halfway, between the working
    pixels. What has ``spilled`` (h, w) onto the subject is the subject's.
    """
    width, height = levels.frame.size
    x0, y0 = levels.origin
    h, w = zones.label.shape
    size = (w * levels.scale, h * levels.scale)
    label = np.where(spilled & (zones.label == BACKDROP), SUBJECT, zones.label).astype(np.uint8)
    full = _blown_up(label, size)
    margin = cv2.resize(zones.margin, size, interpolation=cv2.INTER_LINEAR)
    near = np.ones((3, 3), np.uint8)
    by_backdrop, by_subject = (
        cv2.dilate((zones.label == z).astype(np.uint8), near) > 0 for z in (BACKDROP, SUBJECT)
    )
    unsettled = by_backdrop & by_subject & ~spilled & (zones.label != SURROUND)
    border = _blown_up(unsettled.astype(np.uint8), size) > 0
    full[border] = np.where(margin[border] >= 0, BACKDROP, SUBJECT)
    right, bottom = width - x0 - size[0], height - y0 - size[1]
    return np.pad(full, ((y0, bottom), (x0, right)), mode="edge")


def _blown_up(label: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    return np.asarray(cv2.resize(label, size, interpolation=cv2.INTER_NEAREST), np.uint8)
