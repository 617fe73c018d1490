"""What the drawings of the fencers are made of: materials, and pieces that repeat.

Each line is one piece: name, kind, points, material, the hindmost piece first. A ``curve`` is a
closed smooth line through its x,y points, a ``limb`` a tapering stroke through x,y,radius.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Material:
    """``ev`` darker than a white surface in the same light, ``tint_ev`` red over green."""

    ev: float
    tint_ev: float = 0.0
    folds: float = 1.0


JACKET = Material(-0.1, 0.03)
BREECHES = Material(-0.2, 0.02)
SKIN = Material(-1.0, 0.35, 0.15)
HAIR = Material(-2.6, 0.3, 1.0)
MESH = Material(-2.2, 0.0, 0.1)
BIB = Material(-0.4, 0.0)
LEATHER = Material(-1.8, 0.2, 0.4)
METAL = Material(-1.2, 0.0, 0.1)
WOOD = Material(-2.0, 0.3, 0.2)

Drawing = tuple[tuple[str, str, str, Material], ...]


def foil(hand: str, guard: str, middle: str, tip: str) -> Drawing:
    """Grip, bell guard seen edge on, and a blade that bends a little; points as x,y."""
    hx, hy = (float(v) for v in hand.split(","))
    gx, gy = (float(v) for v in guard.split(","))
    px, py = hx + 0.45 * (hx - gx), hy + 0.45 * (hy - gy)
    reach = ((gx - hx) ** 2 + (gy - hy) ** 2) ** 0.5
    nx, ny = (hy - gy) / reach * 0.03, (gx - hx) / reach * 0.03
    bx, by = gx - (gx - hx) / reach * 0.007, gy - (gy - hy) / reach * 0.007
    return (
        ("blade", "limb", f"{guard},0.0034 {middle},0.0027 {tip},0.0019", METAL),
        ("button", "limb", f"{tip},0.0032 {tip},0.0032", LEATHER),
        ("grip", "limb", f"{px},{py},0.0075 {hx},{hy},0.009 {guard},0.006", LEATHER),
        (
            "guard",
            "limb",
            f"{bx + nx},{by + ny},0.003 {gx},{gy},0.011 {bx - nx},{by - ny},0.003",
            METAL,
        ),
    )


def mirrored(drawing: Drawing) -> Drawing:
    """The same pieces on the other side."""

    def flip(points: str) -> str:
        rows = (point.split(",", 1) for point in points.split())
        return " ".join(f"{-float(x)},{rest}" for x, rest in rows)

    return tuple((name, kind, flip(points), m) for name, kind, points, m in drawing)


def placed(drawing: Drawing, dx: float, dy: float) -> Drawing:
    """The same pieces moved."""

    def shift(points: str) -> str:
        rows = (point.split(",") for point in points.split())
        return " ".join(
            ",".join((str(float(x) + dx), str(float(y) + dy), *rest)) for x, y, *rest in rows
        )

    return tuple((name, kind, shift(points), m) for name, kind, points, m in drawing)
