"""Lines of the clip map: along the outline, dashed, dotted, ticked, as contours, and tags."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.report.lettering import CAP_HEIGHT, Canvas, Type, width, write
from inspector.report.palette import RGB, bgr

Points = NDArray[np.float64]
"""(N, 2) x, y in picture pixels, continuous: pixel i spans [i, i + 1)."""
SHIFT = 4
"""Fractional bits of the coordinates that OpenCV draws with."""


def fixed(points: Points) -> NDArray[np.int32]:
    """Continuous coordinates to OpenCV's fixed point, where a pixel's centre is whole."""
    return np.rint((np.asarray(points, float) - 0.5) * (1 << SHIFT)).astype(np.int32)


def solid(picture: Canvas, lines: Iterable[Points], colour: RGB, thickness: int) -> None:
    """Draw open lines, anti-aliased."""
    parts = [fixed(p).reshape(-1, 1, 2) for p in lines if len(p) > 1]
    if parts:
        cv2.polylines(picture, parts, False, bgr(colour), thickness, cv2.LINE_AA, SHIFT)


def dots(picture: Canvas, points: Points, colour: RGB, radius: float) -> None:
    """Draw round dots."""
    r = round(radius * (1 << SHIFT))
    for x, y in fixed(points).tolist():
        cv2.circle(picture, (x, y), r, bgr(colour), -1, cv2.LINE_AA, SHIFT)


def length(points: Points) -> NDArray[np.float64]:
    """Distance walked along a line at each of its points, (N,)."""
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    return np.concatenate(([0.0], np.cumsum(steps)))


def along(points: Points, values: NDArray[np.float64], spacing: float) -> NDArray[np.float64]:
    """``values`` (N, K) of a line's points, taken every ``spacing`` pixels along it, (M, K)."""
    walked = length(points)
    count = max(1, int(walked[-1] // spacing))
    at = (np.arange(count) + 0.5) * walked[-1] / count
    return np.stack([np.interp(at, walked, v) for v in values.T], axis=1)


def dashes(points: Points, dash: float, gap: float) -> list[Points]:
    """Cut a line into dashes."""
    walked = length(points)
    starts = np.arange(0.0, max(walked[-1], 1e-6), dash + gap)
    ends = np.minimum(starts + dash, walked[-1])
    steps = np.linspace(0, 1, 5)
    at = starts[:, None] + (ends - starts)[:, None] * steps
    xy = [np.interp(at, walked, points[:, k]) for k in (0, 1)]
    return [np.stack((x, y), axis=1) for x, y in zip(*xy, strict=True)]


def smooth(points: Points, sigma: float) -> Points:
    """A line smoothed along itself; its ends stay."""
    if len(points) < 3:
        return points
    soft = cv2.GaussianBlur(points, (1, 0), 1e-3, sigmaY=sigma, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(soft, float)


def roomiest(mask: NDArray[np.bool_]) -> NDArray[np.float64]:
    """(1, 2) x, y of the place in a mask (h, w) that has the most of it around."""
    room = cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 3)[1:-1, 1:-1]
    y, x = np.unravel_index(int(room.argmax()), room.shape)
    return np.array([[x + 0.5, y + 0.5]], float)


class Tags:
    """Small labels that keep clear of each other and of the picture's border."""

    def __init__(self, picture: Canvas) -> None:
        self.picture = picture
        self.taken: list[tuple[float, float, float, float]] = []

    def add(
        self, text: str, anchors: Sequence[tuple[float, float]], kind: Type, ground: RGB
    ) -> tuple[float, float] | None:
        """Write ``text`` centred on the first free anchor; return where, None if none is free.

        ``ground`` is the colour of the plate under it, a disc for a single sign.
        """
        length = width(text, kind.size, kind.weight)
        h = 1.3 * kind.size
        w = max(length + 0.6 * kind.size, h)
        found = next((p for p in self._inside(anchors, w, h) if self._free(p, w, h)), None)
        if found is None:
            return None
        x, y = found
        self.taken.append((x - w / 2, y - h / 2, x + w / 2, y + h / 2))
        _pill(self.picture, x, y, w, h, ground)
        write(self.picture, text, x - length / 2, y + CAP_HEIGHT * kind.size / 2, kind)
        return found

    def _inside(
        self, anchors: Sequence[tuple[float, float]], w: float, h: float
    ) -> list[tuple[float, float]]:
        H, W = self.picture.shape[:2]
        left, top = min(w / 2 + 4, W / 2), min(h / 2 + 4, H / 2)
        return [(min(max(x, left), W - left), min(max(y, top), H - top)) for x, y in anchors]

    def _free(self, p: tuple[float, float], w: float, h: float) -> bool:
        x0, y0, x1, y1 = p[0] - w / 2, p[1] - h / 2, p[0] + w / 2, p[1] + h / 2
        return all(x1 < a or c < x0 or y1 < b or d < y0 for a, b, c, d in self.taken)


def _pill(picture: Canvas, x: float, y: float, w: float, h: float, colour: RGB) -> None:
    """A filled shape with round ends: a disc where it is as wide as high."""
    reach = max(0.0, (w - h) / 2)
    ends = fixed(np.array([[x - reach, y], [x + reach, y]])).tolist()
    cv2.line(picture, ends[0], ends[1], bgr(colour), max(1, round(h)), cv2.LINE_AA, SHIFT)
