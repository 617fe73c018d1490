"""Small pictures of a contact sheet, cut out of the clip maps."""

from __future__ import annotations

import base64
from pathlib import Path

import cv2
import numpy as np

from inspector.report.layout import SIZE, arrange

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
    whole = cv2.imdecode(data, cv2.IMREAD_COLOR) if data.size else None
    if whole is None or whole.shape[:2] != SIZE[::-1] or width < 1 or height < 1:
        return None
    x0, y0, x1, y1 = arrange(width, height).picture
    part = whole[y0:y1, x0:x1]
    zoom = min(1.0, LONG_SIDE / max(part.shape[:2]))
    size = max(1, round(part.shape[1] * zoom)), max(1, round(part.shape[0] * zoom))
    small = cv2.resize(part, size, interpolation=cv2.INTER_AREA)
    _, jpeg = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    return "data:image/jpeg;base64," + base64.b64encode(jpeg.tobytes()).decode()
