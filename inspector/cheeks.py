"""Where both cheeks are: proposed by a face detector, an optional extra.

The detector is scikit-image's cascade of local binary patterns (Ojala et al., IEEE PAMI 24(7),
2002; Viola and Jones, CVPR 2001), trained on faces seen from the front.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.levels import FLOOR_EV, Levels
from inspector.place import Box

SIDE = 640
"""Long side of the picture in which faces are looked for, pixels."""
SMALLEST = 0.06
"""Smallest face, part of the long side."""
SOME_HITS, MANY_HITS = 4, 10
"""Hits of neighbouring windows that make a face, and that make it sure."""
CHEEKS = ((0.27, 0.64), (0.73, 0.64))
"""Where the cheeks are in the box of a face, left and right in the picture."""
PATCH = 0.08
"""Side of a patch on a cheek, part of the face's width."""


class NoDetectorError(RuntimeError):
    """The optional extra is not installed; the message says how."""


@dataclass(frozen=True)
class Cheeks:
    """Both cheeks, left and right in the picture, in viewed pixels.

    ``size`` is the side of a patch that lies well on a cheek; ``sure`` False if the face was
    found weakly or is not the only one.
    """

    left: tuple[float, float]
    right: tuple[float, float]
    size: float
    face: Box
    sure: bool


def find_cheeks(levels: Levels) -> Cheeks | None:
    """Propose both cheeks of the likeliest face; None if none is found.

    Raises
    ------
    NoDetectorError
        If scikit-image is not installed.
    """
    picture, zoom = _proof(levels)
    many, some = (_detect(picture, hits) for hits in (MANY_HITS, SOME_HITS))
    faces = many or some
    if not faces:
        return None
    x, y, side = max(faces, key=lambda face: face[2])
    corners = levels.to_view(np.array([[x, y], [x + side, y + side]], float) / zoom)
    (x0, y0), (x1, y1) = corners.tolist()
    left, right = ((x0 + u * (x1 - x0), y0 + v * (y1 - y0)) for u, v in CHEEKS)
    return Cheeks(
        left=left,
        right=right,
        size=PATCH * (x1 - x0),
        face=(round(x0), round(y0), round(x1), round(y1)),
        sure=len(many) == 1,
    )


def _proof(levels: Levels) -> tuple[NDArray[np.uint8], float]:
    """A grey picture of even contrast in stops, so that a dark face shows as a bright one does."""
    height, width = levels.ev.shape
    zoom = min(1.0, SIDE / max(height, width))
    size = max(1, round(width * zoom)), max(1, round(height * zoom))
    light = np.exp2(np.maximum(levels.ev, FLOOR_EV))
    small = np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), np.float32)
    # The cube root is near to how the detector's own training pictures were toned.
    tone = np.cbrt(small)
    low, high = np.percentile(tone, (1, 99))
    grey = np.clip((tone - low) / max(float(high - low), 1e-6), 0, 1) * 255
    return np.asarray(grey, np.uint8), zoom


def _detect(picture: NDArray[np.uint8], hits: int) -> list[tuple[float, float, float]]:
    """x, y and side of each face, in pixels of the picture."""
    try:
        from skimage.data import lbp_frontal_face_cascade_filename
        from skimage.feature import Cascade
    except ImportError as error:
        raise NoDetectorError(
            "--face needs scikit-image; install it with: pip install 'inspector[face]', or give "
            "--lit and --shadow"
        ) from error
    longest = max(picture.shape)
    least, most = round(SMALLEST * longest), min(picture.shape)
    trained: str = lbp_frontal_face_cascade_filename()  # type: ignore[no-untyped-call]
    found = Cascade(trained).detect_multi_scale(
        img=picture,
        scale_factor=1.1,
        step_ratio=1,
        min_size=(least, least),
        max_size=(most, most),
        min_neighbor_number=hits,
    )
    return [(float(f["c"]), float(f["r"]), float(f["width"])) for f in found]
