"""The grey proof of a frame, and where its background is short of white."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.levels import WHITE, Levels
from inspector.report.palette import BANDS, PROOF_BLACK, PROOF_BRIGHT, PROOF_WHITE, bgr
from inspector.zones import Zones

F = TypeVar("F", np.float32, np.uint8)

GAMMA = 0.42
"""Exponent of the proof: a development's 1/2.2, a little softer, so that a silhouette reads."""
COARSE = 3
"""Picture pixels per point of the field in which bands and contours are found."""
WHITE_EV = float(np.log2(WHITE))

_ROOT = np.arange(256) / 255.0
_TONE = np.rint(PROOF_BLACK + (PROOF_BRIGHT - PROOF_BLACK) * _ROOT ** (2 * GAMMA)).astype(np.uint8)
_BAND_COLOUR = np.array([bgr(BANDS[min(k, len(BANDS) - 1)]) for k in range(256)], np.uint8)[:, None]


def grey(levels: Levels, size: tuple[int, int], *, lift_ev: float = 0.0) -> NDArray[np.uint8]:
    """A neutral proof, (h, w) uint8 for ``size`` (w, h): paper white is 255, all else below.

    ``lift_ev`` brightens it by so many stops, for a frame that would be black.
    """
    channels = levels.rendered.shape[2]
    mean = cv2.transform(levels.rendered, np.full((1, channels), 2.0**lift_ev / channels))
    root = cv2.convertScaleAbs(cv2.sqrt(np.maximum(mean, 0)), alpha=255)
    white = cv2.convertScaleAbs(levels.white, alpha=PROOF_WHITE)
    return _resize(np.asarray(cv2.max(cv2.LUT(root, _TONE), white), np.uint8), size)


@dataclass(frozen=True, eq=False)
class Shortfall:
    """The background's stops, smoothed, on a coarse grid that covers the picture.

    ``ev`` (h, w) float32; ``cover`` (H, W) uint8 in picture pixels, 255 on the backdrop;
    ``inside`` (h, w) True where the grid lies on the backdrop.
    """

    ev: NDArray[np.float32]
    cover: NDArray[np.uint8]
    inside: NDArray[np.bool_]


def shortfall(levels: Levels, zones: Zones, size: tuple[int, int]) -> Shortfall:
    """Stops of the background, carried on under the fringe so that bands reach the subject."""
    grid = max(2, size[0] // COARSE), max(2, size[1] // COARSE)
    step = max(1, zones.label.shape[1] // (2 * grid[0]))
    thin = np.s_[::step, ::step]
    backdrop = zones.backdrop.view(np.uint8)
    known = (zones.backdrop[thin] & ~zones.fringe[thin]).astype(np.float32)
    weight = _resize(known, grid)
    total = _resize(levels.ev[thin] * known, grid)
    ev = np.zeros_like(total)
    filled = np.zeros(total.shape, bool)
    for sigma in (1.2, 4.0, 16.0):  # near values first; farther ones only where there are none
        w = cv2.GaussianBlur(weight, (0, 0), sigma)
        t = cv2.GaussianBlur(total, (0, 0), sigma)
        reach = ~filled & (w > 0.02)
        np.divide(t, w, out=ev, where=reach)
        filled |= reach
    cover = _resize(backdrop * np.uint8(255), size)
    inside = (_resize(backdrop[thin], grid) > 0) & filled
    return Shortfall(ev, cover, inside)


def paint(proof: NDArray[np.uint8], short: Shortfall) -> NDArray[np.uint8]:
    """The proof with flat bands, one for each third of a stop under white, (h, w, 3) uint8."""
    picture = cv2.cvtColor(proof, cv2.COLOR_GRAY2BGR)
    h, w = proof.shape
    ev = cv2.resize(short.ev, (w, h), interpolation=cv2.INTER_LINEAR)
    index = cv2.convertScaleAbs(ev, alpha=-3, beta=-0.5)  # rounds, so this is the floor
    colour = cv2.LUT(cv2.cvtColor(index, cv2.COLOR_GRAY2BGR), _BAND_COLOUR)
    alpha = np.where(ev < WHITE_EV, short.cover, np.uint8(0)).astype(np.float32) / 255
    return np.asarray(cv2.blendLinear(colour, picture, alpha, 1 - alpha), np.uint8)


def _resize(field: NDArray[F], size: tuple[int, int]) -> NDArray[F]:
    shrinks = size[0] < field.shape[1]
    how = cv2.INTER_AREA if shrinks else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(field, size, interpolation=how), field.dtype)
