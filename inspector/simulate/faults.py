"""What goes wrong on a set, or only looks as if: brought at random into a good scene."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.simulate.backdrop import face_cover
from inspector.simulate.figure import parts
from inspector.simulate.geometry import cover
from inspector.simulate.outline import trace
from inspector.simulate.scene import Scene, Spill, Spot
from inspector.simulate.zones import label
from inspector.zones import SUBJECT

DEFECTS = (
    "none", "strong-rim", "seams", "hot-centre", "tinted", "glints",
    "evenly-short", "short-corner", "sloping", "over-white", "misfire", "no-backdrop",
    "spill", "shallow-spill", "island", "bounce", "filled",
)  # fmt: skip
_SKETCH_SIDE = 720
"""Long side of the sketch on which places for spill and islands are looked for."""


def pick(names: Sequence[str], rng: np.random.Generator) -> str:
    """One of the names."""
    return names[int(rng.integers(len(names)))]


def between(rng: np.random.Generator, low: float, high: float) -> float:
    """A number drawn evenly from a range."""
    return float(rng.uniform(low, high))


def spoil(scene: Scene, defect: str, rng: np.random.Generator) -> Scene:
    """Bring one fault, or one thing that only looks like a fault, into a good scene."""
    b, light = scene.backdrop, scene.light
    if defect == "strong-rim":
        level, width = between(rng, -0.9, -0.4), between(rng, 0.0006, 0.0016)
        return replace(scene, light=replace(light, rim_ev=level, rim_width=width))
    if defect == "seams":
        return replace(scene, backdrop=replace(b, seams=4, seam_ev=between(rng, 0.1, 0.2)))
    if defect == "hot-centre":
        level, width = between(rng, 0.8, 1.6), between(rng, 0.06, 0.15)
        return replace(scene, backdrop=replace(b, hot_ev=level, hot_radius=width))
    if defect == "tinted":
        cast = float(rng.choice([-1, 1])) * between(rng, 0.03, 0.15)
        return replace(scene, backdrop=replace(b, tint_ev=cast, ev=b.ev + 0.15))
    if defect == "evenly-short":
        return _dimmed(scene, between(rng, -1.8, -0.25))
    if defect == "short-corner":
        corner = pick(("top-left", "top-right", "bottom-left", "bottom-right"), rng)
        reach, lost = between(rng, 0.12, 0.35), b.ev + between(rng, 0.3, 1.5)
        return replace(
            scene, backdrop=replace(b, corner=corner, corner_radius=reach, corner_ev=lost)
        )
    if defect == "sloping":
        lost = 2 * (b.ev + between(rng, 0.3, 1.5)) / min(b.size[0], scene.extent[0])
        slope = float(rng.choice([-1, 1])) * lost
        return replace(scene, backdrop=replace(b, slope_ev=(slope, 0.0)))
    if defect == "over-white":
        return replace(scene, backdrop=replace(b, ev=b.ev + between(rng, 0.5, 3)))
    if defect == "misfire":
        return _misfire(scene, rng)
    if defect == "no-backdrop":
        return _lit_portrait(scene, rng)
    return _spoil_subject(scene, defect, rng)


def _dimmed(scene: Scene, level: float) -> Scene:
    """The backdrop lit to a level; the light that it throws around the subject goes with it."""
    b, light = scene.backdrop, scene.light
    less = level - b.ev
    return replace(
        scene,
        backdrop=replace(b, ev=level, hot_ev=0.0),
        light=replace(light, wrap_ev=light.wrap_ev + less, rim_ev=light.rim_ev + less),
    )


def _misfire(scene: Scene, rng: np.random.Generator) -> Scene:
    """The flash did not fire: only the modelling lamps, if anything."""
    level = between(rng, -10, -6)
    light = replace(scene.light, front_ev=level - 1, wrap_ev=level - 3, rim_ev=level - 2)
    return replace(
        scene,
        backdrop=replace(scene.backdrop, ev=level, hot_ev=0.0),
        light=light,
        surround=replace(scene.surround, ev=level - 2),
    )


def _lit_portrait(scene: Scene, rng: np.random.Generator) -> Scene:
    """A lit subject before a grey or dark wall: there is no white backdrop to judge."""
    side = between(rng, -1, -0.2)
    left = bool(rng.random() < 0.5)
    return replace(
        scene,
        backdrop=replace(scene.backdrop, kind="none", ev=between(rng, -4.5, -2), seams=0),
        light=replace(
            scene.light,
            front_ev=between(rng, -3, -2),
            left_ev=side if left else None,
            right_ev=None if left else side,
            wrap_ev=-9.0,
            rim_ev=-9.0,
        ),
    )


def _spoil_subject(scene: Scene, defect: str, rng: np.random.Generator) -> Scene:
    light, filled = scene.light, defect == "filled"
    if defect in ("bounce", "filled"):
        level = between(rng, -3.4, -2.6) if filled else between(rng, -3, -1.5)
        other = level - 1.5 if filled else None
        left, right = (level, other) if rng.random() < 0.5 else (other, level)
        front = between(rng, -4.2, -3.5) if filled else -4.8
        light = replace(light, front_ev=front, left_ev=left, right_ev=right)
        return replace(scene, light=light, look="filled" if filled else "silhouette")
    if not scene.poses or defect == "none":
        return scene
    if defect in ("spill", "shallow-spill"):
        deep = (0.005, 0.025) if defect == "spill" else (0.0012, 0.0045)
        light = replace(light, spills=_spills(scene, deep, rng))
    elif defect == "island":
        light = replace(light, islands=_spots(scene, (0.009, 0.03), 1, rng))
    elif defect == "glints":
        light = replace(light, glints=_spots(scene, (0.0008, 0.0025), 4, rng))
    return replace(scene, light=light)


def _spills(scene: Scene, deep: tuple[float, float], rng: np.random.Generator) -> tuple[Spill, ...]:
    """One or two places on the outline where the subject is thick enough to be lit so deep."""
    places, thickness = _on_outline(scene)
    spills = []
    for _ in range(int(rng.integers(1, 3))):
        depth = between(rng, *deep)
        depth = min(depth, 0.5 * float(thickness.max(initial=0.0)))
        fits = places[thickness >= 2.2 * depth]
        if len(fits):
            x, y = fits[int(rng.integers(len(fits)))].tolist()
            along, level = max(2.5 * depth, between(rng, 0.02, 0.07)), between(rng, 0.1, 1.2)
            ramp = float(np.exp(between(rng, np.log(0.0033), np.log(0.033))))
            spills.append(Spill((x, y), along, level, depth, ramp, between(rng, 0.0, 0.3)))
    return tuple(spills)


def _sketch(scene: Scene) -> tuple[tuple[int, int], NDArray[np.float32]]:
    width, height = scene.extent
    size = round(width * _SKETCH_SIDE), round(height * _SKETCH_SIDE)
    shapes = [p.shape for pose in scene.poses for p in parts(pose) if not p.thin]
    return size, cover(shapes, size)


def _on_outline(scene: Scene) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(N, 2) places on the subject's outline, (N,) half its thickness there, scene units."""
    size, figure = _sketch(scene)
    outline = trace(label(figure, face_cover(scene, size)), figure, blur_px=1.0)
    inwards = outline.rays(outline.depth, np.arange(0, 0.06 * max(size), 1.0))
    thickness = inwards.max(axis=1, initial=0).astype(float)
    return outline.points / max(size), thickness / max(size)


def _spots(
    scene: Scene, radii: tuple[float, float], count: int, rng: np.random.Generator
) -> tuple[Spot, ...]:
    """Patches well inside the subject."""
    size, figure = _sketch(scene)
    inside = (label(figure, face_cover(scene, size)) == SUBJECT).astype(np.uint8)
    deep = cv2.distanceTransform(inside, cv2.DIST_L2, 5) / max(size)
    spots = []
    for _ in range(count):
        radius = between(rng, *radii)
        room = deep > 1.3 * radius + 0.006
        if not room.any():
            radius, room = radii[0], deep > 0.9 * deep.max()
        rows, columns = np.nonzero(room)
        k = int(rng.integers(len(rows)))
        spots.append(
            Spot(
                at=(float(columns[k] + 0.5) / max(size), float(rows[k] + 0.5) / max(size)),
                radii=(radius, radius * between(rng, 0.5, 1.0)),
                ev=between(rng, 0.3, 1.2),
                softness=between(rng, 0.3, 1.0),
                turn_deg=between(rng, 0, 180),
                tint_ev=between(rng, 0.0, 0.15),
            )
        )
    return tuple(spots)
