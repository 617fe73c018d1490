"""Small pictures of a contact sheet, cut out of the clip maps."""

from __future__ import annotations

import base64
from pathlib import Path

import cv2
import numpy as np

from inspector.report.layout import SIZE, Rect, arrange

LONG_SIDE = 420
QUALITY = 84


def thumbnail(clip_map: Path, width: int, height: int) -> str | None:
    """The marked proof alone as a data URI, from the clip map of a frame ``width`` x ``height``.

    None where the file is gone or is no clip map.
    """
    try:
        data = np.frombuffer(clip_map.read_bytes(), np.uint8)
    except OSError:
        return None
    # At half its size it is decoded in half the time, and is still large enough.
    half = cv2.imdecode(data, cv2.IMREAD_REDUCED_COLOR_2) if data.size else None
    if half is None or half.shape[:2] != (SIZE[1] // 2, SIZE[0] // 2) or min(width, height) < 1:
        return None
    x0, y0, x1, y1 = _halved(arrange(width, height).picture)
    part = half[y0:y1, x0:x1]
    zoom = min(1.0, LONG_SIDE / max(part.shape[:2]))
    size = max(1, round(part.shape[1] * zoom)), max(1, round(part.shape[0] * zoom))
    small = cv2.resize(part, size, interpolation=cv2.INTER_AREA)
    _, jpeg = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    return "data:image/jpeg;base64," + base64.b64encode(jpeg.tobytes()).decode()


def _halved(box: Rect) -> Rect:
    """The pixels of the half-sized picture that lie wholly inside a box, at least one."""
    x0, y0, x1, y1 = box
    left, top = (x0 + 1) // 2, (y0 + 1) // 2
    return left, top, max(left + 1, x1 // 2), max(top + 1, y1 // 2)
