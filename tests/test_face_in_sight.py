"""The face of paper that flares on the floor, on masks given as numbers.

Invented shapes: no published figures of such masks are known to us.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import disc

from inspector.face import backdrop_face
from inspector.face_in_sight import without_room_beside

SIZE = WIDTH, HEIGHT = 400, 300
Y, X = np.mgrid[0:HEIGHT, 0:WIDTH] + 0.5

Picture = NDArray[np.bool_]


def sweep(*, lean: float = 0.0) -> Picture:
    """Hung paper, which widens where it lies on the floor."""
    aside = np.where(Y < 220, 70, 70 - 1.6 * (Y - 220)) + lean * Y
    return np.asarray((aside <= X) & (WIDTH - aside + 2 * lean * Y > X))


def box(x0: int, y0: int, x1: int, y1: int) -> Picture:
    return np.asarray((x0 < X) & (x1 > X) & (y0 < Y) & (y1 > Y))


def clear(lit: Picture, dark: Picture | None = None) -> Picture:
    return without_room_beside(lit, backdrop_face(lit), ~lit if dark is None else dark)


@pytest.mark.parametrize("lean", [-0.1, 0.0, 0.07])
@pytest.mark.parametrize("arm", [False, True])
def test_beside_paper_that_flares_on_the_floor_is_room(lean: float, arm: bool) -> None:
    paper = sweep(lean=lean)
    someone = disc(SIZE, (200, 200), 50)
    if arm:
        someone |= box(60, 170, 200, 186)
    lit = paper & ~someone
    room = ~paper & (Y < 210)
    assert backdrop_face(lit)[room].mean() > 0.9
    assert not clear(lit)[room].any()
    assert clear(lit)[paper].mean() > 0.998


def test_someone_who_comes_in_from_the_side_is_no_room() -> None:
    someone = disc(SIZE, (0, 120), 90) | box(0, 120, 60, 230)
    lit = ~someone
    face = backdrop_face(lit)
    assert (clear(lit) == face).all()


def test_a_box_without_a_foot_has_no_room_beside_it() -> None:
    lit = box(60, 0, 340, 240) & ~disc(SIZE, (60, 150), 50)
    face = backdrop_face(lit)
    assert (clear(lit) == face).all()


def test_an_arm_that_leaves_the_picture_above_and_at_the_side_is_no_room() -> None:
    """Its upper side is straight, too, and the background shows below its lower one."""
    arm = (X < 17 + 0.2 * Y) & (X > 0.2 * Y - 35)
    lit = ~arm & ~disc(SIZE, (200, 260), 90)
    face = backdrop_face(lit)
    assert (clear(lit) == face).all()


def test_a_panel_that_is_only_dim_is_no_room() -> None:
    lit = ~box(330, 0, 400, 200)
    face = backdrop_face(lit)
    assert not clear(lit)[~lit].any()
    assert (clear(lit, dark=np.zeros_like(lit)) == face).all()
