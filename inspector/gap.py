"""The dark gap between two softboxes that stand side by side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask, Points
from inspector.face import backdrop_face
from inspector.surface import COARSE_SIDE

SLOPES = np.linspace(-0.18, 0.18, 73)
"""Directions that are tried, pixels aside to one along: to either side of upright and of level."""
FINER = (0.0, -0.0025, 0.0025, -0.005, 0.005)
"""And about those where the coarse picture shows a strip."""
ROOM_EV = 2.0
"""Room that shows is darker than the backdrop by more stops."""
NARROWEST_PX, WIDEST = 2, 0.16
"""Coarse pixels, and part of the long side: a seam is narrower, a doorway wider. Of one that is as
narrow the coarse picture shows one pixel."""
BESIDE_PX = 3
"""So near each of its sides light begins, coarse pixels: they are straight and parallel."""
LONGEST_BREAK_PX = 8
"""Hair across it, coarse pixels."""
LEAST_LONG, TIMES_WIDE = 0.04, 3.0
"""It is seen over such a part of the long side, at least, and over so many times its width."""
ENDS = 0.05
"""So near the end of the joint face, part of the long side, it is not told where those of its parts
end."""
BROAD, MUCH_SEEN = 0.02, 0.35
"""A gap so broad, part of the long side, and seen over so much of its length, may open above where
one box ends before the other does."""
ALIKE = 0.03
"""By so much less the slopes of gaps differ: beside one that opens above, another's end may be
hidden."""
MOSTLY_DEEP = 0.5
"""Along the darkest line in it so much of a gap is darker than a fold, though its sides be soft."""
STRAY_PX = 1
"""So many coarse pixels of light within it are noise."""


@dataclass(frozen=True, eq=False)
class Strip:
    """A dark strip from end to end of the face, upright but for its slope.

    ``first`` and ``last`` are its columns halfway down, ``seen`` and ``beside`` (h,) the rows in
    which light lies on both sides of it, and on one at least; ``top`` whether it opens above: the
    former go on up to where the face ends, or the shorter of two boxes does.
    """

    slope: float
    first: int
    last: int
    seen: Mask
    beside: Mask
    top: bool


def face_without_gaps(ev: Floats, backdrop_ev: Floats, backdrop: Mask, face: Mask) -> Mask:
    """(h, w) the face less the gaps between its lit parts, as far as they are in sight.

    A gap is dark from one end of the face to the other, also where someone stands before it, its
    sides are straight and parallel, and it, or another that runs like it, opens into the room
    above. So does no limb; a blade or pole ends within the face, a fold of the backdrop is only
    dim. Where others run across it, it is a lattice that stands before the backdrop. What lies
    between gaps has a face of its own.

    Parameters
    ----------
    ev, backdrop_ev : ndarray, float32
        (h, w) stops, and those of the backdrop there.
    backdrop, face : ndarray, bool
        (h, w) the lit parts, and the face of them all.
    """
    factor = max(1, round(max(backdrop.shape) / COARSE_SIDE))
    size = (backdrop.shape[1] // factor, backdrop.shape[0] // factor)
    dark = cv2.dilate((ev < backdrop_ev - ROOM_EV).astype(np.uint8), np.ones((3, 3), np.uint8))
    lit, whole, deep = (_resized(mask, size) for mask in (backdrop, face, dark))
    rough = _strips(lit, whole, deep, SLOPES, narrowest=1)
    lit_fine, whole_fine, deep_fine = (mask.astype(np.uint8) for mask in (backdrop, face, dark))
    upright = _strips(
        lit_fine,
        whole_fine,
        deep_fine,
        np.array(list(dict.fromkeys(round(s.slope + d, 4) for d in FINER for s in rough))),
        narrowest=NARROWEST_PX * factor,
        unit=factor,
    )
    upright = [s for s in upright if any(o.top and abs(o.slope - s.slope) < ALIKE for o in upright)]
    if not upright or _strips(lit.T.copy(), whole.T.copy(), deep.T.copy(), SLOPES, narrowest=1):
        return face
    strips = _drawn(face.shape, upright, [np.ones_like(s.seen) for s in upright])
    own = _own_faces(backdrop, face, strips, _drawn(face.shape, upright, [s.seen for s in upright]))
    gaps = _drawn(face.shape, upright, [s.beside for s in upright])
    gaps = np.asarray(cv2.dilate(gaps, np.ones((3, 3), np.uint8)), np.uint8)
    return np.asarray(face & own & ((gaps == 0) | backdrop), bool)


def _own_faces(
    backdrop: Mask, face: Mask, strips: NDArray[np.uint8], seen: NDArray[np.uint8]
) -> Mask:
    """(h, w) the faces of what lies between strips, and the strips.

    Where nothing shows it, a face ends where its other sides meet, not where the joint one does:
    so near that end only what is ``seen`` of a strip, between two lit parts, is a side of both.
    """
    count, part = cv2.connectedComponents((strips == 0).astype(np.uint8), connectivity=4)
    ends = np.ones((2 * round(ENDS * max(face.shape)) + 1,) * 2, np.uint8)
    inner = np.asarray(cv2.erode(face.astype(np.uint8), ends), np.uint8) | seen
    beside = cv2.dilate(strips & inner, np.ones((5, 5), np.uint8)) > 0
    own = strips > 0
    for k in range(1, count):
        here = part == k
        if (backdrop & here).any():
            own |= backdrop_face((backdrop | beside) & here) & here
    return np.asarray(own, bool)


def _resized(mask: NDArray[Any], size: tuple[int, ...]) -> NDArray[np.uint8]:
    large = cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    return np.asarray(large, np.uint8)


def _strips(
    lit: NDArray[np.uint8],
    face: NDArray[np.uint8],
    deep: NDArray[np.uint8],
    slopes: NDArray[np.float64],
    *,
    narrowest: int,
    unit: int = 1,
) -> list[Strip]:
    """The strips of a picture in which there is no light, the largest in sight first.

    Of those alike it is the one whose slope comes first. ``unit`` is a coarse pixel in its pixels.
    """
    found = []
    for slope in slopes:
        upright = _sheared(lit, slope)
        light = cv2.reduce(upright, 0, cv2.REDUCE_SUM, dtype=cv2.CV_32S) > STRAY_PX * unit
        ends = np.flatnonzero(light)
        wide = np.diff(ends) - 1
        for i in np.flatnonzero((wide >= narrowest) & (wide <= WIDEST * max(lit.shape))):
            first, last = int(ends[i]) + 1, int(ends[i + 1])
            left = upright[:, max(0, first - BESIDE_PX * unit) : first].any(axis=1)
            right = upright[:, last : last + BESIDE_PX * unit].any(axis=1)
            seen = _without_breaks(np.asarray(left & right), unit)
            if seen.sum() < max(LEAST_LONG * max(lit.shape), TIMES_WIDE * wide[i]):
                continue
            if _sheared(deep, slope)[seen, first:last].mean(axis=0).max() < MOSTLY_DEEP:
                continue
            within = np.flatnonzero(_sheared(face, slope)[:, first:last].any(axis=1))
            top = _opens_above(seen, within, wide[i], max(lit.shape), unit)
            beside = _without_breaks(np.asarray(left | right), unit)
            found.append(Strip(float(slope), first, last, seen, beside, top))
    return sorted(found, key=lambda strip: -int(strip.seen.sum()) * (strip.last - strip.first))


def _opens_above(
    seen: Mask, within: NDArray[np.intp], wide: int, long_side: int, unit: int
) -> bool:
    """Whether a strip is seen up to where the face ends, whose rows it passes ``within``."""
    if within.size == 0:
        return False
    broad = wide > BROAD * long_side and seen.sum() > MUCH_SEEN * within.size
    most = ENDS * long_side if broad else LONGEST_BREAK_PX * unit
    return bool(seen.argmax() - within[0] <= most)


def _drawn(shape: tuple[int, ...], strips: list[Strip], rows: list[Mask]) -> NDArray[np.uint8]:
    """(h, w) strips in their ``rows`` (h,); of several in one place the first."""
    found = np.zeros(shape, np.uint8)
    for strip, there in zip(strips, rows, strict=True):
        part = np.zeros(shape, np.uint8)
        part[:, strip.first : strip.last] = there[:, None]
        part = _sheared(part, -strip.slope)
        if not (found & part).any():
            found |= part
    return found


def _sheared(picture: NDArray[np.uint8], slope: float) -> NDArray[np.uint8]:
    """A picture whose rows are moved aside, by more the further they are from halfway down."""
    height, width = picture.shape
    aside: Points = np.array([[1, slope, -slope * height / 2], [0, 1, 0]])
    moved = cv2.warpAffine(picture, aside, (width, height), flags=cv2.INTER_NEAREST)
    return np.asarray(moved, np.uint8)


def _without_breaks(seen: Mask, unit: int) -> Mask:
    column = seen.astype(np.uint8)[:, None]
    longest = np.ones((LONGEST_BREAK_PX * unit + 1, 1), np.uint8)
    closed = cv2.morphologyEx(column, cv2.MORPH_CLOSE, longest)
    return np.asarray(closed[:, 0] > 0, bool)
