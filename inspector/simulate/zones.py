"""The true zones of a simulated frame, by what covers each pixel, and the fringe between them."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Mask
from inspector.zones import BACKDROP, SUBJECT, SURROUND


def label(figure: NDArray[np.float32], face: NDArray[np.float32]) -> NDArray[np.uint8]:
    """(H, W) zones by the larger share: the subject only where it stands before the face."""
    zones = np.full(face.shape, SURROUND, np.uint8)
    zones[face >= 0.5] = BACKDROP
    zones[(figure >= 0.5) & (face >= 0.5)] = SUBJECT
    return zones


def find_fringe(zones: NDArray[np.uint8], strands: NDArray[np.float32], blur_px: float) -> Mask:
    """(H, W) True within three sigma of a border between zones, or of a loose strand."""
    border = np.zeros(zones.shape, np.bool_)
    border[:, 1:] |= zones[:, 1:] != zones[:, :-1]
    border[1:] |= zones[1:] != zones[:-1]
    border |= strands > 0.02
    if not border.any():
        return border
    away = cv2.distanceTransform((~border).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return np.asarray(away <= 3 * blur_px + 0.5)
