"""Fencers, drawn by ourselves as smooth vector shapes.

A pose is drawn in body units: origin between the feet (for a bust: at the middle of its lower
end), y down, one unit is the person's height, so the crown of one who stands lies at y = -1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspector.simulate.geometry import Shape, closed_spline, limb, move
from inspector.simulate.pieces import HAIR, Material
from inspector.simulate.poses import DRAWINGS, HAIR_ROOTS
from inspector.simulate.scene import Pose


@dataclass(frozen=True, eq=False)
class Part:
    """One piece of a figure. ``thin`` marks loose strands of hair."""

    name: str
    shape: Shape
    material: Material
    thin: bool = False


def parts(pose: Pose, *, seed: int = 0) -> tuple[Part, ...]:
    """The pieces of a pose in scene coordinates, the hindmost first."""
    rng = np.random.default_rng((seed, 77, len(pose.name), round(pose.at[0] * 1e4) % 2**31))
    drawn = [Part(n, _shape(kind, points), m) for n, kind, points, m in DRAWINGS[pose.name]]
    return tuple(
        Part(
            p.name,
            move(p.shape, scale=pose.height, mirror=pose.mirror, to=pose.at),
            p.material,
            p.thin,
        )
        for p in [*drawn, *_loose_hair(pose, rng)]
    )


def _shape(kind: str, points: str) -> Shape:
    rows = [tuple(float(v) for v in point.split(",")) for point in points.split()]
    return (closed_spline(rows),) if kind == "curve" else limb(rows)


def _loose_hair(pose: Pose, rng: np.random.Generator) -> list[Part]:
    """Single strands that leave the head and curl; each about a thousandth of the body thick."""
    if pose.name not in HAIR_ROOTS:
        return []
    x, y, reach, first, last = HAIR_ROOTS[pose.name]
    strands: Shape = ()
    for _ in range(pose.hair):
        angle = rng.uniform(first, last)
        out = np.array([np.cos(angle), np.sin(angle)])
        side = np.array([-out[1], out[0]]) * rng.normal(0, 0.7)
        root, length = np.array([x, y]) + 0.9 * reach * out, reach * rng.uniform(0.25, 0.75)
        middle, end = root + 0.6 * length * out, root + length * (out + side)
        strands += limb([(*root, 0.0005), (*middle, 0.0004), (*end, 0.0002)])
    return [Part("loose hair", strands, HAIR, thin=True)] if strands else []
