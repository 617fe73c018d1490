"""How far one frame must be moved to lie on another: from the same line of light in both.

Each point of a line knows along its normal where the other frame has the same light; the shift
that explains most of those distances is found by least squares, outliers weighed down (Huber,
Annals of Mathematical Statistics 35(1), 1964).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from inspector.arrays import Floats, Mask, Points
from inspector.outline import read, read_along, right_hand

LEAST_POINTS = 40
ROUNDS = 12
STEP = 0.5
OWN_PX = 3.0
"""So near its points, which lie on whole pixels, a line is in its own frame."""
ALIKE = 0.01
"""So strongly a shift is preferred to a line further out all around."""
PLATE_REACH = 0.025
"""How far a plate may be shifted, part of the long side."""
PLATE_LINE_EV, SEAM_LINE_EV, STEEP_EV = -1.5, -0.15, 0.2
"""Light on the plate's border by which it is aligned, stops, and light by its seams just under
white, where it falls by so much across the line."""
STEEP_PX = 1.0
"""Within so many working pixels on either side."""


@dataclass(frozen=True)
class Shift:
    """Move by (x, y) pixels of the working picture.

    ``spread`` is the median misfit there, of the ``share`` of the line that was found again.
    """

    x: float = 0.0
    y: float = 0.0
    spread: float = 0.0
    share: float = 1.0


@dataclass(frozen=True, eq=False)
class Line:
    """Where light passes ``level`` (N,), stops.

    ``points`` (N, 2) x, y, working pixels, and ``normals``, unit vectors downhill.
    """

    points: Points
    normals: Points
    level: Points

    def within(self, mask: Mask) -> Line:
        """Its points within a (h, w) mask."""
        x, y = self.points.astype(int).T
        return self.where(mask[y, x])

    def where(self, keep: Mask) -> Line:
        """Those of its points (N,)."""
        return Line(self.points[keep], self.normals[keep], self.level[keep])

    def fall(self, ev: Floats) -> Points:
        """(N,) stops by which light (h, w) falls across it."""
        above, below = (read(ev, self.points + off * self.normals) for off in (-STEEP_PX, STEEP_PX))
        return np.asarray(above - below, np.float64)

    def joined(self, other: Line) -> Line:
        """The points of both."""
        return Line(
            np.concatenate([self.points, other.points]),
            np.concatenate([self.normals, other.normals]),
            np.concatenate([self.level, other.level]),
        )

    def passes(self, ev: Floats, *, moved: Points, reach: float) -> tuple[Points, Mask]:
        """(N,) pixels downhill from its points, moved by x, y, to the same level in ``ev``.

        Where the light falls through it nearest; and whether it does so within reach.
        """
        steps = np.arange(-reach, reach + STEP, STEP)
        along = read_along(ev, self.points + moved, self.normals, steps).astype(float)
        level = self.level[:, None]
        falls = (along[:, :-1] >= level) & (along[:, 1:] < level)
        cost = np.where(falls, np.abs(steps[:-1] + STEP / 2), np.inf)
        best = cost.argmin(axis=1)
        row = np.arange(len(self.points))
        high, low = along[row, best], along[row, best + 1]
        part = np.clip((high - self.level) / np.maximum(high - low, 1e-6), 0, 1)
        known = np.asarray(falls.any(axis=1), bool)
        return np.where(known, steps[best] + STEP * part, np.nan), known


def moved(picture: Floats, x: float, y: float, *, how: int = cv2.INTER_LINEAR) -> Floats:
    """A (h, w) or (h, w, C) picture moved by x, y pixels; its border is repeated."""
    height, width = picture.shape[:2]
    move = np.array([[1, 0, x], [0, 1, y]], np.float32)
    result = cv2.warpAffine(
        picture, move, (width, height), flags=how, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(result.reshape(picture.shape), np.float32)


def line_of_light(ev: Floats, level: float, where: Mask) -> Line:
    """The line at which light (h, w), stops, passes a level within a zone."""
    bright = ((ev > level) & where).astype(np.uint8)
    contours, _ = cv2.findContours(bright, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    points, normals = [np.zeros((0, 2))], [np.zeros((0, 2))]
    height, width = ev.shape
    for contour in contours:
        if len(contour) < LEAST_POINTS:
            continue
        line = contour.reshape(-1, 2) + 0.5
        normal = right_hand(np.concatenate([line, line[:1]]), over=3)[:-1]
        x, y = line[:, 0], line[:, 1]
        inside = (x > 4) & (y > 4) & (x < width - 4) & (y < height - 4)
        downhill = read(ev, line + 2 * normal) < read(ev, line - 2 * normal)
        points.append(line[inside])
        normals.append(np.where(downhill[:, None], normal, -normal)[inside])
    found = np.concatenate(points)
    return Line(found, np.concatenate(normals), np.full(len(found), level))


def find_shift(line: Line, here: Floats, there: Floats, *, reach: float) -> Shift | None:
    """The shift after which ``there`` has on the line the same light as ``here``.

    Parameters
    ----------
    line : Line
        A line of light in ``here``.
    here, there : ndarray, float32
        (h, w) stops.
    reach : float
        How far to look, working pixels.

    Returns
    -------
    Shift or None
        Where in ``there`` a point of ``here`` lies, less where it lies here; None if too little
        of the line is seen.
    """
    if len(line.points) < LEAST_POINTS:
        return None
    own = line.passes(here, moved=np.zeros(2), reach=OWN_PX)[0]
    shift, far, spread, share = np.zeros(2), reach, reach, 0.0
    for _ in range(ROUNDS):
        away, known = line.passes(there, moved=shift, reach=far)
        residual = away - own
        known &= np.isfinite(residual)
        if known.sum() < LEAST_POINTS:
            return None
        step = _least_squares(line.normals[known], residual[known])
        shift = shift + step
        left = residual[known] - line.normals[known] @ step
        spread = float(np.median(np.abs(left - np.median(left)))) + 0.05
        share = float(known.mean())
        far = max(3.0, 4 * spread)
        if np.hypot(*step) < 0.01:
            break
    return Shift(float(shift[0]), float(shift[1]), spread, share)


def plate_shift(plate_ev: Floats, ev: Floats, backdrop: Mask) -> tuple[float, float]:
    """(dx, dy) by which the plate's backdrop must move to fit; nought where it fills the frame.

    Parameters
    ----------
    plate_ev, ev : ndarray, float32
        (h, w) stops of the plate and of the frame.
    backdrop : ndarray, bool
        (h, w) the plate's backdrop.
    """
    near = cv2.dilate(backdrop.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    seams = line_of_light(plate_ev, SEAM_LINE_EV, near)
    seams = seams.where(seams.fall(plate_ev) > STEEP_EV)
    line = line_of_light(plate_ev, PLATE_LINE_EV, near).joined(seams)
    shift = find_shift(line, plate_ev, ev, reach=PLATE_REACH * max(ev.shape))
    return (shift.x, shift.y) if shift else (0.0, 0.0)


def _least_squares(normals: Points, residual: Points) -> Points:
    """(2,) shift whose part along each normal explains the residuals, by Huber's weights.

    What is left of all of them alike is not part of it: clipped light puts its line further out
    all around, which would pull a subject that leaves the picture to one side.
    """
    columns = np.column_stack([normals, np.ones(len(normals))])
    weight: Points = np.ones(len(residual))
    found: Points = np.zeros(3)
    for _ in range(10):
        # A straight line cannot tell the two apart: then it is a shift.
        system = (columns * weight[:, None]).T @ columns
        system += np.diag([1e-6, 1e-6, ALIKE * weight.sum()])
        found = np.asarray(np.linalg.solve(system, (columns * weight[:, None]).T @ residual))
        left = np.abs(residual - columns @ found)
        scale = 1.5 * float(np.median(left)) + 0.05
        weight = np.minimum(1.0, scale / np.maximum(left, 1e-9))
    return found[:2]
