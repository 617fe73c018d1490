"""The border of a white part of the subject: where its light passes halfway to the backdrop's.

Such a part (``white_parts``, ``washed``) is found by the steps around it, in areas some pixels
wide; which of these are whose, the light itself tells.
"""

from __future__ import annotations

import cv2
import numpy as np

from inspector.arrays import Floats, Mask, disc

STEP_PX = 3
"""So near the border light may be the other's, working pixels."""
LEAST_EV = 0.12
"""A lesser step is not told so well from noise, stops."""


def over_halfway(ev: Floats, part: Mask, backdrop: Mask) -> Floats:
    """(h, w) light past the level halfway between a part and the backdrop, near their border.

    Linear, positive towards the backdrop; NaN further off, and where hardly anything steps.

    Parameters
    ----------
    ev : ndarray, float32
        (h, w) stops.
    part, backdrop : ndarray, bool
        (h, w) where they are, roughly; apart from each other.
    """
    near = _grown(part, STEP_PX) & _grown(backdrop, STEP_PX) & (part | backdrop)
    past = np.full(ev.shape, np.nan, np.float32)
    if not near.any():
        return past
    light = np.exp2(ev)
    own, other = (_carried_on(light, zone & ~near) for zone in (part, backdrop))
    told = near & (np.abs(np.log2(own / other)) > LEAST_EV)
    past[told] = ((light - (own + other) / 2) * np.sign(other - own))[told]
    return past


def _carried_on(light: Floats, where: Mask) -> Floats:
    """(h, w) light of the nearest place of a mask, mean of a few around it; NaN without one."""
    if not where.any():
        return np.full(light.shape, np.nan, np.float32)
    here = where.astype(np.float32)
    share = cv2.blur(here, (3, 3))
    mean = cv2.blur(light * here, (3, 3)) / np.maximum(share, 1 / 9)
    _, nearest = cv2.distanceTransformWithLabels(
        (~where).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    values = np.full(int(nearest.max()) + 1, np.nan, np.float32)
    values[nearest[where]] = mean[where]
    return np.asarray(values[nearest], np.float32)


def _grown(mask: Mask, pixels: int) -> Mask:
    return cv2.dilate(mask.astype(np.uint8), disc(pixels)) > 0
