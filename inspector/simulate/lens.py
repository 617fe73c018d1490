"""What the lens does to the scene's light: blur, and a weak wide veil."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.simulate.scene import Lens

_SAMPLING_SIGMA = 0.8
"""From this sigma on, a kernel of whole pixels blurs without leaving a staircase."""

_VEIL_SIDE = 96
_VEIL_SPREAD = 0.22
"""Sigma of the wide part of the veil, as a share of the long side."""


def edge_sigma(lens: Lens) -> float:
    """Sigma in pixels with which coverage is sampled: the part of the blur edges start with."""
    return min(lens.blur_px, _SAMPLING_SIGMA)


def expose(light: NDArray[np.float32], lens: Lens) -> NDArray[np.float32]:
    """Blur and veil an (H, W, C) float32 picture whose edges have ``edge_sigma``, in place."""
    kernel = blur_kernel(lens.blur_px**2 - edge_sigma(lens) ** 2)
    for c in range(light.shape[2]):
        plane = np.ascontiguousarray(light[..., c])
        veil = _wide(plane)
        blurred = cv2.sepFilter2D(plane, cv2.CV_32F, kernel, kernel, borderType=cv2.BORDER_REFLECT)
        light[..., c] = (1 - lens.veil) * blurred + lens.veil * veil
    return light


def blur_kernel(variance: float) -> NDArray[np.float64]:
    """(2 k + 1,) weights of the discrete Gaussian of a variance in square pixels.

    The sampled Gaussian is too narrow below one pixel; the discrete one has its variance
    exactly: its Fourier transform is exp(t (cos w - 1)), t the variance (Lindeberg, IEEE PAMI
    12(3), 1990).
    """
    if variance <= 0:
        return np.ones(1)
    reach = int(np.ceil(5 * variance**0.5)) + 2
    length = 4 * reach
    spectrum = np.exp(variance * (np.cos(2 * np.pi * np.arange(length // 2 + 1) / length) - 1))
    weights = np.roll(np.fft.irfft(spectrum, length), reach)[: 2 * reach + 1]
    return np.asarray(weights / weights.sum())


def _wide(plane: NDArray[np.float32]) -> NDArray[np.float32]:
    """The light that glare spreads: half of it even, half in a very wide halo."""
    height, width = plane.shape
    shrink = _VEIL_SIDE / max(height, width)
    small_size = (max(2, round(width * shrink)), max(2, round(height * shrink)))
    small = cv2.resize(plane, small_size, interpolation=cv2.INTER_AREA)
    halo = cv2.GaussianBlur(
        small, (0, 0), _VEIL_SPREAD * _VEIL_SIDE, borderType=cv2.BORDER_REPLICATE
    )
    wide = 0.5 * halo + 0.5 * small.mean()
    return np.asarray(cv2.resize(wide, (width, height), interpolation=cv2.INTER_LINEAR))
