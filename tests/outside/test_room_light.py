"""Light in a room against the books, and against rays that are traced one by one.

Configuration factors: R. Siegel and J. R. Howell, Thermal Radiation Heat Transfer (1972); J. R.
Howell's catalogue, C-13 (parallel squares). Sphere multiplier: D. G. Goebel, "Generalized
integrating-sphere theory", Applied Optics 6(1), 1967; the form M = rho / (1 - rho (1 - f)) from
memory. Lambert's law; reflectances of paint and cloth as makers' tables give them.
"""

from __future__ import annotations

from math import log2, pi

import numpy as np
import pytest
from numpy.typing import NDArray

from inspector.plan import (
    BLACK,
    FACES,
    PlanError,
    Room,
    Setup,
    irradiance,
    mean_reflectance,
    plan,
    rectangle,
    sphere_multiplier,
)

Vectors = NDArray[np.float64]
TOWARDS_Y = np.array([0.0, 1.0, 0.0])


# Configuration factors.


@pytest.mark.parametrize(
    ("metres", "stops"), [(1, -0.52), (1.5, -0.98), (2, -1.45), (3, -2.28), (4, -2.97)]
)
def test_an_element_before_a_square(metres: float, stops: float) -> None:
    # Siegel and Howell's corner formula, four times, for a 2.72 m square; worked by hand.
    side = 2.72
    lit = rectangle(
        np.array([-side / 2, 0, -side / 2]),
        np.array([0, 0, side]),
        np.array([side, 0, 0]),
        longest=0.15,
    )
    light = irradiance(np.array([[0.0, metres, 0.0]]), -TOWARDS_Y, lit).sum()
    assert log2(light) == pytest.approx(stops, abs=0.01)
    half, d = side / 2, metres
    corner = 2 * half / np.hypot(half, d) * np.arctan(half / np.hypot(half, d)) / (2 * pi)
    assert light == pytest.approx(4 * corner, rel=0.01)


@pytest.mark.parametrize(("gap", "factor"), [(1.0, 0.1998), (0.5, 0.4153)])
def test_parallel_squares(gap: float, factor: float) -> None:
    # Howell C-13: side = gap 0.1998, side = 2 gaps 0.4153.
    one, other = (
        rectangle(np.array([0, y, 0.0]), first, second, longest=0.04)
        for y, first, second in (
            (0.0, np.array([0, 0, 1.0]), np.array([1.0, 0, 0])),
            (gap, np.array([1.0, 0, 0]), np.array([0, 0, 1.0])),
        )
    )
    assert irradiance(other.at, other.normal, one).sum(axis=1).mean() == pytest.approx(
        factor, rel=0.01
    )


@pytest.mark.parametrize(("ratio", "factor"), [(1, 0.5), (2, 0.2), (3, 0.1)])
def test_on_the_axis_of_a_disc(ratio: float, factor: float) -> None:
    # F = R^2 / (R^2 + h^2) (Siegel and Howell; from memory).
    face = rectangle(
        np.array([-1, 0, -1.0]), np.array([0, 0, 2.0]), np.array([2.0, 0, 0]), longest=0.02
    )
    inside = np.hypot(face.at[:, 0], face.at[:, 2]) < 1
    light = irradiance(np.array([[0.0, ratio, 0.0]]), -TOWARDS_Y, face)[0]
    assert light[inside].sum() == pytest.approx(factor, rel=0.01)


def test_far_away_it_is_the_inverse_square() -> None:
    face = rectangle(
        np.array([-0.5, 0, -0.5]), np.array([0, 0, 1.0]), np.array([1.0, 0, 0]), longest=0.1
    )
    near, far = (
        irradiance(np.array([[0.0, d, 0.0]]), -TOWARDS_Y, face).sum() for d in (10.0, 20.0)
    )
    assert log2(near / far) == pytest.approx(2, abs=0.01)  # 2 log2(d2 / d1)
    assert near == pytest.approx(1 / (pi * 100), rel=0.01)  # Lambert: E = L A / d^2, L = M / pi


def test_behind_either_there_is_no_light() -> None:
    face = rectangle(
        np.array([-0.5, 0, -0.5]), np.array([0, 0, 1.0]), np.array([1.0, 0, 0]), longest=0.1
    )
    assert irradiance(np.array([[0.0, -1.0, 0.0]]), TOWARDS_Y, face).sum() == 0
    assert irradiance(np.array([[0.0, 1.0, 0.0]]), TOWARDS_Y, face).sum() == 0


# The sphere.


@pytest.mark.parametrize(
    ("reflectance", "openings", "multiplier"),
    [
        (0.98, 0.05, 14.203),
        (0.9, 0, 9),
        (0.8, 0, 4),
        (0.8, 0.1, 2.857),
        (0.5, 0, 1),
        (0.2, 0, 0.25),
    ],
)
def test_the_multiplier(reflectance: float, openings: float, multiplier: float) -> None:
    assert sphere_multiplier(reflectance, openings) == pytest.approx(multiplier, rel=1e-3)


def test_a_white_room_of_four_by_four_by_2_7() -> None:
    # Walls and ceiling 0.8, floor 0.2: mean 0.6723, M 2.052; walls 0.05: 0.2415 and 0.318, so
    # that black walls take 2.69 stops of the bounce. Worked by hand.
    white = Room(4, 4, 2.7, wall=0.8, ceiling=0.8, floor=0.2)
    black = Room(4, 4, 2.7, wall=0.05, ceiling=0.8, floor=0.2)
    for room, mean, multiplier in ((white, 0.6723, 2.052), (black, 0.2415, 0.318)):
        assert mean_reflectance(room) == pytest.approx(mean, abs=1e-4)
        assert sphere_multiplier(mean_reflectance(room)) == pytest.approx(multiplier, abs=2e-3)


# The whole room, by rays.


def traced(
    room: Room, setup: Setup, face: str, *, rays: int = 40_000
) -> tuple[float, dict[str, float]]:
    """Light on a small surface, and each wall's share, from rays followed back to the background.

    Each leaves at random by Lambert's cosine, is thrown back at random likewise from every wall
    it meets, and carries the walls' reflectances until it meets the background.
    """
    rng = np.random.default_rng(3)
    size = np.array([room.width, room.length, room.height])
    names = ("left", "right", "rear wall", "camera wall", "floor", "ceiling")
    paint = {"floor": room.floor, "ceiling": room.ceiling}
    reflectance = np.array([paint.get(name, room.wall) for name in names])
    across = room.width / 2 if setup.from_left is None else setup.from_left
    at = np.tile([across, setup.behind + setup.distance, setup.at_height], (rays, 1))
    way = scattered(np.tile(FACES[face], (rays, 1)), rng)
    weight, light, first = np.ones(rays), np.zeros(rays), np.zeros(rays, int)
    for bounce in range(40):
        with np.errstate(divide="ignore", invalid="ignore"):
            reach = np.where(way > 0, (size - at) / way, np.where(way < 0, -at / way, np.inf))
            to_face = (setup.behind - at[:, 1]) / way[:, 1]
        reach[reach < 1e-9] = np.inf
        axis, far = reach.argmin(axis=1), reach.min(axis=1)
        spot = at + to_face[:, None] * way
        lit = (to_face > 1e-9) & (to_face < far) & (way[:, 1] < 0)
        lit &= np.abs(spot[:, 0] - across) < setup.background[0] / 2
        lit &= np.abs(spot[:, 2] - setup.at_height) < setup.background[1] / 2
        if bounce:  # straight from the background is no spill of the room
            light += np.where(lit, weight, 0)
        weight = np.where(lit, 0, weight)
        wall = 2 * axis + (np.take_along_axis(way, axis[:, None], 1)[:, 0] > 0)
        first = wall if bounce == 0 else first
        weight = weight * reflectance[wall]
        normal = np.zeros_like(way)
        normal[np.arange(rays), axis] = np.where(wall % 2, -1.0, 1.0)
        at = np.clip(at + far[:, None] * way + 1e-7 * normal, 1e-9, size - 1e-9)
        way = scattered(normal, rng)
    total = light.mean()
    return total, {n: light[first == k].sum() / rays / total for k, n in enumerate(names)}


def scattered(normal: Vectors, rng: np.random.Generator) -> Vectors:
    """Directions about the normals (N, 3), by Lambert's cosine."""
    u, turn = rng.random(len(normal)), 2 * pi * rng.random(len(normal))
    local = np.stack((np.sqrt(u) * np.cos(turn), np.sqrt(u) * np.sin(turn), np.sqrt(1 - u)), 1)
    other = np.where(np.abs(normal[:, :1]) > 0.9, [[0.0, 1.0, 0.0]], [[1.0, 0.0, 0.0]])
    one = np.cross(normal, other)
    one /= np.linalg.norm(one, axis=1, keepdims=True)
    basis = (one, np.cross(normal, one), normal)
    return np.asarray(sum(local[:, k, None] * side for k, side in enumerate(basis)))


ROOMS = {
    "four metres wide": (Room(4, 5, 2.6), Setup()),
    "low and white": (Room(3, 4, 2.4, wall=0.9, ceiling=0.9, floor=0.5), Setup(distance=1.2)),
    "a hall, near its left wall": (
        Room(8, 10, 4, wall=0.5, ceiling=0.7, floor=0.2),
        Setup(distance=3, from_left=2),
    ),
    "black walls": (Room(4, 5, 2.6, wall=BLACK), Setup()),
}


@pytest.mark.parametrize("name", list(ROOMS))
@pytest.mark.parametrize("face", list(FACES))
def test_rays_agree_with_the_plan(name: str, face: str) -> None:
    room, setup = ROOMS[name]
    found = plan(room, setup)
    light, shares = traced(room, setup, face)
    assert found.under_ev[face] == pytest.approx(-log2(light), abs=0.5)  # rooms are no spheres
    for surface in found.surfaces:
        assert surface.shares[face] == pytest.approx(shares[surface.name], abs=0.09)


# What the plan says.


def test_shares_add_up_and_the_room_is_symmetrical() -> None:
    found = plan(Room(4, 5, 2.6), Setup())
    for face in FACES:
        assert sum(s.shares[face] for s in found.surfaces) == pytest.approx(1)
    by_name = {s.name: s for s in found.surfaces}
    assert by_name["left"].shares["left"] == pytest.approx(by_name["right"].shares["right"])
    assert by_name["left"].shares["right"] == 0


def test_a_nearer_wall_sends_more() -> None:
    near = {s.name: s for s in plan(Room(4, 5, 2.6), Setup(from_left=1.0)).surfaces}
    assert near["left"].shares["front"] > near["right"].shares["front"]


def test_black_paint_and_distance_deepen_a_silhouette() -> None:
    white, grey = plan(Room(4, 5, 2.6), Setup()), plan(Room(4, 5, 2.6, wall=0.4), Setup())
    assert white.depth_ev < grey.depth_ev < white.black_depth_ev
    assert white.depth_ev < white.flagged_depth_ev < white.black_depth_ev
    dark, light = (plan(Room(4, 5, 2.6), Setup(reflectance=r)) for r in (0.18, 0.36))
    assert dark.depth_ev == pytest.approx(light.depth_ev + 1)
    over = plan(Room(4, 5, 2.6), Setup(over_ev=1.5))
    assert over.depth_ev == pytest.approx(white.depth_ev - 1)


@pytest.mark.parametrize(
    ("room", "setup"),
    [
        (Room(4, 5, 2.6), Setup(distance=4.8)),
        (Room(4, 5, 2.6), Setup(from_left=4.5)),
        (Room(4, 5, 2.6), Setup(at_height=3)),
        (Room(4, 5, 2.6, wall=1.0), Setup()),
        (Room(0.2, 5, 2.6), Setup()),
    ],
)
def test_what_cannot_be_is_refused(room: Room, setup: Setup) -> None:
    with pytest.raises(PlanError):
        plan(room, setup)
