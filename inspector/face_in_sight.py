"""The face of the backdrop less the room that shows between its parts and beside it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from inspector.arrays import Floats, Mask
from inspector.face import backdrop_face
from inspector.gap import MOSTLY_DEEP, ROOM_EV, face_without_gaps

SLOPES = np.linspace(-0.17, 0.17, 69)
"""Directions that are tried for its upright side, pixels aside to one down."""
OFF_PX = 1.5
"""So near the line the backdrop begins where its side is in sight, working pixels."""
LEAST_SEEN, LEAST_LONG = 0.6, 1 / 3
"""So much of the side is in sight, and it is so long, part of the picture's height."""
TOP = 0.05
"""It is in sight so near where the backdrop ends above, part of the picture's height."""
LEAST_FLARE = 0.02
"""Further down the backdrop begins so much further out, part of the long side."""


@dataclass(frozen=True)
class Side:
    """The upright side at the left: at row ``top`` in column ``at``, and so on down to ``foot``."""

    at: float
    slope: float
    top: int
    foot: int
    seen: int


def face_in_sight(ev: Floats, backdrop_ev: Floats, backdrop: Mask) -> Mask:
    """(h, w) True inside the face of the backdrop, as far as it is not seen to be the room.

    Parameters
    ----------
    ev, backdrop_ev : ndarray, float32
        (h, w) stops, and those of the backdrop there.
    backdrop : ndarray, bool
        (h, w) what of it is in sight.
    """
    dark = ev < backdrop_ev - ROOM_EV
    face = without_room_beside(backdrop, backdrop_face(backdrop), dark)
    return face_without_gaps(ev, backdrop_ev, backdrop, face)


def without_room_beside(backdrop: Mask, face: Mask, dark: Mask) -> Mask:
    """(h, w) the face less the dark room to the left and right of paper that flares on the floor.

    Hung paper, or a box upon a wider one, is not convex: it has an upright side that is straight
    from above on, and further down it begins further out. What is mostly ``dark`` beside that side
    is room; what is only dim belongs to the set.
    """
    for turn in (slice(None), slice(None, None, -1)):
        lit, before = backdrop[:, turn], (face & ~backdrop)[:, turn]
        side = _side(lit)
        if side is not None:
            face = face & ~_room(before, dark[:, turn], side)[:, turn]
    return face


def _side(backdrop: Mask) -> Side | None:
    """The upright side at the left if the backdrop flares out below it, the most in sight."""
    height, width = backdrop.shape
    rows = np.flatnonzero(backdrop.any(axis=1))
    lit = backdrop[rows[0] : rows[-1] + 1]
    first = np.where(lit.any(axis=1), lit.argmax(axis=1), width).astype(np.float64)
    least, flare = max(1, round(LEAST_LONG * height)), LEAST_FLARE * max(height, width)
    if first.size <= least or first[least:].min() > first[:least].min() - flare:
        return None
    down = np.arange(first.size)
    best = Side(0.0, 0.0, int(rows[0]), 0, 0)
    for slope in SLOPES:
        at = first - slope * down
        furthest = np.minimum.accumulate(at)  # above each row
        near = (at <= furthest[:, None] + OFF_PX) & (down <= down[:, None])
        seen = near.sum(axis=1)
        may = (seen >= LEAST_SEEN * (down + 1)) & (near.argmax(axis=1) <= TOP * height)
        may &= (down >= least) & (at.min() < furthest - flare)
        foot = int(np.where(may, seen, 0).argmax())
        if may[foot] and seen[foot] > best.seen:
            where = float(np.median(at[near[foot]]))
            best = Side(where, float(slope), best.top, best.top + foot, int(seen[foot]))
    return best if best.seen else None


def _room(before: Mask, dark: Mask, side: Side) -> Mask:
    """(h, w) what is dark and joins the room to the left of the backdrop's upright side."""
    y, x = np.mgrid[: before.shape[0], : before.shape[1]]
    beside = before & (x < side.at + side.slope * (y - side.top))
    count, label = cv2.connectedComponents(beside.astype(np.uint8), connectivity=4)
    room = np.zeros(count, bool)
    room[label[beside & (y < side.foot)]] = True
    size = np.bincount(label[beside], minlength=count)
    room &= np.bincount(label[beside & dark], minlength=count) >= MOSTLY_DEEP * size
    return np.asarray(beside & room[label], bool)
