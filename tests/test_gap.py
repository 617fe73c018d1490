"""Softboxes side by side: the gap between them is the room, not someone before them."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from numpy.typing import ArrayLike, NDArray
from plain import NOISY, blurred, disc, frame_of_light, overlap

from inspector.edge import measure_edge
from inspector.face import backdrop_face
from inspector.gap import face_without_gaps
from inspector.levels import measure_levels
from inspector.zones import BACKDROP, SUBJECT, SURROUND, find_zones

WIDTH, HEIGHT = 600, 400
BODY = disc((WIDTH, HEIGHT), (300, 260), 90)
WALL, ROOM, DARK = 2.0**0.5, 2.0**-6, 2.0**-5
Picture = NDArray[np.bool_]


def box(x0: float, y0: float, x1: float, y1: float, *, slope: float = 0.0) -> Picture:
    """(H, W) True in a rectangle whose sides lean by so many pixels to one down."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH] + 0.5
    aside = x + slope * (y - HEIGHT / 2)
    return np.asarray((aside > x0) & (aside < x1) & (y > y0) & (y < y1))


def clear_of_gaps(lit: Picture, face: Picture, unlit_ev: ArrayLike = -6.0) -> Picture:
    """(H, W) the face less its gaps, before a backdrop at white, where ``lit``."""
    ev = np.where(lit, 0, unlit_ev).astype(np.float32)
    return face_without_gaps(ev, np.zeros_like(ev), lit, face)


@pytest.mark.parametrize(
    ("slope", "wide"),
    [*product((0.0, 0.04, -0.09), (3, 6, 20, 44)), (0.16, 6), (0.16, 20)],
)
def test_a_gap_is_no_part_of_the_face_where_it_is_in_sight(slope: float, wide: int) -> None:
    """Above and below a ball; before it nothing is told."""
    gap = box(300 - wide / 2, 0, 300 + wide / 2, HEIGHT, slope=slope)
    lit = box(80, 30, 520, 370, slope=slope) & ~gap & ~BODY
    face = backdrop_face(lit)
    part = face & ~clear_of_gaps(lit, face)
    clear = gap & face & ~disc((WIDTH, HEIGHT), (300, 260), 98)
    assert part[clear].mean() > 0.9
    assert not (part & lit).any()
    assert not part[disc((WIDTH, HEIGHT), (300, 260), 80)].any()


@pytest.mark.parametrize("slope", [0.013, -0.0275, 0.0875])
def test_a_narrow_gap_that_leans_between_two_slopes_is_found(slope: float) -> None:
    """Of five pixels in 1,200 the coarse picture keeps one or two in a line."""
    y, x = np.mgrid[0 : 2 * HEIGHT, 0 : 2 * WIDTH] + 0.5
    aside = x + slope * (y - HEIGHT)
    lit = (abs(y - HEIGHT) < 340) & (abs(aside - WIDTH) < 440) & (abs(aside - WIDTH) > 2.5)
    lit &= np.hypot(x - 600, y - 520) > 180
    face = backdrop_face(lit)
    gap = face & (abs(aside - WIDTH) < 2.5) & (np.hypot(x - 600, y - 520) > 196)
    assert (face & ~clear_of_gaps(lit, face))[gap].mean() > 0.9


def test_boxes_of_different_height_have_faces_of_their_own() -> None:
    """The joint face would take in a wedge of the room beneath the shorter one."""
    lit = (box(80, 30, 290, 370) | box(310, 30, 520, 340)) & ~BODY
    face = backdrop_face(lit)
    below = box(320, 346, 480, 370)
    assert face[below].mean() > 0.4
    assert not clear_of_gaps(lit, face)[below].any()


def test_a_gap_opens_where_the_shorter_of_two_boxes_ends() -> None:
    lit = (box(80, 30, 290, 370) | box(310, 54, 520, 370)) & ~BODY
    face = backdrop_face(lit)
    gap = box(290, 60, 310, 160)
    assert face[gap].all()
    assert clear_of_gaps(lit, face)[gap].mean() < 0.1


def test_beside_a_gap_that_opens_above_the_end_of_another_may_be_hidden() -> None:
    """By itself, the second could be someone's leg."""
    hidden = box(392, 0, 412, HEIGHT)
    above = disc((WIDTH, HEIGHT), (402, 60), 60)
    lit = box(80, 30, 520, 370) & ~hidden & ~above
    gap = hidden & box(0, 150, WIDTH, 350)
    assert clear_of_gaps(lit, backdrop_face(lit))[gap].all()
    lit &= ~box(200, 0, 220, HEIGHT)
    assert clear_of_gaps(lit, backdrop_face(lit))[gap].mean() < 0.1


@pytest.mark.parametrize(
    "dark",
    [
        box(290, 60, 310, 370),
        box(290, 30, 310, 170) | box(290, 300, 310, 340),
        box(290, 300, 310, 400),
        box(290, 0, 310, 400) | box(0, 110, 600, 126),
        box(0, 110, 600, 126),
        box(290, 0, 292, 340),
    ],
    ids=[
        "a pole that ends",
        "a pole with light below",
        "a chair's leg",
        "a lattice",
        "a barre",
        "a blade held up from above",
    ],
)
def test_what_stands_before_the_backdrop_is_no_gap(dark: Picture) -> None:
    lit = box(80, 30, 520, 370) & ~dark & ~disc((WIDTH, HEIGHT), (300, 230), 60)
    face = backdrop_face(lit)
    assert (clear_of_gaps(lit, face) == face).all()


def test_without_a_face_between_its_parts_there_is_no_gap() -> None:
    lit = box(80, 30, 290, 370) | box(310, 30, 520, 370)
    assert (clear_of_gaps(lit, lit) == lit).all()


@pytest.mark.parametrize("under_ev", [0.0, 1.5])
def test_what_is_only_dim_is_no_gap(under_ev: float) -> None:
    """Sharp though it be, a fold of paper is backdrop that falls short."""
    lit = box(80, 30, 290, 370) | box(310, 30, 520, 370)
    between = box(290, 30, 310, 370)
    face = backdrop_face(lit)
    assert clear_of_gaps(lit, face, np.where(between, -under_ev, -6.0))[between].all()


def test_the_room_between_two_softboxes_raises_no_spill() -> None:
    """Their borders, further back than the subject, are not as sharp as its outline."""
    lit = box(80, 30, 290, 370) | box(310, 30, 520, 370)
    behind = blurred(np.where(lit, WALL, ROOM), 3.0)
    light = blurred(np.where(BODY, DARK, behind), 0.9)
    levels = measure_levels(frame_of_light(light, NOISY))
    zones = find_zones(levels)
    label = np.kron(zones.label, np.ones((2, 2), np.uint8))
    truth = np.where(BODY, SUBJECT, np.where(lit, BACKDROP, SURROUND)).astype(np.uint8)
    assert min(overlap(label, truth)) > 0.97
    edge = measure_edge(levels, zones, hot_spot_area=0.0002)
    assert edge.spill_fraction == 0
    assert edge.length_px == pytest.approx(2 * np.pi * 90 - 2 * 20, rel=0.08)
