"""The face of the backdrop: its whole outline, also where the subject covers it.

A softbox or wall is convex as seen from the camera. Each straight side that is visible
anywhere bounds a half-plane; the face is where all of them meet, within the frame. Octagons and
round faces look the same turned by half a turn, nearly so in perspective: a side that is hidden
lies where the one opposite does, seen from the middle.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Mask, Points, disc
from inspector.outline import within
from inspector.polygon import (
    headings,
    keep_side,
    lengths,
    outward,
    reached_along,
    sides_of,
    turned_by,
)
from inspector.shoulders import shoulders
from inspector.side_ends import CLOSE_PX, leaves_at_an_angle, met_at_ends

SUPPORT = 0.25
"""A side of the hull counts as seen when the backdrop touches this part of it."""
ENDS = 0.05
"""It does, too, when the backdrop goes along it from both its corners for such a part of it, or
from one of them for three times as much."""
LEAST_END = 15
"""And at least so many working pixels, right beside it: the subject may leave the face at a low
angle, as shoulders do."""
LEAST_ANGLED = 8, 25
"""Where it plainly does not, so many from both its corners are enough, or from one of them."""
BOWED, ALL_ALONG = 0.1, 0.9
"""A side is bowed inwards where nearly all along it the backdrop begins within such a part of its
length."""
LEAST_SIDE = 0.04
"""A hidden side shorter than this, part of the long side of the picture, is kept as it is."""
SAME_TURN = 1.3
"""A hidden corner may turn this much more than the sharpest corner in sight."""
PARALLEL_DEG = 150.0
"""Two sides that turn by more than this do not meet within the picture."""
SQUARE_DEG = 70.0
"""A face with sharper corners may be long: where it ends is not foretold by its other end."""
LEAST_KNOWN = 3
"""So many sides in sight, at least, tell where the middle is."""
ALIKE_DEG = 35.0
"""A turned side that runs so much like a hidden one stands for it."""
SETTLES = 30
"""Rounds after which it is settled which sides hold the middle."""
HELD = 0.01
"""How much the middle is held to that of the part in sight, beside the sides' weight of 1."""
SCALLOP = (0.15, 0.07)
"""Between its ribs an umbrella draws in, no deeper than these parts of the length along the rim
and of the width of the face (the root of its area)."""
SLIVER_PX, SLIVER_ENDS_PX = 5, 8.5
"""A sliver along the rim is no wider than twice this, and narrower than the second where it is
widest, else the subject goes on there; working pixels."""
SLIVER_LONG_PX, SLIVER_TIMES = 20, 9.0
"""It lies along so much of the rim, working pixels, whose square is so many times its area."""


def backdrop_face(backdrop: Mask) -> Mask:
    """(h, w) True inside the face of a backdrop of which ``backdrop`` (h, w) is visible."""
    contours, _ = cv2.findContours(
        backdrop.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    points = np.concatenate([c.reshape(-1, 2) for c in contours])
    tolerance = max(1.5, 0.003 * max(backdrop.shape))
    rough = cv2.approxPolyDP(cv2.convexHull(points), tolerance, closed=True)
    hull = np.asarray(rough.reshape(-1, 2), np.float64)
    if len(hull) < 3:
        return backdrop
    near = within(backdrop, 2 * tolerance)
    seen = np.array([_is_seen(side, near, backdrop) for side in sides_of(hull)])
    shoulder = shoulders(hull, seen, near, backdrop)
    seen &= ~shoulder
    border = _on_border(hull, backdrop.shape)
    sides = sides_of(hull)
    short = (lengths(sides) < LEAST_SIDE * max(backdrop.shape)) & ~shoulder
    stands = seen & ~border
    plain = stands & ~short
    if not (plain & np.roll(plain, 1)).any():
        # The face runs out of the picture: where it ends in a wedge beside a hidden side, the
        # wedge's tip is none of its sides.
        wedge = short & ~(np.roll(seen, 1) & np.roll(seen, -1))
        seen, stands, short = seen & ~wedge, stands & ~wedge, short & ~wedge
    turned = _turned(hull, stands, short)
    foretold = ~seen & ~short & _alike(sides, turned)
    keep = (seen | short | ~_may_extend(hull, seen, backdrop.shape)) & ~foretold
    keep |= _bowed(hull, backdrop) & ~foretold
    bounds = [*sides[keep], *(turned if foretold.any() else ())]
    height, width = backdrop.shape
    face = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], float)
    for a, b in bounds:
        face = keep_side(face, a, b, hull.mean(axis=0))
    mask = np.zeros(backdrop.shape, np.uint8)
    if len(face) >= 3:
        cv2.fillConvexPoly(mask, np.round(face).astype(np.int32), 1)
    return np.asarray((mask > 0) | backdrop, bool)


def _alike(sides: Points, turned: Points) -> Mask:
    """(N,) for each of the sides (N, 2, 2), whether one of the turned ones (K, 2, 2) runs so."""
    turn = turned_by(headings(sides)[:, None], headings(turned)[None])
    return np.asarray((turn < ALIKE_DEG).any(axis=1))


def _on_border(hull: Points, shape: tuple[int, ...]) -> Mask:
    """For each side: whether it is the picture's border rather than the face's."""
    ends, (height, width) = np.roll(hull, -1, axis=0), shape
    far = np.array([width - 3.0, height - 3.0])
    return np.asarray((((hull < 2) & (ends < 2)) | ((hull > far) & (ends > far))).any(axis=1))


def _turned(hull: Points, known: Mask, short: Mask) -> Points:
    """(K, 2, 2) the sides in sight turned by half a turn; none where corners are square.

    Short sides may be corners rounded off. No part of the turned face may lie beyond a side in
    sight: twice the middle along its normal is at most its distance less that of the furthest
    part opposite. Least squares over what is beyond.
    """
    sides = sides_of(hull)
    heading = headings(sides[~short])
    corner = known[~short] & np.roll(known[~short], -1)
    turn = turned_by(np.roll(heading, -1), heading)[corner]
    if known.sum() < LEAST_KNOWN or turn.size == 0 or turn.max() > SQUARE_DEG:
        return np.zeros((0, 2, 2))
    start = (hull.min(axis=0) + hull.max(axis=0)) / 2
    normal = outward(sides[known], start)
    room = (hull[known] * normal).sum(axis=1) - (hull @ -normal.T).max(axis=0)
    middle = start
    for _ in range(SETTLES):
        beyond = 2 * normal @ middle >= room - 1e-6
        part, limit = 2 * normal[beyond], room[beyond]
        pull = part.T @ part + HELD * np.eye(2)
        middle = np.linalg.solve(pull, part.T @ limit + HELD * start)
    return np.asarray(2 * middle - sides[known], np.float64)


def _may_extend(hull: Points, seen: Mask, shape: tuple[int, ...]) -> Mask:
    """For each side: whether its neighbours may be drawn on to where they meet.

    A rectangle's hidden corner is as square as those in sight; an octagon with a hidden side
    has no corner that sharp, so there the chord is the better guess.
    """
    heading = headings(sides_of(hull))
    turn = turned_by(heading, np.roll(heading, 1))  # at the start of each side
    height, width = shape
    x, y = hull[:, 0], hull[:, 1]
    in_frame = (x > 2) & (y > 2) & (x < width - 3) & (y < height - 3)
    corner = seen & np.roll(seen, 1) & in_frame
    sharpest = float(turn[corner].max()) if corner.any() else 0.0
    across = turn + np.roll(turn, -1)
    may = (across <= SAME_TURN * sharpest) | (across >= PARALLEL_DEG) | ~corner.any()
    return np.asarray(may, bool)


def _bowed(hull: Points, backdrop: Mask) -> Mask:
    """For each side: whether its neighbours run on side by side and the backdrop draws in from it.

    So does hung paper that widens towards the floor: it ends there, rather than run on behind
    someone out to the picture's border.
    """
    sides = sides_of(hull)
    heading = headings(sides)
    parallel = turned_by(np.roll(heading, 1), np.roll(heading, -1)) >= PARALLEL_DEG
    normal = outward(sides, hull.mean(axis=0))
    found = np.zeros(len(sides), bool)
    for k in np.flatnonzero(parallel):
        deepest = BOWED * lengths(sides[k : k + 1])[0]
        found[k] = _reached(sides[k], -normal[k] * deepest, backdrop) >= ALL_ALONG
    return found


def _reached(side: Points, inwards: Points, backdrop: Mask) -> float:
    """At which part of the places along a side (2, 2) the backdrop is met by going inwards."""
    along = np.linspace(0, 1, max(2, int(np.hypot(*(side[1] - side[0])))))[:, None, None]
    depth = np.linspace(0, 1, max(2, int(np.hypot(*inwards))))[None, :, None]
    x, y = np.round(side[0] + along * (side[1] - side[0]) + depth * inwards).astype(int).T
    height, width = backdrop.shape
    return float(backdrop[y.clip(0, height - 1), x.clip(0, width - 1)].any(axis=0).mean())


def _is_seen(side: Points, near: Mask, backdrop: Mask) -> bool:
    """Whether the backdrop reaches a side (2, 2) along enough of it, or goes along its ends."""
    reached = reached_along(side, near)
    if reached.mean() >= SUPPORT:
        return True
    ends = met_at_ends(side, within(backdrop, CLOSE_PX))
    least = max(LEAST_END, ENDS * reached.size)
    if min(ends) >= least or max(ends) >= 3 * least:
        return True
    angled = leaves_at_an_angle(side, backdrop)
    plain = [n if leaves else 0 for n, leaves in zip(ends, angled, strict=True)]
    return min(plain) >= LEAST_ANGLED[0] or max(plain) >= LEAST_ANGLED[1]


def scallops(label: NDArray[np.int32], face: Mask, count: int, *, rim: int) -> Mask:
    """(count,) which parts of a ``label`` (h, w) lie so shallow along the face's rim.

    ``rim`` is the width of a band inside it, pixels, that was left out of them.
    """
    away = cv2.distanceTransform(face.astype(np.uint8), cv2.DIST_L2, 3)
    depth = np.minimum(away, max(face.shape))  # without limit where the face fills the picture
    along = np.bincount(label[(depth > 0) & (depth < rim + 2)], minlength=count)
    deepest = np.minimum(SCALLOP[0] * along, SCALLOP[1] * np.sqrt(np.count_nonzero(face)))
    deeper = depth > deepest[label]
    return np.asarray(np.bincount(label[deeper], minlength=count) == 0, bool)


def slivers(subject: Mask, backdrop: Mask, face: Mask) -> Mask:
    """(h, w) the parts of a subject that lie in slivers between the backdrop and the face's rim.

    The face of softboxes of unequal height, or of one that is not quite convex, takes in a little
    of the room, and a limb that leaves the face joins it. The picture's border is a rim, too.
    """
    wide = 2 * SLIVER_PX
    lit, outside = (
        np.pad(mask.astype(np.uint8), wide, constant_values=beyond)
        for mask, beyond in ((backdrop, 0), (~face, 1))
    )
    either = np.maximum(lit, outside)
    closed = cv2.morphologyEx(either, cv2.MORPH_CLOSE, disc(SLIVER_PX))[wide:-wide, wide:-wide]
    away = cv2.distanceTransform(1 - outside, cv2.DIST_L2, 3)[wide:-wide, wide:-wide]
    thin = subject & (closed > 0) & (away <= wide)
    count, label = cv2.connectedComponents(thin.astype(np.uint8), connectivity=8)
    along, deeper, area = (
        np.bincount(label[part], minlength=count)
        for part in (thin & (away < 1.5), thin & (away > SLIVER_ENDS_PX), thin)
    )
    keep = (along >= SLIVER_LONG_PX) & (along**2 >= SLIVER_TIMES * area) & (deeper == 0)
    return np.asarray((keep & (area > 0))[label], bool)
