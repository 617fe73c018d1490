"""The light on the subject: dark front, bounce, wrap, rim, spill, hot islands and glints."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.levels import WHITE
from inspector.simulate.backdrop import tint
from inspector.simulate.figure import Part
from inspector.simulate.geometry import bounds, cover, smooth_noise
from inspector.simulate.scene import Light, Scene, Spill, Spot

Map = NDArray[np.float32]

_FRONT_SIDE = 1600
"""Longest side of the picture on which the front of the figure is shaded."""

_RIM_LIMIT = 0.8
"""A rim stays under white: its rendered level is held below this."""


@dataclass(frozen=True, eq=False)
class Stage:
    """Where the subject stands, at full resolution.

    ``cover`` (H, W) float32 is the figures' coverage; ``depth`` (H, W) float32 the distance
    from the visible backdrop, inwards, in pixels (0 on it).
    """

    cover: Map
    depth: Map

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) in pixels."""
        return self.cover.shape[1], self.cover.shape[0]


def stage(figure_cover: Map, face_cover: Map) -> Stage:
    """Measure how deep each pixel lies inside the subject, from the backdrop's side."""
    hidden = ((figure_cover >= 0.5) | (face_cover < 0.5)).astype(np.uint8)
    if hidden.all():
        return Stage(figure_cover, np.full(hidden.shape, 1e6, np.float32))
    depth = cv2.distanceTransform(hidden, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return Stage(figure_cover, np.maximum(depth - 0.5, 0).astype(np.float32))


def subject_light(scene: Scene, figure: tuple[Part, ...], stage: Stage) -> Map:
    """(H, W, 3) float32 rendered light of the subject's surface, 1 at the white point."""
    light, size = scene.light, stage.size
    rng = np.random.default_rng((scene.seed, 23))
    out = front(light, figure, size, rng)
    unit = max(size)
    glow = _edge_glow(light, stage, unit, rng)
    out += glow[..., None]
    for spill in light.spills:
        _add_spill(out, spill, stage, unit)
    for spot in (*light.islands, *light.glints):
        _add_spot(out, spot, unit)
    return out


def front(
    light: Light, figure: tuple[Part, ...], size: tuple[int, int], rng: np.random.Generator
) -> Map:
    """(H, W, 3) the figure's front: materials, roundness, folds, bounce from the side walls."""
    shrink = min(1.0, _FRONT_SIDE / max(size))
    small = round(size[0] * shrink), round(size[1] * shrink)
    unit = max(small)
    painted = np.full((small[1], small[0], 3), _level(light.front_ev))
    known = np.zeros(small[::-1], np.float32)
    folds = _folds(small, rng)
    for part in figure:
        rows, columns = bounds(part.shape, unit, small, unit // 60)
        here = (columns.stop - columns.start, rows.stop - rows.start)
        if min(here) <= 0:
            continue
        mask = cover([part.shape], here, unit=unit, origin=(columns.start, rows.start))
        colour = _level(part.material.ev) * tint(part.material.tint_ev)
        creases = 1 + light.folds * part.material.folds * folds[rows, columns]
        shade = _shade(light, mask) * creases
        shadow = cv2.GaussianBlur(mask, (0, 0), unit / 250)
        under = painted[rows, columns] * (1 - 0.3 * shadow * (1 - mask))[..., None]
        painted[rows, columns] = under + mask[..., None] * (shade[..., None] * colour - under)
        known[rows, columns] = np.maximum(known[rows, columns], mask)
    return _grow(painted, known, size)


def _level(ev: float) -> np.float32:
    return np.float32(2.0**ev)


def _folds(size: tuple[int, int], rng: np.random.Generator) -> Map:
    """Oblique creases, -1 to 1: waves whose course and strength wander."""
    unit = max(size)
    x = (np.arange(size[0], dtype=np.float32) / unit)[None, :]
    y = (np.arange(size[1], dtype=np.float32) / unit)[:, None]
    course = smooth_noise(size, cells=8, rng=rng)
    strength = np.clip(0.5 + 0.5 * smooth_noise(size, cells=14, rng=rng), 0, 1)
    return np.asarray(strength * np.sin(130 * y + 60 * x + 5 * course), np.float32)


def _shade(light: Light, mask: Map) -> Map:
    """Light on one rounded piece: even from the front, more on the side of a bright wall."""
    depth = cv2.distanceTransform((mask >= 0.5).astype(np.uint8), cv2.DIST_L2, 5)
    reach = max(float(depth.max()), 1.0)
    soft = max(0.45 * reach, 0.8)
    height = cv2.GaussianBlur(depth, (0, 0), soft)
    nx = -cv2.Sobel(height, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    ny = -cv2.Sobel(height, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    shade = _level(light.front_ev) * (0.9 - 0.25 * ny)
    if light.left_ev is not None:
        shade = shade + _level(light.left_ev) * np.clip(0.25 - 0.75 * nx, 0, 1)
    if light.right_ev is not None:
        shade = shade + _level(light.right_ev) * np.clip(0.25 + 0.75 * nx, 0, 1)
    if light.top_ev is not None:
        shade = shade + _level(light.top_ev) * np.clip(0.25 - 0.75 * ny, 0, 1)
    return np.asarray(shade, np.float32)


def _grow(painted: Map, known: Map, size: tuple[int, int]) -> Map:
    """Carry the colours a little beyond the outline, so that the edge's pixels find them."""
    spread = max(max(known.shape) / 400, 1.5)
    weight = cv2.GaussianBlur(known, (0, 0), spread)
    near = cv2.GaussianBlur(painted * known[..., None], (0, 0), spread)
    outside = np.where(
        weight[..., None] > 1e-3, near / np.maximum(weight, 1e-3)[..., None], painted
    )
    grown = painted * known[..., None] + outside * (1 - known[..., None])
    return np.asarray(cv2.resize(grown, size, interpolation=cv2.INTER_LINEAR), np.float32)


def _edge_glow(light: Light, stage: Stage, unit: int, rng: np.random.Generator) -> Map:
    """Wrap light and rim, both fading inwards; their strength varies along the outline."""
    uneven = 1 + 0.25 * np.tanh(smooth_noise(stage.size, cells=9, rng=rng))
    wrap = _level(light.wrap_ev) * np.exp(-stage.depth / (light.wrap_width * unit))
    rim = _level(light.rim_ev) * np.exp(-stage.depth / (light.rim_width * unit))
    return np.asarray(np.minimum((wrap + rim) * uneven, _RIM_LIMIT), np.float32)


def _add_spill(out: Map, spill: Spill, stage: Stage, unit: int) -> None:
    """White light over the outline: level, then falling through paper white at its depth.

    Along the outline ``window`` goes from 1 at the spill's middle to 0, and depth and level
    with it.
    """
    box, away = _near(stage.size, spill.at, (1.6 * spill.radius, 1.6 * spill.radius), unit, 0.0)
    here = np.clip(1.8 - 1.6 * away, 0, 1)
    window = here * here * (3 - 2 * here)
    top = 2.0**spill.ev
    fall = np.log(4) / spill.ramp
    inside = spill.depth * window - stage.depth[box] / unit
    glow = np.minimum(top, WHITE * np.exp(fall * inside - 4 * (1 - window)))
    glow *= np.minimum(1, 8 * window)
    out[box] += glow[..., None] * tint(spill.tint_ev)


def _add_spot(out: Map, spot: Spot, unit: int) -> None:
    """A patch of light with a soft border."""
    size = out.shape[1], out.shape[0]
    reach = (spot.radii[0] * 1.6, spot.radii[1] * 1.6)
    box, away = _near(size, spot.at, reach, unit, spot.turn_deg)
    away = away * 1.6
    fade = np.clip((1 + spot.softness / 2 - away) / max(spot.softness, 1e-3), 0, 1)
    patch = 2.0**spot.ev * fade * fade * (3 - 2 * fade)
    out[box] += patch[..., None] * tint(spot.tint_ev)


def _near(
    size: tuple[int, int],
    at: tuple[float, float],
    reach: tuple[float, float],
    unit: int,
    turn_deg: float,
) -> tuple[tuple[slice, slice], Map]:
    """The pixels around a place, and their distance from it in units of ``reach``."""
    far = max(reach)
    x0, x1 = (int(np.clip((at[0] + s * far) * unit, 0, size[0])) for s in (-1, 1))
    y0, y1 = (int(np.clip((at[1] + s * far) * unit, 0, size[1])) for s in (-1, 1))
    x = ((np.arange(x0, x1, dtype=np.float32) + 0.5) / unit - at[0])[None, :]
    y = ((np.arange(y0, y1, dtype=np.float32) + 0.5) / unit - at[1])[:, None]
    turn = np.deg2rad(turn_deg)
    u, v = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    return (slice(y0, y1), slice(x0, x1)), np.asarray(np.hypot(u / reach[0], v / reach[1]))
