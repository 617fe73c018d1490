"""A small white room before it is hired: how much light its walls will throw on the subject.

The background is an even Lambertian face: what falls from it on a wall follows Lambert's cosines
and the inverse square, added up over small patches. What the walls send on at once is added up
the same way; all further bounces are taken as even over the room, by the multiplier of an
integrating sphere, M = rho / (1 - rho (1 - f)) (Goebel, Applied Optics 6(1), 1967): rooms are no
spheres, so that part is good to about half a stop.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import log2, pi

import numpy as np
from numpy.typing import NDArray

Vectors = NDArray[np.float64]
"""(N, 3) metres: x from the left wall, y from the wall behind the background, z from the floor."""

PATCH_M = 0.15
"""Longest side of a patch, metres."""
BLACK = 0.05
"""Reflectance of black cloth and black foam board (common practice)."""
WALLS = ("left", "right", "ceiling", "floor", "camera wall", "rear wall")
"""Surfaces of the room: walls by the picture's sides, the one behind the camera, and the one
behind the background."""
FACES = {
    "left": (-1.0, 0.0, 0.0),
    "right": (1.0, 0.0, 0.0),
    "top": (0.0, 0.0, 1.0),
    "front": (0.0, 1.0, 0.0),
}
"""Where the subject's parts face."""


class PlanError(ValueError):
    """A room that cannot be, as a sentence with the remedy."""


@dataclass(frozen=True)
class Room:
    """An empty room, metres, reflectances 0 to 1.

    ``openings`` is the part of its surface that sends nothing back: doors, windows, curtains.
    """

    width: float
    length: float
    height: float
    wall: float = 0.85
    ceiling: float = 0.85
    floor: float = 0.3
    openings: float = 0.0

    @property
    def area(self) -> float:
        """All of its surface, square metres."""
        w, d, h = self.width, self.length, self.height
        return 2 * (w * d + w * h + d * h)


@dataclass(frozen=True)
class Setup:
    """Where things stand in it, metres.

    The background is ``background`` wide and high, stands ``behind`` from the wall, its middle
    at the subject's height ``at_height``; the subject ``distance`` before it and ``from_left``
    from the left wall (the middle if None). ``reflectance`` is the subject's, ``over_ev`` by how
    many stops the background is over white.
    """

    background: tuple[float, float] = (2.7, 1.8)
    behind: float = 0.3
    distance: float = 2.0
    from_left: float | None = None
    at_height: float = 1.3
    reflectance: float = 0.36
    over_ev: float = 0.5


@dataclass(frozen=True)
class Sent:
    """One surface's part of the light on each part of the subject, and what a flag wins there."""

    name: str
    shares: dict[str, float]
    win_ev: dict[str, float]


@dataclass(frozen=True)
class Plan:
    """What a room will do.

    Attributes
    ----------
    surfaces : tuple of Sent
        The largest share on the front first.
    under_ev : dict of str to float
        Stops by which the light on a white surface facing so lies under the background.
    depth_ev : float
        The subject's front under white.
    flagged_depth_ev : float
        The same with the first surface black.
    black_depth_ev : float
        The same with all surfaces black.
    multiplier : float
        The sphere's, of the whole room.
    """

    surfaces: tuple[Sent, ...]
    under_ev: dict[str, float]
    depth_ev: float
    flagged_depth_ev: float
    black_depth_ev: float
    multiplier: float


@dataclass(frozen=True, eq=False)
class Patches:
    """Small pieces of a surface: middles (N, 3), the unit normal into the room (3,), areas (N,)."""

    at: Vectors
    normal: Vectors
    area: Vectors


def plan(room: Room, setup: Setup) -> Plan:
    """Predict the light that a room throws on the subject.

    Raises
    ------
    PlanError
        If something does not fit into the room.
    """
    _check(room, setup)
    reflectance = _reflectances(room)
    light = _light_on(room, setup, reflectance)
    total = {face: sum(light[name][face] for name in WALLS) for face in FACES}
    surfaces = []
    for name in WALLS:
        flagged = _light_on(room, setup, reflectance | {name: min(BLACK, reflectance[name])})
        then = {face: sum(flagged[n][face] for n in WALLS) for face in FACES}
        surfaces.append(
            Sent(
                name,
                {face: light[name][face] / total[face] for face in FACES},
                {face: log2(total[face] / then[face]) for face in FACES},
            )
        )
    surfaces.sort(key=lambda s: -round(s.shares["front"], 6))
    black = _light_on(room, setup, {n: min(BLACK, r) for n, r in reflectance.items()})
    depth = _depth(total["front"], setup)
    return Plan(
        surfaces=tuple(surfaces),
        under_ev={face: -log2(total[face]) for face in FACES},
        depth_ev=depth,
        flagged_depth_ev=depth + surfaces[0].win_ev["front"],
        black_depth_ev=_depth(sum(black[n]["front"] for n in WALLS), setup),
        multiplier=sphere_multiplier(mean_reflectance(room), room.openings),
    )


def sphere_multiplier(reflectance: float, openings: float = 0.0) -> float:
    """M = rho / (1 - rho (1 - f)): light after all bounces over what would fall without any."""
    return reflectance / (1 - reflectance * (1 - openings))


def mean_reflectance(room: Room) -> float:
    """Of all the room's surfaces, by their area."""
    return _mean(room, _reflectances(room))


def irradiance(at: Vectors, normal: Vectors, source: Patches) -> Vectors:
    """(M, N) light that falls on small surfaces from patches of exitance 1.

    By E = cos a cos b dA / (pi r^2), Lambert's law and the inverse square; 0 behind either.

    Parameters
    ----------
    at, normal : ndarray, float64
        (M, 3) places, metres, and (M, 3) or (3,) unit normals.
    """
    way = source.at[None] - at[:, None]
    square = np.einsum("mnk,mnk->mn", way, way)
    here = np.einsum("mnk,mk->mn", way, np.broadcast_to(normal, at.shape))
    there = -way @ source.normal
    lit = (here > 0) & (there > 0)
    # A patch seen from nearer than its own size is no point: there the inverse square would run
    # away, so the distance is held at half a patch.
    least = source.area[None] / 4
    return np.asarray(
        np.where(lit, here * there, 0) / (pi * np.maximum(square, least) ** 2) * source.area[None]
    )


def rectangle(corner: Vectors, one: Vectors, other: Vectors, *, longest: float) -> Patches:
    """A rectangle cut into patches; its normal is ``one`` x ``other``.

    Parameters
    ----------
    corner, one, other : ndarray, float64
        (3,) a corner and the two sides that leave it, metres.
    """
    counts = [max(2, int(np.ceil(np.linalg.norm(side) / longest))) for side in (one, other)]
    u, v = ((np.arange(n) + 0.5) / n for n in counts)
    at = corner + u[:, None, None] * one + v[None, :, None] * other
    cross = np.cross(one, other)
    size = float(np.linalg.norm(cross))
    number = counts[0] * counts[1]
    return Patches(at.reshape(-1, 3), cross / size, np.full(number, size / number))


def _light_on(
    room: Room, setup: Setup, reflectance: dict[str, float]
) -> dict[str, dict[str, float]]:
    """Light on each face of the subject from each surface, the background's exitance being 1."""
    lit = _background(room, setup)
    subject = np.array([[_across(room, setup), setup.behind + setup.distance, setup.at_height]])
    walls = dict(_walls(room))
    first = {n: irradiance(p.at, p.normal, lit).sum(axis=1) for n, p in walls.items()}
    sent_on = sum(float(reflectance[n] * (first[n] * walls[n].area).sum()) for n in WALLS)
    # The background sends nothing back that falls on it: it counts among the openings.
    lost = min(room.openings + float(lit.area.sum()) / room.area, 1.0)
    # What has bounced once bounces on, evenly: every wall gets this besides the first light.
    even = sent_on / room.area / (1 - _mean(room, reflectance) * (1 - lost))
    found: dict[str, dict[str, float]] = {}
    for name, wall in walls.items():
        exitance = reflectance[name] * (1 - room.openings) * (first[name] + even)
        found[name] = {
            face: float((irradiance(subject, np.array(normal), wall)[0] * exitance).sum())
            for face, normal in FACES.items()
        }
    return found


def _background(room: Room, setup: Setup) -> Patches:
    """The lit face; what is wider or higher than the room is cut."""
    wide, high = setup.background
    x0, x1 = (np.clip(_across(room, setup) + s * wide / 2, 0, room.width) for s in (-1, 1))
    z0, z1 = (np.clip(setup.at_height + s * high / 2, 0, room.height) for s in (-1, 1))
    corner = np.array([x0, setup.behind, z0])
    up, aside = np.array([0, 0, z1 - z0]), np.array([x1 - x0, 0, 0])
    return rectangle(corner, up, aside, longest=PATCH_M)


def _walls(room: Room) -> Iterator[tuple[str, Patches]]:
    """The six surfaces, their normals into the room."""
    x, y, z = np.diag([room.width, room.length, room.height])
    origin = np.zeros(3)
    sides = {
        "left": (origin, y, z),
        "right": (x, z, y),
        "ceiling": (z, y, x),
        "floor": (origin, x, y),
        "camera wall": (y, x, z),
        "rear wall": (origin, z, x),
    }
    for name in WALLS:
        yield name, rectangle(*sides[name], longest=PATCH_M)


def _reflectances(room: Room) -> dict[str, float]:
    walls = dict.fromkeys(WALLS, room.wall)
    return walls | {"ceiling": room.ceiling, "floor": room.floor}


def _mean(room: Room, reflectance: dict[str, float]) -> float:
    w, d, h = room.width, room.length, room.height
    areas = {"left": d * h, "right": d * h, "camera wall": w * h, "rear wall": w * h}
    areas |= {"ceiling": w * d, "floor": w * d}
    return sum(areas[n] * reflectance[n] for n in WALLS) / room.area


def _across(room: Room, setup: Setup) -> float:
    return room.width / 2 if setup.from_left is None else setup.from_left


def _depth(light: float, setup: Setup) -> float:
    """Stops under white: of the subject's reflectance in that light, the background over white."""
    return -log2(light * setup.reflectance) - setup.over_ev


def _check(room: Room, setup: Setup) -> None:
    if min(room.width, room.length, room.height) < 0.5:
        raise PlanError("a room is at least half a metre wide, long and high; give WxLxH in metres")
    if setup.behind + setup.distance >= room.length:
        raise PlanError(
            f"the subject would stand {setup.behind + setup.distance:g} m into a room of "
            f"{room.length:g} m; move it nearer to the background"
        )
    if not 0 < _across(room, setup) < room.width or not 0 < setup.at_height < room.height:
        raise PlanError("the subject would stand outside the room; mind --from-left and --height")
    parts = (room.wall, room.ceiling, room.floor, room.openings, setup.reflectance)
    if not all(0 <= part < 1 for part in parts) or setup.reflectance == 0:
        raise PlanError("reflectances and openings are parts of 1: 0.85 for a white wall")
