"""The grey proof of a frame, and where its background is short of white."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.levels import WHITE, Levels
from inspector.report.palette import BANDS, PROOF_BLACK, PROOF_BRIGHT, PROOF_WHITE, bgr
from inspector.zones import Zones

GAMMA = 0.42
"""Exponent of the proof: a development's 1/2.2, a little softer, so that a silhouette reads."""
COARSE = 3
"""Picture pixels per point of the field in which bands and contours are found."""
WHITE_EV = float(np.log2(WHITE))

_ROOT = np.arange(256) / 255.0
_TONE = np.rint(PROOF_BLACK + (PROOF_BRIGHT - PROOF_BLACK) * _ROOT ** (2 * GAMMA)).astype(np.uint8)
_BAND_COLOUR = np.array([bgr(c) for c in BANDS], np.uint8)


def grey(levels: Levels, size: tuple[int, int]) -> NDArray[np.uint8]:
    """A neutral proof, (h, w) uint8 for ``size`` (w, h): paper white is 255, all else below."""
    channels = levels.rendered.shape[2]
    mean = cv2.transform(levels.rendered, np.full((1, channels), 1 / channels, np.float32))
    light = _resize(mean, size)
    root = cv2.sqrt(np.clip(light, 0, 1, out=light))
    tone = cv2.LUT(cv2.convertScaleAbs(root, alpha=255), _TONE)
    white = cv2.convertScaleAbs(_resize(levels.white, size), alpha=PROOF_WHITE)
    return np.asarray(cv2.max(tone, white), np.uint8)


@dataclass(frozen=True, eq=False)
class Shortfall:
    """The background's stops, smoothed, on a coarse grid that covers the picture.

    ``ev`` (h, w) float32; ``cover`` (H, W) float32 in picture pixels, 1 on the backdrop;
    ``inside`` (h, w) True where the grid lies on the backdrop.
    """

    ev: NDArray[np.float32]
    cover: NDArray[np.float32]
    inside: NDArray[np.bool_]


def shortfall(levels: Levels, zones: Zones, size: tuple[int, int]) -> Shortfall:
    """Stops of the background, carried on under the fringe so that bands reach the subject."""
    grid = max(2, size[0] // COARSE), max(2, size[1] // COARSE)
    backdrop = zones.backdrop.astype(np.float32)
    known = backdrop * ~zones.fringe
    weight = _resize(known, grid)
    total = _resize(levels.ev * known, grid)
    ev = np.zeros_like(total)
    filled = np.zeros(total.shape, bool)
    for sigma in (1.2, 4.0, 16.0):  # near values first; farther ones only where there are none
        w = cv2.GaussianBlur(weight, (0, 0), sigma)
        t = cv2.GaussianBlur(total, (0, 0), sigma)
        reach = ~filled & (w > 0.02)
        np.divide(t, w, out=ev, where=reach)
        filled |= reach
    return Shortfall(ev, _resize(backdrop, size), (_resize(backdrop, grid) > 0.5) & filled)


def paint(proof: NDArray[np.uint8], short: Shortfall) -> NDArray[np.uint8]:
    """The proof with flat bands, one for each third of a stop under white, (h, w, 3) uint8."""
    picture = cv2.cvtColor(proof, cv2.COLOR_GRAY2BGR)
    h, w = proof.shape
    ev = cv2.resize(short.ev, (w, h), interpolation=cv2.INTER_LINEAR)
    index = np.clip(-ev * 3, 0, len(BANDS) - 1).astype(np.uint8)
    colour = _BAND_COLOUR[index]
    alpha = short.cover * (ev < WHITE_EV)
    return np.asarray(cv2.blendLinear(colour, picture, alpha, 1 - alpha), np.uint8)


def _resize(field: NDArray[np.float32], size: tuple[int, int]) -> NDArray[np.float32]:
    shrinks = size[0] < field.shape[1]
    how = cv2.INTER_AREA if shrinks else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(field, size, interpolation=how), np.float32)
