"""The shape of a patch: how round and how narrow it is."""

from __future__ import annotations

from math import pi, sqrt

import cv2
import numpy as np

from inspector.arrays import Mask

THIN = 4.0
"""A patch so many times larger than the square of its width may be a gap."""


def roundness(mask: Mask) -> float:
    """Area over that of the ellipse with the same second moments: 1 for an ellipse, else less."""
    m = cv2.moments(mask.astype(np.uint8), binaryImage=True)
    area = m["m00"]
    # A pixel is a square of its own, with moments of a twelfth.
    xx, yy, xy = m["mu20"] / area + 1 / 12, m["mu02"] / area + 1 / 12, m["mu11"] / area
    return float(area / (4 * pi * sqrt(xx * yy - xy**2)))


def is_thin(mask: Mask) -> bool:
    """Whether a patch is so narrow that it is all blur."""
    padded = cv2.copyMakeBorder(mask.astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    width = 2 * float(cv2.distanceTransform(padded, cv2.DIST_L2, 3).max())
    return bool(mask.sum() > THIN * width**2)
