"""The lit white surface, and the dark room around it."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.simulate.geometry import Polygon, Shape, cover, limb, smooth_noise
from inspector.simulate.lens import edge_sigma
from inspector.simulate.scene import Backdrop, Point, Scene

_MAP_SIDE = 2048
"""Longest side of the map on which the smooth course of the light is worked out."""

_SQUARE = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], np.float32)
_SEAM_WIDTH = 0.0022
_CORNERS = {
    "top-left": (-1, -1),
    "top-right": (1, -1),
    "bottom-right": (1, 1),
    "bottom-left": (-1, 1),
}


def has_white(backdrop: Backdrop) -> bool:
    """Whether there is a surface that is meant to go paper white."""
    return backdrop.kind != "none"


def face(backdrop: Backdrop, extent: Point) -> Polygon:
    """Outline of the lit face in scene coordinates, (N, 2)."""
    cut = 1 - 1 / (1 + np.sqrt(0.5))
    octagon = [(-1 + cut, -1), (1 - cut, -1), (1, -1 + cut), (1, 1 - cut)]
    octagon += [(-x, -y) for x, y in octagon]
    local = np.array(octagon if backdrop.kind == "octagon" else _SQUARE, np.float64)
    if backdrop.kind in ("wall", "none"):
        return np.asarray((local * 1.1 + 1) / 2 * np.asarray(extent))
    seen = cv2.perspectiveTransform(local[None], _from_face(backdrop, extent))
    return np.asarray(seen[0], float)


def _from_face(backdrop: Backdrop, extent: Point) -> NDArray[np.float64]:
    """Homography from the face's own coordinates (-1 to 1) to the scene."""
    if backdrop.kind in ("wall", "none"):
        w, h = extent[0] / 2, extent[1] / 2
        return np.array([[w, 0, w], [0, h, h], [0, 0, 1.0]])
    x, y = _SQUARE[:, 0], _SQUARE[:, 1]
    grown = np.stack(
        (
            x * (1 + y * backdrop.lean[1] / 2) * backdrop.size[0] / 2,
            y * (1 + x * backdrop.lean[0] / 2) * backdrop.size[1] / 2,
        ),
        axis=1,
    )
    turn = np.deg2rad(backdrop.turn_deg)
    rotation = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    quad = (grown @ rotation + np.asarray(backdrop.centre)).astype(np.float32)
    return np.asarray(cv2.getPerspectiveTransform(_SQUARE, quad), float)


def face_cover(scene: Scene, size: tuple[int, int]) -> NDArray[np.float32]:
    """(H, W) float32, the fraction of each pixel within the face, figures not minded."""
    if not has_white(scene.backdrop):
        return np.zeros(size[::-1], np.float32)
    return cover([(face(scene.backdrop, scene.extent),)], size, sigma=edge_sigma(scene.lens))


def backdrop_ev(scene: Scene, size: tuple[int, int]) -> NDArray[np.float32]:
    """(H, W) float32 stops of the lit face in green, also where it is covered."""
    b, extent = scene.backdrop, scene.extent
    small = _map_size(size)
    x, y = _grid(small)
    to_face = np.linalg.inv(_from_face(b, extent))
    w = to_face[2, 0] * x + to_face[2, 1] * y + to_face[2, 2]
    u = (to_face[0, 0] * x + to_face[0, 1] * y + to_face[0, 2]) / w
    v = (to_face[1, 0] * x + to_face[1, 1] * y + to_face[1, 2]) / w
    peak = np.array([*(b.peak or _middle(b, extent)), 1.0])
    pu, pv, pw = to_face @ peak
    ev = b.ev - b.falloff_ev * ((u - pu / pw) ** 2 + (v - pv / pw) ** 2) / 2
    ev = ev + b.slope_ev[0] * (x - extent[0] / 2) + b.slope_ev[1] * (y - extent[1] / 2)
    ev = ev + b.hot_ev * np.exp(-((x - peak[0]) ** 2 + (y - peak[1]) ** 2) / 2 / b.hot_radius**2)
    ev = ev - _seams(b, u, v)
    if b.corner:
        ev = ev - _short_corner(b, x, y, extent)
    return np.asarray(cv2.resize(ev.astype(np.float32), size, interpolation=cv2.INTER_LINEAR))


def _middle(b: Backdrop, extent: Point) -> Point:
    return (extent[0] / 2, extent[1] / 2) if b.kind in ("wall", "none") else b.centre


def _seams(b: Backdrop, u: NDArray[np.float64], v: NDArray[np.float64]) -> NDArray[np.float64]:
    """Stops lost along the seams: upright lines, or spokes from the middle of an octagon."""
    if b.seams == 0 or b.kind in ("wall", "none"):
        return np.zeros_like(u)
    width = _SEAM_WIDTH / (min(b.size) / 2)
    if b.kind == "octagon":
        step = np.pi / b.seams
        angle = np.arctan2(v, u) + np.pi / 8
        away = np.abs((angle + step / 2) % step - step / 2) * np.hypot(u, v)
    else:
        places = np.linspace(-1, 1, b.seams + 2)[1:-1]
        away = np.min([np.abs(u - p) for p in places], axis=0)
    return np.asarray(b.seam_ev * np.exp(-((away / width) ** 2)))


def _short_corner(
    b: Backdrop, x: NDArray[np.float64], y: NDArray[np.float64], extent: Point
) -> NDArray[np.float64]:
    local = np.array([[_CORNERS[b.corner or ""]]], np.float64)
    cx, cy = cv2.perspectiveTransform(local, _from_face(b, extent))[0, 0]
    reach = ((x - cx) ** 2 + (y - cy) ** 2) / b.corner_radius**2
    return np.asarray(b.corner_ev * np.exp(-reach))


def backdrop_tint(backdrop: Backdrop) -> NDArray[np.float32]:
    """(3,) factors of red, green, blue; green stays 1."""
    return tint(backdrop.tint_ev)


def tint(ev: float) -> NDArray[np.float32]:
    """(3,) factors: red ``ev`` stops over green, blue as much under it."""
    return np.array([2.0**ev, 1.0, 2.0**-ev], np.float32)


def surround_ev(scene: Scene, size: tuple[int, int]) -> NDArray[np.float32]:
    """(H, W) float32 stops of the room beyond the face: dark, uneven, a little lighter low down.

    Without a white backdrop it is the grey wall that fills the frame.
    """
    small, extent = _map_size(size), scene.extent
    rng = np.random.default_rng((scene.seed, 11))
    _, y = _grid(small)
    if not has_white(scene.backdrop):
        wall = backdrop_ev(scene, small) + 0.04 * smooth_noise(small, cells=6, rng=rng)
        return np.asarray(cv2.resize(wall, size, interpolation=cv2.INTER_LINEAR))
    ev = scene.surround.ev + 0.25 * smooth_noise(small, cells=5, rng=rng)
    ev = ev + 0.8 * (y / extent[1] - 0.5)
    if scene.surround.stand and scene.backdrop.kind not in ("wall", "none"):
        stand = cv2.GaussianBlur(cover(_stand(scene), small), (0, 0), 1.0)
        ev = ev - 1.2 * stand
    return np.asarray(cv2.resize(ev.astype(np.float32), size, interpolation=cv2.INTER_LINEAR))


def _stand(scene: Scene) -> list[Shape]:
    """The softbox's frame and the column and two legs that carry it."""
    b, height = scene.backdrop, scene.extent[1]
    x = b.centre[0] + 0.02
    outline = face(b, scene.extent)
    border = (outline - b.centre) * 1.03 + b.centre
    return [
        (border,),
        limb([(x, b.centre[1], 0.007), (x, height * 1.02, 0.007)]),
        limb([(x, height * 0.94, 0.004), (x - 0.12, height * 1.03, 0.004)]),
        limb([(x, height * 0.94, 0.004), (x + 0.12, height * 1.03, 0.004)]),
    ]


def _map_size(size: tuple[int, int]) -> tuple[int, int]:
    shrink = min(1.0, _MAP_SIDE / max(size))
    return max(2, round(size[0] * shrink)), max(2, round(size[1] * shrink))


def _grid(size: tuple[int, int]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(1, W) x and (H, 1) y of the pixel centres, in scene units."""
    long_side = max(size)
    x = (np.arange(size[0]) + 0.5) / long_side
    y = (np.arange(size[1]) + 0.5) / long_side
    return x[None, :], y[:, None]
