"""A frame in stripes that stay in the processors' caches, measured by all processors at once.

NumPy and OpenCV let go of the interpreter's lock while they calculate, so threads are enough.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import TypeVar

import cv2

from inspector.frame import Frame

T = TypeVar("T")
R = TypeVar("R")

STRIPE_BYTES = 5_000_000
"""Size of a stripe: in a cache beside what is made of it, yet far dearer than the calls on it."""


def stripes(frame: Frame, scale: int) -> list[tuple[slice, Frame]]:
    """The frame cut across: rows of the working picture, and the frame that they average.

    Each stripe starts with a whole pattern and a whole working pixel of ``scale`` sensor pixels,
    so it is a frame like any other. The last one has the rows that are left over.
    """
    height = frame.mosaic.shape[0] // scale
    unit = math.lcm(scale, frame.pattern.shape[0]) // scale
    units = STRIPE_BYTES // (unit * scale * frame.mosaic[0].nbytes)
    step = unit * max(1, units)
    starts = list(range(0, max(height - step, 0) + 1, step))
    ends = [*starts[1:], height]
    return [
        (slice(a, b), replace(frame, mosaic=frame.mosaic[a * scale : _end(b, height, scale)]))
        for a, b in zip(starts, ends, strict=True)
    ]


def at_once(function: Callable[[T], R], items: Iterable[T]) -> list[R]:
    """What the function makes of each item, by as many threads as OpenCV takes."""
    with ThreadPoolExecutor(cv2.getNumThreads()) as threads:
        return list(threads.map(function, items))


def _end(row: int, height: int, scale: int) -> int | None:
    return row * scale if row < height else None
