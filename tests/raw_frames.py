"""Frames of a made-up camera, and DNG files that the project's own writer would not write."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import tifffile
from numpy.typing import NDArray
from skimage import data

from inspector.frame import BAYER, MONO, RGB, Frame, Shot
from inspector.simulate.camera import PATTERNS

ORDERS = ("RGGB", "BGGR", "GRBG", "GBRG")
SHOT = Shot("Fencing hall camera", 100.0, 1 / 125, 8.0, "2024-05-03T19:20:11")


def frame_of(
    pattern: str = "RGGB",
    *,
    mosaic: NDArray[np.uint16] | None = None,
    size: tuple[int, int] = (48, 66),
    black: float | tuple[float, ...] = 512,
    clip: float = 16000,
    orientation: int = 1,
) -> Frame:
    """A frame of random levels; `pattern` is a Bayer order, X-Trans, mono or rgb."""
    channels = {"X-Trans": RGB, "rgb": RGB, "mono": MONO}.get(pattern, BAYER)
    count = len(channels)
    if mosaic is None:
        shape = (*size, 3) if pattern == "rgb" else size
        mosaic = np.random.default_rng(7).integers(0, 1 << 14, shape, dtype=np.uint16)
    return Frame(
        path="",
        mosaic=mosaic,
        pattern=np.array(PATTERNS.get(pattern, ((0,),)), np.uint8),
        channels=channels,
        black=np.broadcast_to(np.asarray(black, np.float64), count).copy(),
        stated_clip=np.full(count, float(clip)),
        gains={BAYER: np.array([2, 1, 1, 1.5]), RGB: np.array([2, 1, 1.5])}.get(
            channels, np.ones(1)
        ),
        orientation=orientation,
        shot=SHOT,
    )


def photograph() -> NDArray[np.uint16]:
    """(512, 512, 3): `astronaut` of scikit-image's wheel (NASA, public domain) as 14-bit levels.

    Its 8-bit levels stand for linear ones; no frame with a white backdrop.
    """
    picture: NDArray[np.uint8] = data.astronaut()  # type: ignore[no-untyped-call]
    return picture.astype(np.uint16) * 60 + 512


def bare_dng(path: Path, pixels: NDArray[np.uint16], tags: dict[int, Any] | None = None) -> None:
    """A DNG with the fewest tags that LibRaw wants, and those given as code: (type, n, value)."""
    every = {
        33421: (3, 2, (2, 2)),
        33422: (1, 4, bytes((0, 1, 1, 2))),
        50706: (1, 4, bytes((1, 4, 0, 0))),
        50708: (2, 0, b"Bare camera"),
        **(tags or {}),
    }
    extra = [(code, *tag, True) for code, tag in sorted(every.items())]
    tifffile.imwrite(path, pixels, photometric=32803, metadata=None, extratags=extra)
