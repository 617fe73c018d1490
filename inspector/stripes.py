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
import numpy as np

from inspector.frame import Frame

T = TypeVar("T")
R = TypeVar("R")

STRIPE_BYTES = 5_000_000
"""Least size of a stripe: it stays in a cache, and outweighs the calls that it takes."""


def stripes(frame: Frame, scale: int) -> list[tuple[slice, Frame]]:
    """The frame cut across: rows of the working picture, and the frame that they average.

    Each stripe starts with a whole pattern and a whole working pixel of ``scale`` sensor pixels,
    so it is a frame like any other. The last one has the rows that are left over.
    """
    height = frame.mosaic.shape[0] // scale
    unit = math.lcm(scale, frame.pattern.shape[0]) // scale
    units = height // unit
    count = max(1, min(units, frame.mosaic.nbytes // STRIPE_BYTES))
    starts = [unit * (units * n // count) for n in range(count)]
    rows = map(slice, starts, [*starts[1:], height])
    parts = np.split(frame.mosaic, [scale * start for start in starts[1:]])
    return [(r, replace(frame, mosaic=part)) for r, part in zip(rows, parts, strict=True)]


def at_once(function: Callable[[T], R], items: Iterable[T]) -> list[R]:
    """What the function makes of each item, by as many threads as OpenCV takes."""
    with ThreadPoolExecutor(cv2.getNumThreads()) as threads:
        return list(threads.map(function, items))
