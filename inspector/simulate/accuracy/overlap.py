"""How well a mask lies on another: overlap, and boundary F at a distance."""

from __future__ import annotations

import cv2
import numpy as np

from inspector.arrays import Mask


def overlap(found: Mask, true: Mask) -> float | None:
    """Intersection over union of two (H, W) masks, Jaccard's index; None if both are empty."""
    union = int((found | true).sum())
    return int((found & true).sum()) / union if union else None


def boundary_f(found: Mask, true: Mask, *, tolerance_px: int) -> float | None:
    """F = 2 P R / (P + R) of the boundary pixels that lie within a distance of the other's.

    After Martin, Fowlkes and Malik, IEEE TPAMI 26(5), 2004, with a fixed distance and without
    one-to-one matching. None if either mask has no boundary.
    """
    a, b = boundary(found), boundary(true)
    if not a.any() or not b.any():
        return None
    precision = float(_near(b, tolerance_px)[a].mean())
    recall = float(_near(a, tolerance_px)[b].mean())
    return 2 * precision * recall / (precision + recall) if precision + recall else 0.0


def boundary(mask: Mask) -> Mask:
    """Pixels of a mask that touch, by a side or a corner, one outside it within the picture."""
    inside = mask.astype(np.uint8)
    eroded = cv2.erode(inside, np.ones((3, 3), np.uint8), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(mask & (eroded == 0))


def _near(line: Mask, distance: int) -> Mask:
    away = cv2.distanceTransform((~line).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return np.asarray(away <= distance)
