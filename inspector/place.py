"""Where something is in the picture: boxes in viewed pixels, words, clock positions."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from inspector.levels import Levels

Box = tuple[int, int, int, int]
"""x0, y0, x1, y1 in the picture as viewed, half open."""


def view_box(levels: Levels, box: Box) -> Box:
    """A box of the working picture in viewed pixels."""
    corners = levels.to_view(np.array([box[:2], box[2:]], float))
    return _whole(corners, levels.frame.size)


def points_box(points: NDArray[np.float64], size: tuple[int, int]) -> Box:
    """The box around (N, 2) points in viewed pixels."""
    return _whole(np.array([np.floor(points.min(0)), np.floor(points.max(0)) + 1]), size)


def place_in(box: Box, size: tuple[int, int]) -> str:
    """Words for where a box lies in a picture of ``size`` (width, height)."""
    width, height = size
    if (box[2] - box[0]) * (box[3] - box[1]) > 0.6 * width * height:
        return "all over"
    x, y = (box[0] + box[2]) / 2 / width, (box[1] + box[3]) / 2 / height
    across = "left" if x < 1 / 3 else "right" if x > 2 / 3 else ""
    down = "upper" if y < 1 / 3 else "lower" if y > 2 / 3 else ""
    if down and across:
        return f"{down} {across}"
    return across or {"upper": "top", "lower": "bottom", "": "centre"}[down]


def clock(point: NDArray[np.float64], centre: NDArray[np.float64]) -> str:
    """Clock position of a point seen from a centre: 12 is up, 3 is right."""
    dx, dy = point - centre
    hour = round(float(np.degrees(np.arctan2(dx, -dy))) / 30) % 12
    return f"{hour or 12} o'clock"


def _whole(corners: NDArray[np.float64], size: tuple[int, int]) -> Box:
    (x0, y0), (x1, y1) = corners.tolist()
    width, height = size
    return (
        max(0, round(x0)),
        max(0, round(y0)),
        min(width, round(x1)),
        min(height, round(y1)),
    )
