"""Plain frames for the tests of the core: light given as numbers, a sensor without noise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from inspector.clip import Clip
from inspector.frame import Frame
from inspector.simulate.camera import Camera, from_viewed, photograph
from inspector.zones import BACKDROP, SUBJECT

CAMERA = Camera(
    name="Fencing hall camera",
    black=(500,) * 4,
    clip=(15000,) * 4,
    stated_clip=15000,
    red_gain=2.0,
    blue_gain=1.5,
    full_well_e=1e12,
    read_noise_e=0,
    clip_spread=0,
)
"""Without noise; black 500, clip 15000, ceiling one stop."""
NOISY = replace(CAMERA, full_well_e=50_000, read_noise_e=3, clip_spread=3)


def frame_of_light(light: ArrayLike, camera: Camera = CAMERA, *, seed: int = 1) -> Frame:
    """A frame of rendered light as viewed: one level for all channels (H, W), or (H, W, 3)."""
    levels = np.asarray(light, np.float32)
    if levels.ndim == 2:
        levels = np.repeat(levels[..., None], 3, axis=2)
    return photograph(levels, camera=camera, seed=seed, path="fencer.dng")


def held(frame: Frame, orientation: int) -> Frame:
    """The same photosites of a camera held otherwise, so that the picture as viewed is the same."""
    return replace(
        frame,
        mosaic=np.ascontiguousarray(from_viewed(frame.mosaic, orientation)),
        pattern=np.ascontiguousarray(from_viewed(frame.pattern, orientation)),
        orientation=orientation,
    )


def stated(frame: Frame) -> Clip:
    """The clip levels that the frame states, taken for measured."""
    return Clip(frame.stated_clip, np.ones(frame.stated_clip.size, bool))


def cells(levels: ArrayLike, size: int = 2) -> NDArray[np.float32]:
    """(H, W) levels, each repeated over one cell of ``size`` pixels."""
    one = np.ones((size, size), np.float32)
    return np.asarray(np.kron(np.asarray(levels, np.float32), one), np.float32)


def blurred(light: ArrayLike, sigma: float = 0.9) -> NDArray[np.float32]:
    """(H, W) light behind a lens of this blur (scipy's Gaussian)."""
    return np.asarray(ndimage.gaussian_filter(np.asarray(light, np.float64), sigma), np.float32)


def disc(size: tuple[int, int], centre: tuple[float, float], radius: float) -> NDArray[np.bool_]:
    """(H, W) True within a disc; ``size`` is (width, height), ``centre`` x, y."""
    y, x = np.mgrid[0 : size[1], 0 : size[0]] + 0.5
    return np.asarray(np.hypot(x - centre[0], y - centre[1]) < radius)


def iou(one: NDArray[np.bool_], other: NDArray[np.bool_]) -> float:
    """Intersection over union (Jaccard, 1901) of two masks; 1 where both are empty."""
    union = np.count_nonzero(one | other)
    return np.count_nonzero(one & other) / union if union else 1.0


def overlap(zones: NDArray[np.uint8], truth: NDArray[np.uint8]) -> tuple[float, float]:
    """IoU of the backdrop and of the subject of two zone maps."""
    return iou(zones == BACKDROP, truth == BACKDROP), iou(zones == SUBJECT, truth == SUBJECT)
