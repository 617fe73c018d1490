"""Which way each part of a subject faces, from its silhouette alone.

The silhouette is inflated: h solves Poisson's equation with -1 on it, and the body's height is
the root of 2 h, so that a bar becomes half a round cylinder and a disc a somewhat flattened ball
(the inflation of Sýkora et al., "Ink-and-Ray", ACM TOG 33(2), 2014; from memory). The normals of
that body say what faces left, right, up.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from inspector.arrays import Floats, Mask

COARSE_SIDE = 160
"""Long side of the picture on which the body is inflated, pixels."""
TURNED = 0.5
"""Sine of the angle from which a part faces a side and no longer the camera: 30 degrees."""
SETTLED = 1e-4
"""Largest step of the height, part of its greatest, at which it is taken as solved."""
MOST_STEPS = 6000


@dataclass(frozen=True, eq=False)
class Sides:
    """Parts of the subject's core by where they face, (h, w) bool each.

    Left, right and top are the picture's. What faces down belongs to none.
    """

    left: Mask
    right: Mask
    top: Mask
    front: Mask

    def named(self) -> dict[str, Mask]:
        """The parts by name."""
        return {"left": self.left, "right": self.right, "top": self.top, "front": self.front}


def find_sides(subject: Mask, core: Mask) -> Sides:
    """Sort the core of a subject by where it faces.

    Parameters
    ----------
    subject, core : ndarray, bool
        (h, w) of the working picture.
    """
    nx, ny = facing(subject)
    turned = np.hypot(nx, ny) > TURNED
    across = np.abs(nx) >= np.abs(ny)
    return Sides(
        left=core & turned & across & (nx < 0),
        right=core & turned & across & (nx > 0),
        top=core & turned & ~across & (ny < 0),
        front=core & ~turned,
    )


def facing(subject: Mask) -> tuple[Floats, Floats]:
    """(h, w) x and y of the unit normals of the inflated body; 0 where it faces the camera."""
    height, width = subject.shape
    shrink = min(1.0, COARSE_SIDE / max(height, width))
    size = max(2, round(width * shrink)), max(2, round(height * shrink))
    share = cv2.resize(subject.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    h = _inflate(share > 0.5)
    hx = cv2.Sobel(h, cv2.CV_32F, 1, 0, scale=1 / 8, borderType=cv2.BORDER_REPLICATE)
    hy = cv2.Sobel(h, cv2.CV_32F, 0, 1, scale=1 / 8, borderType=cv2.BORDER_REPLICATE)
    length = np.sqrt(hx**2 + hy**2 + 2 * h) + 1e-6
    normal = [cv2.resize(-d / length, (width, height)) for d in (hx, hy)]
    return np.asarray(normal[0], np.float32), np.asarray(normal[1], np.float32)


def _inflate(mask: Mask) -> Floats:
    """(h, w) float32 with Laplacian -1 on the mask and 0 off it, by Jacobi's steps.

    What the picture's border cuts goes on beyond it.
    """
    quarter = np.array([[0, 0.25, 0], [0.25, 0, 0.25], [0, 0.25, 0]], np.float32)
    inside = mask.astype(np.float32)
    reach = cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 3)[1:-1, 1:-1]
    h = np.asarray(reach**2 / 4, np.float32)
    for step in range(MOST_STEPS):
        before = h
        h = cv2.filter2D(h, cv2.CV_32F, quarter, borderType=cv2.BORDER_REPLICATE) + 0.25
        h = np.asarray(h * inside, np.float32)
        if step % 50 == 49 and np.abs(h - before).max() < SETTLED * max(float(h.max()), 1e-6):
            break
    return h
