"""Fencers, drawn by ourselves as smooth vector shapes.

A pose is drawn in body units: origin between the feet (for a bust: at the middle of its lower
end), y down, one unit is the person's height, so the crown lies at y = -1.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from inspector.simulate.geometry import (
    Shape,
    closed_spline,
    ellipse,
    limb,
    move,
)
from inspector.simulate.scene import Pose


@dataclass(frozen=True)
class Material:
    """``ev`` darker than a white surface in the same light, ``tint_ev`` red over green."""

    ev: float
    tint_ev: float = 0.0
    folds: float = 1.0


JACKET = Material(-0.1, 0.03)
BREECHES = Material(-0.15, 0.02)
SKIN = Material(-1.0, 0.35, 0.2)
HAIR = Material(-2.6, 0.3, 1.0)
MESH = Material(-2.2, 0.0, 0.2)
BIB = Material(-0.4, 0.0)
LEATHER = Material(-1.8, 0.2)
METAL = Material(-1.2, 0.0, 0.1)
CLOTH = Material(-2.2, -0.05)


@dataclass(frozen=True, eq=False)
class Part:
    """One piece of a figure. ``thin`` marks loose strands (hair)."""

    name: str
    shape: Shape
    material: Material
    thin: bool = False


def parts(pose: Pose, *, seed: int = 0) -> tuple[Part, ...]:
    """The pieces of a pose in scene coordinates, the hindmost first."""
    rng = np.random.default_rng((seed, 77, len(pose.name), round(pose.at[0] * 1e4)))
    drawn = POSES[pose.name]() + _loose_hair(pose, rng)
    return tuple(
        Part(
            p.name,
            move(p.shape, scale=pose.height, mirror=pose.mirror, to=pose.at),
            p.material,
            p.thin,
        )
        for p in drawn
    )


def _foil(hand: tuple[float, float], tip: tuple[float, float]) -> tuple[Part, ...]:
    """Blade, bell guard and grip; ``hand`` is where the glove holds it."""
    h, t = np.asarray(hand), np.asarray(tip)
    along = (t - h) / np.hypot(*(t - h))
    guard, pommel, middle = h + 0.03 * along, h - 0.06 * along, h + 0.55 * (t - h)
    bend = middle + 0.006 * np.array([along[1], -along[0]])
    turn = float(np.rad2deg(np.arctan2(along[1], along[0])))
    blade = limb([(*guard, 0.0034), (*bend, 0.0026), (*t, 0.0019)])
    return (
        Part("blade", blade, METAL),
        Part("grip", limb([(*pommel, 0.008), (*guard, 0.006)]), LEATHER),
        Part(
            "guard",
            (ellipse((guard[0], guard[1]), (0.0095, 0.031), turn_deg=turn),),
            METAL,
        ),
    )


def _standing() -> tuple[Part, ...]:
    """From the front, at ease, the foil pointing to the floor."""
    return (
        *_foil((0.165, -0.485), (0.36, -0.015)),
        *_legs(),
        _torso(),
        Part(
            "left arm",
            limb(
                [
                    (-0.105, -0.79, 0.033),
                    (-0.135, -0.72, 0.034),
                    (-0.155, -0.62, 0.028),
                    (-0.165, -0.5, 0.02),
                ]
            ),
            JACKET,
        ),
        Part(
            "left hand",
            limb([(-0.166, -0.49, 0.017), (-0.167, -0.455, 0.02), (-0.158, -0.42, 0.01)]),
            SKIN,
        ),
        Part(
            "right arm",
            limb(
                [
                    (0.105, -0.79, 0.033),
                    (0.135, -0.72, 0.034),
                    (0.157, -0.62, 0.028),
                    (0.165, -0.51, 0.021),
                ]
            ),
            JACKET,
        ),
        Part("glove", limb([(0.166, -0.52, 0.024), (0.168, -0.485, 0.022)]), LEATHER),
        *_head_front(),
    )


def _akimbo() -> tuple[Part, ...]:
    """From the front, both hands on the hips: two holes that show the backdrop."""

    def arm(s: float) -> Shape:
        return limb(
            [
                (s * 0.105, -0.79, 0.034),
                (s * 0.15, -0.73, 0.034),
                (s * 0.205, -0.645, 0.027),
                (s * 0.19, -0.61, 0.025),
                (s * 0.13, -0.555, 0.021),
                (s * 0.095, -0.535, 0.018),
            ]
        )

    return (
        *_legs(),
        _torso(),
        Part("left arm", arm(-1), JACKET),
        Part("right arm", arm(1), JACKET),
        Part("left hand", limb([(-0.1, -0.54, 0.018), (-0.075, -0.52, 0.014)]), SKIN),
        Part("right hand", limb([(0.1, -0.54, 0.018), (0.075, -0.52, 0.014)]), LEATHER),
        *_head_front(),
    )


def _torso() -> Part:
    half = [
        (0.03, -0.842),
        (0.06, -0.828),
        (0.1, -0.812),
        (0.118, -0.785),
        (0.112, -0.73),
        (0.098, -0.66),
        (0.088, -0.6),
        (0.092, -0.54),
        (0.1, -0.49),
        (0.085, -0.45),
    ]
    outline = half + [(-x, y) for x, y in reversed(half)]
    return Part("torso", (closed_spline(outline),), JACKET)


def _legs() -> tuple[Part, ...]:
    def leg(s: float) -> tuple[Part, ...]:
        return (
            Part(
                "breeches",
                limb([(s * 0.048, -0.5, 0.05), (s * 0.06, -0.4, 0.05), (s * 0.068, -0.27, 0.036)]),
                BREECHES,
            ),
            Part(
                "stocking",
                limb(
                    [
                        (s * 0.068, -0.27, 0.034),
                        (s * 0.077, -0.2, 0.034),
                        (s * 0.078, -0.1, 0.024),
                        (s * 0.078, -0.05, 0.019),
                    ]
                ),
                JACKET,
            ),
            Part("shoe", limb([(s * 0.078, -0.03, 0.022), (s * 0.1, -0.014, 0.016)]), LEATHER),
        )

    return leg(-1) + leg(1)


def _head_front() -> tuple[Part, ...]:
    return (
        Part("neck", limb([(0, -0.87, 0.028), (0, -0.82, 0.034)]), SKIN),
        Part("hair", (ellipse((0, -0.945), (0.05, 0.058)),), HAIR),
        Part("bun", (ellipse((0.006, -1.0), (0.022, 0.02)),), HAIR),
        Part(
            "face",
            (
                closed_spline(
                    [
                        (0, -0.995),
                        (0.036, -0.975),
                        (0.044, -0.93),
                        (0.038, -0.89),
                        (0.016, -0.858),
                        (-0.016, -0.858),
                        (-0.038, -0.89),
                        (-0.044, -0.93),
                        (-0.036, -0.975),
                    ]
                ),
            ),
            SKIN,
        ),
        Part(
            "fringe",
            (
                closed_spline(
                    [
                        (0, -1.005),
                        (0.045, -0.985),
                        (0.05, -0.93),
                        (0.036, -0.955),
                        (0.0, -0.968),
                        (-0.036, -0.955),
                        (-0.05, -0.93),
                        (-0.045, -0.985),
                    ]
                ),
            ),
            HAIR,
        ),
    )


def _lunge() -> tuple[Part, ...]:
    """From the side, a full lunge to the right with the foil arm straight."""
    return (
        Part(
            "rear arm",
            limb(
                [
                    (-0.085, -0.63, 0.03),
                    (-0.17, -0.57, 0.028),
                    (-0.25, -0.5, 0.024),
                    (-0.35, -0.43, 0.018),
                ]
            ),
            JACKET,
        ),
        Part("rear hand", limb([(-0.36, -0.425, 0.016), (-0.4, -0.41, 0.012)]), SKIN),
        Part(
            "rear breeches",
            limb([(-0.07, -0.38, 0.055), (-0.17, -0.29, 0.05), (-0.26, -0.2, 0.037)]),
            BREECHES,
        ),
        Part(
            "rear stocking",
            limb([(-0.26, -0.2, 0.035), (-0.34, -0.135, 0.033), (-0.44, -0.045, 0.02)]),
            JACKET,
        ),
        Part(
            "rear shoe",
            limb([(-0.455, -0.03, 0.02), (-0.44, -0.017, 0.017), (-0.4, -0.014, 0.013)]),
            LEATHER,
        ),
        Part(
            "front breeches",
            limb([(0.0, -0.37, 0.058), (0.1, -0.34, 0.054), (0.21, -0.285, 0.043)]),
            BREECHES,
        ),
        Part(
            "front stocking",
            limb(
                [
                    (0.215, -0.28, 0.04),
                    (0.22, -0.19, 0.036),
                    (0.225, -0.1, 0.026),
                    (0.23, -0.045, 0.021),
                ]
            ),
            JACKET,
        ),
        Part(
            "front shoe",
            limb([(0.225, -0.03, 0.022), (0.25, -0.018, 0.018), (0.3, -0.012, 0.012)]),
            LEATHER,
        ),
        *_foil((0.41, -0.69), (0.93, -0.735)),
        Part(
            "torso",
            (
                closed_spline(
                    [
                        (0.005, -0.7),
                        (0.05, -0.68),
                        (0.085, -0.63),
                        (0.08, -0.55),
                        (0.06, -0.46),
                        (0.06, -0.39),
                        (0.03, -0.33),
                        (-0.05, -0.32),
                        (-0.115, -0.35),
                        (-0.115, -0.42),
                        (-0.095, -0.5),
                        (-0.115, -0.58),
                        (-0.105, -0.65),
                        (-0.06, -0.69),
                    ]
                ),
            ),
            JACKET,
        ),
        Part(
            "front arm",
            limb(
                [
                    (0.04, -0.635, 0.037),
                    (0.14, -0.655, 0.033),
                    (0.23, -0.665, 0.028),
                    (0.37, -0.683, 0.02),
                ]
            ),
            JACKET,
        ),
        Part(
            "glove",
            limb([(0.31, -0.675, 0.0255), (0.36, -0.684, 0.023), (0.41, -0.69, 0.022)]),
            LEATHER,
        ),
        *_mask_side((0.03, -0.765)),
    )


def _mask_side(at: tuple[float, float]) -> tuple[Part, ...]:
    """A masked head seen from the side, looking right."""
    x, y = at

    def place(points: list[tuple[float, float]]) -> Shape:
        return (closed_spline([(x + px, y + py) for px, py in points]),)

    return (
        Part(
            "head",
            place(
                [
                    (-0.055, -0.02),
                    (-0.04, -0.062),
                    (0.005, -0.073),
                    (0.035, -0.05),
                    (0.03, 0.03),
                    (0.0, 0.075),
                    (-0.045, 0.07),
                    (-0.05, 0.03),
                ]
            ),
            HAIR,
        ),
        Part(
            "bib",
            place(
                [
                    (0.068, 0.035),
                    (0.06, 0.075),
                    (0.03, 0.1),
                    (-0.015, 0.09),
                    (-0.025, 0.05),
                    (0.02, 0.04),
                ]
            ),
            BIB,
        ),
        Part(
            "mesh",
            place(
                [
                    (-0.03, -0.075),
                    (0.02, -0.082),
                    (0.062, -0.055),
                    (0.078, -0.005),
                    (0.068, 0.045),
                    (0.03, 0.055),
                    (-0.02, 0.05),
                    (-0.025, 0.0),
                ]
            ),
            MESH,
        ),
    )


def _en_garde() -> tuple[Part, ...]:
    """From the side, knees bent, foil before the body, rear hand up."""
    return (
        Part(
            "rear arm",
            limb(
                [
                    (-0.07, -0.735, 0.032),
                    (-0.15, -0.74, 0.028),
                    (-0.2, -0.76, 0.025),
                    (-0.215, -0.83, 0.021),
                    (-0.205, -0.89, 0.017),
                ]
            ),
            JACKET,
        ),
        Part("rear hand", limb([(-0.203, -0.9, 0.015), (-0.18, -0.94, 0.009)]), SKIN),
        Part(
            "rear breeches",
            limb([(-0.035, -0.47, 0.056), (-0.11, -0.38, 0.05), (-0.175, -0.28, 0.037)]),
            BREECHES,
        ),
        Part(
            "rear stocking",
            limb([(-0.175, -0.28, 0.036), (-0.18, -0.19, 0.034), (-0.19, -0.05, 0.02)]),
            JACKET,
        ),
        Part("rear shoe", limb([(-0.2, -0.025, 0.02), (-0.15, -0.015, 0.014)]), LEATHER),
        Part(
            "front breeches",
            limb([(0.02, -0.47, 0.056), (0.1, -0.4, 0.052), (0.175, -0.31, 0.039)]),
            BREECHES,
        ),
        Part(
            "front stocking",
            limb([(0.175, -0.3, 0.037), (0.175, -0.21, 0.036), (0.165, -0.05, 0.02)]),
            JACKET,
        ),
        Part("front shoe", limb([(0.16, -0.028, 0.02), (0.235, -0.013, 0.012)]), LEATHER),
        *_foil((0.275, -0.63), (0.76, -0.76)),
        Part(
            "torso",
            (
                closed_spline(
                    [
                        (0.0, -0.83),
                        (0.045, -0.81),
                        (0.08, -0.75),
                        (0.075, -0.66),
                        (0.06, -0.56),
                        (0.062, -0.47),
                        (0.03, -0.42),
                        (-0.05, -0.42),
                        (-0.095, -0.46),
                        (-0.085, -0.57),
                        (-0.1, -0.67),
                        (-0.1, -0.76),
                        (-0.06, -0.815),
                    ]
                ),
            ),
            JACKET,
        ),
        Part(
            "front arm",
            limb(
                [
                    (0.03, -0.755, 0.037),
                    (0.1, -0.67, 0.033),
                    (0.145, -0.61, 0.029),
                    (0.24, -0.625, 0.021),
                ]
            ),
            JACKET,
        ),
        Part("glove", limb([(0.2, -0.618, 0.024), (0.275, -0.63, 0.022)]), LEATHER),
        *_mask_side((0.015, -0.905)),
    )


def _profile() -> tuple[Part, ...]:
    """Waist up in profile, looking right, bare-headed; the origin lies at the hip."""
    jacket = [
        (-0.045, -0.4),
        (-0.09, -0.375),
        (-0.135, -0.3),
        (-0.14, -0.2),
        (-0.12, -0.08),
        (-0.125, 0.06),
        (0.09, 0.06),
        (0.1, -0.05),
        (0.118, -0.17),
        (0.115, -0.25),
        (0.085, -0.33),
        (0.045, -0.385),
        (0.012, -0.42),
        (-0.02, -0.425),
    ]
    return (
        Part(
            "hair",
            (
                closed_spline(
                    [
                        (0.04, -0.597),
                        (0.0, -0.613),
                        (-0.045, -0.6),
                        (-0.073, -0.555),
                        (-0.067, -0.505),
                        (-0.04, -0.475),
                        (0.0, -0.49),
                        (0.035, -0.55),
                    ]
                ),
            ),
            HAIR,
        ),
        Part("bun", (ellipse((-0.088, -0.545), (0.032, 0.029), turn_deg=-20),), HAIR),
        Part(
            "neck",
            (
                closed_spline(
                    [
                        (-0.052, -0.5),
                        (-0.055, -0.44),
                        (-0.08, -0.37),
                        (0.03, -0.36),
                        (0.03, -0.42),
                        (0.035, -0.455),
                        (0.0, -0.5),
                    ]
                ),
            ),
            SKIN,
        ),
        Part(
            "face",
            (
                closed_spline(
                    [
                        (0.02, -0.6),
                        (0.047, -0.585),
                        (0.058, -0.56),
                        (0.0595, -0.545),
                        (0.061, -0.534),
                        (0.07, -0.517),
                        (0.0805, -0.503),
                        (0.077, -0.496),
                        (0.0655, -0.4945),
                        (0.065, -0.488),
                        (0.0715, -0.482),
                        (0.0675, -0.4755),
                        (0.0705, -0.468),
                        (0.0635, -0.461),
                        (0.066, -0.45),
                        (0.063, -0.437),
                        (0.05, -0.43),
                        (0.03, -0.437),
                        (-0.01, -0.46),
                        (-0.03, -0.5),
                        (-0.02, -0.56),
                    ],
                    steps=8,
                ),
            ),
            SKIN,
        ),
        Part("jacket", (closed_spline(jacket),), JACKET),
        Part(
            "collar",
            limb([(-0.05, -0.405, 0.022), (-0.01, -0.397, 0.024), (0.03, -0.405, 0.018)]),
            JACKET,
        ),
        Part(
            "arm",
            limb(
                [
                    (-0.03, -0.325, 0.06),
                    (-0.045, -0.2, 0.055),
                    (-0.04, -0.08, 0.047),
                    (0.0, 0.06, 0.043),
                ]
            ),
            JACKET,
        ),
    )


def _masked() -> tuple[Part, ...]:
    """Head and shoulders from the front with the mask on; the origin lies at the chest."""
    body = [(0.055, -0.2), (0.1, -0.18), (0.165, -0.145), (0.19, -0.08), (0.2, 0.02), (0.21, 0.16)]
    jacket = body + [(-x, y) for x, y in reversed(body)]
    bib = [(0.06, -0.25), (0.075, -0.19), (0.05, -0.125), (0, -0.1)]
    mesh = [
        (0.0, -0.425),
        (0.05, -0.41),
        (0.076, -0.36),
        (0.076, -0.29),
        (0.055, -0.235),
        (0.0, -0.21),
    ]
    return (
        Part("neck", limb([(0, -0.25, 0.05), (0, -0.17, 0.06)]), SKIN),
        Part("jacket", (closed_spline(jacket),), JACKET),
        Part("bib", (closed_spline([*bib, *((-x, y) for x, y in reversed(bib[:-1]))]),), BIB),
        Part("mask", (closed_spline([*mesh, *((-x, y) for x, y in reversed(mesh[1:-1]))]),), MESH),
        Part("tongue", limb([(0, -0.425, 0.012), (0, -0.437, 0.012)]), CLOTH),
    )


def _chair() -> tuple[Part, ...]:
    """A wooden chair from the side, its back to the left."""
    return (
        Part(
            "legs",
            limb([(-0.11, 0.0, 0.008), (-0.1, -0.26, 0.01)])
            + limb([(0.11, 0.0, 0.008), (0.105, -0.26, 0.01)])
            + limb([(-0.105, -0.1, 0.006), (0.108, -0.1, 0.006)]),
            CLOTH,
        ),
        Part("seat", limb([(-0.11, -0.265, 0.013), (0.12, -0.265, 0.013)]), CLOTH),
        Part(
            "back",
            limb([(-0.1, -0.26, 0.01), (-0.125, -0.54, 0.009)])
            + limb([(-0.123, -0.52, 0.017), (-0.118, -0.44, 0.017)])
            + limb([(-0.113, -0.37, 0.012), (-0.11, -0.34, 0.012)]),
            CLOTH,
        ),
    )


POSES: dict[str, Callable[[], tuple[Part, ...]]] = {
    "standing": _standing,
    "akimbo": _akimbo,
    "lunge": _lunge,
    "en-garde": _en_garde,
    "profile": _profile,
    "masked": _masked,
    "chair": _chair,
}

_HAIR_ROOTS = {
    "standing": ((0.0, -0.95), 0.05),
    "akimbo": ((0.0, -0.95), 0.05),
    "profile": ((-0.03, -0.55), 0.06),
}


def _loose_hair(pose: Pose, rng: np.random.Generator) -> tuple[Part, ...]:
    """Single strands that leave the head and curl; each thinner than a thousandth of the body."""
    if pose.name not in _HAIR_ROOTS or pose.hair == 0:
        return ()
    (x, y), reach = _HAIR_ROOTS[pose.name]
    strands: Shape = ()
    for _ in range(pose.hair):
        angle = rng.uniform(-2.9, -0.4) if pose.name != "profile" else rng.uniform(-4.0, -1.4)
        out = np.array([np.cos(angle), np.sin(angle)])
        side = np.array([-out[1], out[0]]) * rng.normal(0, 0.5)
        root, length = np.array([x, y]) + 0.85 * reach * out, reach * rng.uniform(0.3, 0.8)
        middle, end = root + 0.6 * length * out, root + length * (out + side)
        strands += limb([(*root, 0.0006), (*middle, 0.0004), (*end, 0.0002)])
    return (Part("loose hair", strands, HAIR, thin=True),)
