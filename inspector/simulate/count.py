"""Counting cells and sites on a simulated mosaic whose clip levels are known."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from inspector.frame import A, Frame
from inspector.levels import WHITE
from inspector.simulate.camera import Camera, from_viewed


def cell_fractions(frame: Frame, camera: Camera, where: NDArray[np.bool_]) -> tuple[float, float]:
    """Paper-white and blown cells of the mosaic, as fractions of the cells within ``where``."""
    turned = from_viewed(where, frame.orientation)
    ph, pw = frame.pattern.shape
    height, width = (n // s * s for n, s in zip(turned.shape, (ph, pw), strict=True))

    def cells(a: NDArray[A]) -> NDArray[A]:
        return a[:height, :width].reshape(height // ph, ph, width // pw, pw).swapaxes(1, 2)

    counted = cells(turned).all(axis=(2, 3))
    if not counted.any():
        return 0.0, 0.0
    raw = cells(frame.mosaic.astype(np.float32))[counted]
    white = np.ones(len(raw), np.bool_)
    blown = np.ones(len(raw), np.bool_)
    clip = camera.per_channel(camera.clip)
    for c, gain in enumerate(frame.gains):
        level = raw[:, frame.pattern == c].mean(axis=1)
        v = (level - frame.black[c]) / (clip[c] - frame.black[c])
        white &= v * gain >= WHITE
        blown &= v >= WHITE
    return float(white.mean()), float(blown.mean())


def saturated(frame: Frame, camera: Camera) -> NDArray[np.float64]:
    """(C,) fraction of each channel's sites at their clip level.

    Less three spreads and half a step, by which rounding may lower it.
    """
    ph, pw = frame.pattern.shape
    clip = camera.per_channel(camera.clip)
    least = 3 * camera.clip_spread + 0.5 * camera.coarse_steps
    full, total = np.zeros(len(clip)), np.zeros(len(clip))
    for row in range(ph):
        for column in range(pw):
            c = frame.pattern[row, column]
            plane = frame.mosaic[row::ph, column::pw]
            full[c] += np.count_nonzero(plane >= clip[c] - least)
            total[c] += plane.size
    return full / total
