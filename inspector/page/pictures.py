"""The pictures of the page, cut out of the clip maps in the report folder."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from inspector.report.layout import SIZE, arrange

QUALITY = 92
SMALL = 4
"""How many times smaller the picture of the strip is."""
SMALL_QUALITY = 80


def inside(folder: Path, name: str) -> Path | None:
    """The file of that name in a folder; None if it is not there or lies elsewhere, links
    followed."""
    path = (folder / name).resolve()
    return path if path.is_relative_to(folder.resolve()) and path.is_file() else None


def cut_out(clip_map: Path, size: tuple[int, int], *, small: bool = False) -> bytes | None:
    """The marked picture without the words beside it, as JPEG, of a frame ``size`` (w, h).

    None where the file is no clip map.
    """
    zoom = SMALL if small else 1
    whole = _read(clip_map, small=small)
    if whole is None or whole.shape[:2] != (SIZE[1] // zoom, SIZE[0] // zoom) or min(size) < 1:
        return None
    x0, y0, x1, y1 = (-(-edge // zoom) for edge in arrange(*size).picture)
    part = whole[y0 : max(y1 - (zoom > 1), y0 + 1), x0 : max(x1 - (zoom > 1), x0 + 1)]
    sampling = (cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444)
    quality = (cv2.IMWRITE_JPEG_QUALITY, SMALL_QUALITY if small else QUALITY)
    _, data = cv2.imencode(".jpg", part, [*quality, *sampling])
    return data.tobytes()


def _read(path: Path, *, small: bool) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]] | None:
    try:
        data = np.frombuffer(path.read_bytes(), np.uint8)
    except OSError:
        return None
    if not data.size:
        return None
    how = cv2.IMREAD_REDUCED_COLOR_4 if small else cv2.IMREAD_COLOR
    found = cv2.imdecode(data, how)
    return None if found is None else np.asarray(found, np.uint8)
