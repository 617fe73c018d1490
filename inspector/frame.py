"""One decoded frame: the mosaic as the sensor wrote it, and what the file says about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

A = TypeVar("A", bound=np.generic)
V = TypeVar("V")

BAYER = ("R", "G1", "G2", "B")
RGB = ("R", "G", "B")
MONO = ("L",)


@dataclass(frozen=True)
class Shot:
    """How the frame was taken, as far as the file tells; None where it does not.

    ``shutter_s`` in seconds, ``aperture_f`` the f-number, ``taken_at`` ISO 8601 local time.
    """

    camera: str | None = None
    iso: float | None = None
    shutter_s: float | None = None
    aperture_f: float | None = None
    taken_at: str | None = None


@dataclass(frozen=True, eq=False)
class Frame:
    """A raw frame in sensor orientation, an owned copy that outlives the decoder.

    Attributes
    ----------
    path : str
        The file it came from.
    mosaic : ndarray, uint16
        Raw levels before black subtraction, visible area only. (H, W) for a colour filter
        array or a monochrome sensor, (H, W, C) for a file that is already RGB.
    pattern : ndarray, uint8
        (ph, pw) index into ``channels`` of each site of the repeating tile, its origin at
        ``mosaic[0, 0]``: (2, 2) for Bayer, (6, 6) for X-Trans, (1, 1) for monochrome and RGB.
    channels : tuple of str
        ``BAYER`` (R, G1, G2, B), ``RGB`` (X-Trans and already-RGB files) or ``MONO``.
        G1 shares its rows with R, G2 with B.
    black : ndarray, float64
        (C,) raw level of no light, per channel.
    stated_clip : ndarray, float64
        (C,) raw level of saturation that the metadata states, per channel; often wrong.
    gains : ndarray, float64
        (C,) as-shot white-balance multipliers divided by the smallest of them.
    orientation : int
        The Exif orientation tag, 1 to 8 (1: as stored).
    shot : Shot
        Exposure, camera, time.
    """

    path: str
    mosaic: NDArray[np.uint16]
    pattern: NDArray[np.uint8]
    channels: tuple[str, ...]
    black: NDArray[np.float64]
    stated_clip: NDArray[np.float64]
    gains: NDArray[np.float64]
    orientation: int = 1
    shot: Shot = Shot()

    @property
    def sensor_size(self) -> tuple[int, int]:
        """(width, height) of the visible area in sensor orientation."""
        return int(self.mosaic.shape[1]), int(self.mosaic.shape[0])

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) of the picture as viewed."""
        width, height = self.sensor_size
        return (height, width) if self.orientation >= 5 else (width, height)


def four_channels(channels: tuple[str, ...], values: Sequence[V]) -> dict[str, V]:
    """A value for each of R, G1, G2, B: one green, or no colours, repeat theirs."""
    given = dict(zip(channels, values, strict=True))
    own = {name: next(c for c in (name, name[0], "L") if c in given) for name in BAYER}
    return {name: given[channel] for name, channel in own.items()}


def own_channels(channels: tuple[str, ...], four: Sequence[V]) -> list[V]:
    """Of values for R, G1, G2, B those of a frame's channels; the way back of `four_channels`."""
    return [four[BAYER.index({"G": "G1", "L": "G1"}.get(name, name))] for name in channels]


def as_viewed(array: NDArray[A], orientation: int) -> NDArray[A]:
    """Turn an (H, W, ...) array from sensor orientation to the picture as viewed (a view)."""
    a = array.swapaxes(0, 1) if orientation >= 5 else array
    if orientation in (2, 3, 6, 7):
        a = a[:, ::-1]
    if orientation in (3, 4, 7, 8):
        a = a[::-1]
    return a


def as_stored(array: NDArray[A], orientation: int) -> NDArray[A]:
    """Turn an (H, W, ...) array from the picture as viewed to sensor orientation (a view)."""
    return as_viewed(array, {6: 8, 8: 6}.get(orientation, orientation))


def to_sensor(points: NDArray[np.float64], frame: Frame) -> NDArray[np.float64]:
    """Turn (N, 2) points x, y of the picture as viewed into sensor x, y.

    Coordinates are continuous: the pixel in column i spans [i, i + 1).
    """
    width, height = frame.size
    x, y = points[..., 0], points[..., 1]
    o = frame.orientation
    if o in (2, 3, 6, 7):
        x = width - x
    if o in (3, 4, 7, 8):
        y = height - y
    return np.stack((y, x) if o >= 5 else (x, y), axis=-1)
