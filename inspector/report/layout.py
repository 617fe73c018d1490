"""Where things stand in a clip map: the picture, and beside it, never over it, the words."""

from __future__ import annotations

from dataclasses import dataclass

Rect = tuple[int, int, int, int]
"""x0, y0, x1, y1 in canvas pixels, half open."""

SIZE = (1600, 1000)
"""Width and height of every clip map, so that frames can be flipped through in place."""
MARGIN = 36
COLUMN = 420
"""Narrowest column of figures."""
STRIP = 204
"""Height under a landscape picture for the advice and the frame's name."""


@dataclass(frozen=True)
class Layout:
    """``picture``, ``column`` of verdict and figures, ``advice`` and the line of the ``name``."""

    picture: Rect
    column: Rect
    advice: Rect
    name: Rect

    @property
    def picture_size(self) -> tuple[int, int]:
        """(width, height) of the picture."""
        x0, y0, x1, y1 = self.picture
        return x1 - x0, y1 - y0


def arrange(width: int, height: int) -> Layout:
    """Lay out a frame of any shape: landscape above its advice, others beside it."""
    W, H = SIZE
    full = H - 2 * MARGIN
    beside = width * full <= height * (W - 3 * MARGIN - 560)
    room = (W - 3 * MARGIN - COLUMN, full if beside else full - STRIP)
    zoom = min(room[0] / width, room[1] / height)
    w, h = max(1, round(width * zoom)), max(1, round(height * zoom))
    x, y = MARGIN, MARGIN + (full - h) // 2 if beside else MARGIN
    picture = (x, y, x + w, y + h)
    if beside:
        left = min(x + w + MARGIN + 12, W - MARGIN - 560)
        right = min(W - MARGIN, left + 760)
        low = H - MARGIN
        name = (left, low - 34, right, low)
        return Layout(picture, (left, MARGIN, right, 690), (left, 720, right, low - 50), name)
    left = W - MARGIN - COLUMN
    low = H - MARGIN
    under = y + h + 30
    name = (x, low - 34, left - MARGIN, low)
    return Layout(picture, (left, MARGIN, W - MARGIN, low), (x, under, name[2], low - 46), name)
