"""Render a scene: light on the sensor, the raw frame, and the truth about it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from inspector.frame import Frame
from inspector.simulate.backdrop import backdrop_ev, backdrop_tint, face_cover, surround_ev
from inspector.simulate.camera import Camera, photograph
from inspector.simulate.figure import Part, parts
from inspector.simulate.geometry import cover
from inspector.simulate.lens import edge_sigma, expose
from inspector.simulate.light import stage, subject_light
from inspector.simulate.scene import Scene
from inspector.simulate.truth import Truth, find_truth

MEGAPIXELS = 1.04


@dataclass(frozen=True, eq=False)
class Layers:
    """The scene's light behind the lens, as viewed, and what covers what.

    ``light`` (H, W, 3) float32 rendered red, green, blue, 1 at the white point, without noise
    or clip; ``figure``, ``strands``, ``face`` (H, W) float32 shares of each pixel.
    """

    light: NDArray[np.float32]
    figure: NDArray[np.float32]
    strands: NDArray[np.float32]
    face: NDArray[np.float32]


def render(
    scene: Scene,
    *,
    camera: Camera | None = None,
    seed: int = 0,
    ev: float = 0.0,
    by: str = "light",
    megapixels: float = MEGAPIXELS,
) -> tuple[Frame, Truth]:
    """Photograph a scene and tell the truth about it.

    Parameters
    ----------
    scene : Scene
    camera : Camera, optional
    seed : int
        Of the camera's noise; the same arguments give the same frame.
    ev : float
        Stops by which the exposure is changed.
    by : str
        ``light`` (flash power: the tags stay), ``aperture``, ``shutter`` or ``iso``.
    megapixels : float
        Size of the frame, from under 1 to over 61.
    """
    camera = (camera or Camera()).exposed(ev, by=by)
    layers = illuminate(scene, size=scene.size(megapixels), ev=ev)
    frame = photograph(layers.light, camera=camera, seed=seed, path=f"{scene.name}.dng")
    return frame, truth_of(scene, layers, frame, camera)


def shoot(
    scene: Scene,
    *,
    camera: Camera | None = None,
    seed: int = 0,
    ev: float = 0.0,
    by: str = "light",
    megapixels: float = MEGAPIXELS,
) -> Frame:
    """The frame alone, as ``render`` makes it: quicker for big frames."""
    camera = (camera or Camera()).exposed(ev, by=by)
    light = illuminate(scene, size=scene.size(megapixels), ev=ev).light
    return photograph(light, camera=camera, seed=seed, path=f"{scene.name}.dng")


def truth_of(scene: Scene, layers: Layers, frame: Frame, camera: Camera) -> Truth:
    """The truth about a frame that a camera took of a scene's light."""
    return find_truth(
        layers.light,
        frame,
        camera,
        figure_cover=layers.figure,
        strand_cover=layers.strands,
        face_cover=layers.face,
        blur_px=scene.lens.blur_px,
        look=scene.look,
        plate=scene.plate,
    )


def illuminate(scene: Scene, *, size: tuple[int, int], ev: float = 0.0) -> Layers:
    """The scene's light on a sensor of ``size`` (width, height) pixels as viewed."""
    figure = tuple(p for pose in scene.poses for p in parts(pose, seed=scene.seed))
    sharp = edge_sigma(scene.lens)
    figure_cover = cover([p.shape for p in figure if not p.thin], size, sigma=sharp)
    strand_cover = cover([p.shape for p in figure if p.thin], size, sigma=sharp)
    face = face_cover(scene, size)
    light = _behind(scene, face, size)
    if figure:
        _stand_before(light, scene, figure, figure_cover, strand_cover, face)
    light *= np.float32(2.0**ev)
    return Layers(expose(light, scene.lens), figure_cover, strand_cover, face)


def _behind(scene: Scene, face: NDArray[np.float32], size: tuple[int, int]) -> NDArray[np.float32]:
    """(H, W, 3) light of backdrop and room with nobody before them."""
    lit = np.exp2(backdrop_ev(scene, size))
    dark = np.exp2(surround_ev(scene, size))
    light = np.empty((*face.shape, 3), np.float32)
    for c, factor in enumerate(backdrop_tint(scene.backdrop)):
        light[..., c] = dark + face * (factor * lit - dark)
    return light


def _stand_before(
    light: NDArray[np.float32],
    scene: Scene,
    figure: tuple[Part, ...],
    figure_cover: NDArray[np.float32],
    strand_cover: NDArray[np.float32],
    face: NDArray[np.float32],
) -> None:
    """Put the subject's own light over what it covers, in place."""
    subject = subject_light(scene, figure, stage(figure_cover, face))
    share = np.maximum(figure_cover, strand_cover)
    for c in range(3):
        light[..., c] += share * (subject[..., c] - light[..., c])
