"""The face of the backdrop, also where it is covered: shapes drawn by scikit-image."""

from __future__ import annotations

from math import cos, pi, sin, tau

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import iou
from skimage.draw import ellipse, polygon

from inspector.face import backdrop_face, slivers

SIZE = (600, 400)
"""Width and height of the picture."""
Mask = NDArray[np.bool_]


def many_sided(corners: int, *, squeeze: float = 1.0, lean: float = 0.0) -> Mask:
    """A regular polygon, squeezed from side to side as if seen at an angle, and leaning."""
    at = [lean + (k + 0.5) * tau / corners for k in range(corners)]
    x = [300 + 160 * squeeze * cos(a) for a in at]
    y = [200 + 160 * sin(a) for a in at]
    return filled(x, y)


def filled(x: list[float], y: list[float]) -> Mask:
    mask = np.zeros(SIZE[::-1], bool)
    mask[polygon(y, x, mask.shape)] = True  # type: ignore[no-untyped-call]
    return mask


def behind(face: Mask, *, below: int, left: int, right: int) -> Mask:
    """What of a face is visible over the shoulders of someone who covers its foot."""
    seen = face.copy()
    x = np.arange(SIZE[0])[None, :]
    y = np.arange(SIZE[1])[:, None]
    seen[(x >= left) & (x < right) & (y >= below)] = False
    return seen


@pytest.mark.parametrize("corners", [6, 8, 12])
@pytest.mark.parametrize("squeeze", [0.8, 1.0])
@pytest.mark.parametrize("lean", [0.0, 0.07])
def test_the_hidden_foot_of_a_many_sided_face_is_told_by_its_head(
    corners: int, squeeze: float, lean: float
) -> None:
    face = many_sided(corners, squeeze=squeeze, lean=lean)
    half = round(120 * squeeze)
    seen = behind(face, below=275, left=300 - half, right=300 + half)
    assert iou(face, seen) < 0.9
    assert iou(backdrop_face(seen), face) > 0.97


def test_the_hidden_foot_of_a_round_face_is_told_by_its_head() -> None:
    face = np.zeros(SIZE[::-1], bool)
    face[ellipse(200, 300, 150, 180, shape=face.shape)] = True  # type: ignore[no-untyped-call]
    seen = behind(face, below=270, left=150, right=450)
    assert iou(backdrop_face(seen), face) > 0.97


@pytest.mark.parametrize("corners", [4, 8])
def test_a_face_in_full_sight_is_itself(corners: int) -> None:
    face = many_sided(corners)
    assert iou(backdrop_face(face), face) > 0.98


def test_a_rectangle_ends_at_the_corners_in_sight() -> None:
    """Both lower corners show beside the body: the side between them is the face's own."""
    face = filled([150, 450, 450, 150], [30, 30, 330, 330])
    seen = behind(face, below=150, left=190, right=410)
    assert iou(backdrop_face(seen), face) > 0.99


def test_a_strip_whose_foot_is_hidden_runs_on() -> None:
    """It leaves the picture above; a wedge beside the body is not its foot."""
    face = filled([250, 350, 350, 250], [-50, -50, 450, 450])
    x = np.arange(SIZE[0])[None, :]
    y = np.arange(SIZE[1])[:, None]
    body = (y > 120) & ((x < 325 + 0.2 * (y - 120)) | (y > 225))
    assert iou(backdrop_face(face & ~body), face) > 0.97


@pytest.mark.parametrize("slope", [0.25, 0.3])
def test_a_strip_that_ends_behind_sloping_shoulders_runs_on(slope: float) -> None:
    """On both sides of the neck the backdrop goes along the shoulders, nearly level for a while."""
    strip = filled([220.0, 380.0, 380.0, 220.0], [-1.0, -1.0, 400.0, 400.0])
    x, y = np.arange(SIZE[0])[None, :], np.arange(SIZE[1])[:, None]
    off = np.abs(x - 300)
    seen = strip & (y < 200 - slope * (80 - off)) & ((off > 30) | (y < 80))
    assert iou(backdrop_face(seen), strip) > 0.98


def test_a_foot_in_sight_on_both_sides_of_the_legs_ends_the_face() -> None:
    strip = filled([220.0, 380.0, 380.0, 220.0], [-1.0, -1.0, 300.0, 300.0])
    seen = behind(strip, below=100, left=246, right=354)
    assert iou(backdrop_face(seen), strip) > 0.98


@pytest.mark.parametrize(("left", "right"), [(162, 438), (150, 423), (177, 450)])
def test_a_short_piece_of_the_foot_beside_a_body_ends_the_face(left: int, right: int) -> None:
    """A dozen pixels show at both corners, or two dozen at one: arms go down steeply there."""
    face = filled([150, 450, 450, 150], [30, 30, 330, 330])
    seen = behind(face, below=180, left=left, right=right)
    assert iou(backdrop_face(seen), face) > 0.98


@pytest.mark.parametrize("lean", [-0.15, 0.0, 0.15])
def test_a_piece_of_the_foot_beside_a_body_and_the_pictures_border_ends_the_face(
    lean: float,
) -> None:
    """A softbox that the picture cuts at the left: of its foot a little shows there."""
    face = filled([-1.0, 450, 450, -1.0], [30, 30, 330 + lean * 450, 330])
    seen = behind(face, below=180, left=60, right=460)
    assert iou(backdrop_face(seen), face) > 0.93


def test_a_square_corner_that_is_hidden_is_as_square_as_the_others() -> None:
    face = filled([150, 450, 450, 150], [30, 30, 330, 330])
    seen = behind(face, below=210, left=330, right=600)
    assert iou(backdrop_face(seen), face) > 0.99


def test_leaning_faces_are_drawn_on_along_their_own_sides() -> None:
    turn = 8 * pi / 180
    x = [300 + 140 * cos(turn + k * pi / 2 + pi / 4) for k in range(4)]
    y = [200 + 140 * sin(turn + k * pi / 2 + pi / 4) for k in range(4)]
    face = filled(x, y)
    seen = behind(face, below=240, left=330, right=600)
    assert iou(backdrop_face(seen), face) > 0.97


@pytest.mark.parametrize("flare", [15.0, 30.0])
def test_hung_paper_that_widens_towards_the_floor_ends_at_its_side(flare: float) -> None:
    """It runs out of the picture above and below; beside it is the room."""
    half = [240.0, 240.0, 242.0, 248.0, 240.0 + flare]
    y = [0.0, 280.0, 320.0, 360.0, 399.0]
    paper = filled([300 - h for h in half] + [300 + h for h in half[::-1]], y + y[::-1])
    assert iou(backdrop_face(paper), paper) > 0.9


FACE = filled([100, 500, 500, 100], [40, 40, 399, 399])
LIMB = filled([300, 340, 340, 300], [0, 0, 250, 250])


def along_the_top(left: float, right: float, deep_left: float, deep_right: float) -> Mask:
    """What lies so deep under the face's upper rim, at its two ends, between two columns."""
    return filled([left, right, right, left], [40, 40, 40 + deep_right, 40 + deep_left])


@pytest.mark.parametrize(
    "sliver",
    [along_the_top(340, 480, 6, 6), along_the_top(180, 300, 7, 2)],
    ids=["as deep all along", "a wedge"],
)
def test_a_sliver_along_the_rim_is_no_part_of_a_limb_that_leaves_there(sliver: Mask) -> None:
    subject = FACE & (LIMB | sliver)
    found = slivers(subject, FACE & ~subject, FACE)
    assert iou(found, sliver & FACE & ~LIMB) > 0.85


def test_a_sliver_along_the_pictures_border_is_one_too() -> None:
    """The face fills the picture: softboxes whose upper ends are not on one line."""
    everywhere = np.ones(SIZE[::-1], bool)
    limb, sliver = filled([300, 340, 340, 300], [0, 0, 250, 250]), np.zeros(SIZE[::-1], bool)
    sliver[:5, 340:470] = True
    subject = limb | sliver
    assert iou(slivers(subject, ~subject, everywhere), sliver & ~limb) > 0.85


@pytest.mark.parametrize(
    "subject",
    [
        LIMB,
        along_the_top(200, 340, 0, 60),
        along_the_top(300, 340, 6, 6),
        filled([100, 500, 500, 100], [199, 199, 203, 203]),
    ],
    ids=["a limb", "a shoulder", "a short one", "a foil across"],
)
def test_what_leaves_the_face_is_no_sliver(subject: Mask) -> None:
    found = slivers(FACE & subject, FACE & ~subject, FACE)
    assert not found.any()
