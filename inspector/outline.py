"""The border between subject and backdrop as a line of points, finer than a pixel."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask, Points, disc
from inspector.levels import Levels

F = TypeVar("F", np.float32, np.float64)

TOLERANCE_PX = 3.0
"""White may cross the outline by so much, or by 0.1 % of the long side (contract: spill)."""
SMOOTHED = 9
"""Outline points over which profiles are averaged."""
SPACING = 1.0
"""Distance between two points of an outline, working pixels."""
SEARCH = 3.0
"""How far the line may move to where the light passes the cut, working pixels."""
BESIDE = 2.0
"""So far on either side of the line its light tells what the edge is like, working pixels."""
AT_BEGINNING, MOST_UNUSUAL = 41, 0.1
"""So many points about the beginning of a closed line differ from most by less than such a part."""
SURROUND_MARGIN = 4.0
"""So near the surround the border is that of three zones and has no profile, working pixels."""
LEAST_POINTS = 8
"""Shorter outlines (specks) are left out."""


@dataclass(frozen=True, eq=False)
class Outline:
    """N points along outlines that are laid end to end.

    Attributes
    ----------
    points, inward : ndarray, float64
        (N, 2) x, y in viewed pixels, and unit vectors into the subject.
    line : ndarray, intp
        (N,) which of the outlines a point belongs to.
    step : ndarray, float64
        (N,) length of outline that a point stands for, pixels.
    """

    points: Points
    inward: Points
    line: NDArray[np.intp]
    step: Points

    def inwards(self, by: Points) -> Points:
        """(N, 2) the points moved so many pixels into the subject."""
        return self.points + by[:, None] * self.inward

    def at(self, some: Mask | slice | NDArray[np.intp]) -> Outline:
        """Some of the points."""
        return Outline(self.points[some], self.inward[some], self.line[some], self.step[some])


def find_outlines(
    levels: Levels, backdrop: Mask, subject: Mask, margin: Floats
) -> tuple[Points, ...]:
    """Trace the border between two zones where the light passes from one to the other.

    Strands so thin that white cannot cross their outline by the tolerance have no edge.

    Parameters
    ----------
    backdrop, subject : ndarray, bool
        (h, w) zones of the working picture.
    margin : ndarray, float32
        (h, w) light over the level that parts the zones; the line runs along its zero.

    Returns
    -------
    tuple of ndarray
        Each (N, 2) float64 x, y in viewed pixels, the subject on the right hand.
    """
    closed = cv2.findContours(subject.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)[0]
    borders = within(backdrop, 2.5) & ~within(~backdrop & ~subject, SURROUND_MARGIN)
    borders &= within(thick_parts(levels, subject), 1.5)
    pieces: list[Points] = []
    for contour in closed:
        if len(contour) < LEAST_POINTS:
            continue
        line = _even(_smooth(contour.reshape(-1, 2).astype(float) + 0.5, closed=True))
        line = _subject_on_right(line, subject)
        line = _begun_where_usual(_settle(line, margin), margin)
        kept = read(borders.astype(np.float32), line) > 0.5
        pieces += [levels.to_view(p) for p in _runs(line, kept) if len(p) >= LEAST_POINTS]
    return tuple(pieces)


def right_hand(line: Points, *, over: int = 2) -> Points:
    """(N, 2) unit normals on the right hand of an open line of evenly spaced points."""
    ahead = np.concatenate([line[over:], np.repeat(line[-1:], over, axis=0)])
    behind = np.concatenate([np.repeat(line[:1], over, axis=0), line[:-over]])
    tangent = ahead - behind
    length = np.maximum(np.hypot(tangent[:, 0], tangent[:, 1]), 1e-9)[:, None]
    return np.asarray(np.stack((-tangent[:, 1], tangent[:, 0]), axis=1) / length, np.float64)


def joined(lines: tuple[Points, ...]) -> Outline:
    """Outlines laid end to end, from their points (M, 2) with the subject on the right hand."""
    return Outline(
        points=np.concatenate(lines),
        inward=np.concatenate([right_hand(line) for line in lines]),
        line=np.repeat(np.arange(len(lines)), [len(one) for one in lines]),
        step=np.concatenate([_steps(one) for one in lines]),
    )


def _steps(line: Points) -> Points:
    """(M,) length of line that each of its points stands for."""
    gaps = np.hypot(*np.diff(line, axis=0).T)
    padded = np.concatenate([[0.0], gaps, [0.0]])
    return np.asarray((padded[:-1] + padded[1:]) / 2, np.float64)


def read(picture: Floats, points: Points) -> Floats:
    """Bilinear reading of a (h, w) picture at (..., 2) x, y (pixel i spans [i, i + 1))."""
    return _read(picture, points[..., 0], points[..., 1])


def read_along(picture: Floats, points: Points, steps: Points, offsets: Points) -> Floats:
    """(N, K) bilinear readings of a picture at each point + offset * step."""
    x, y = (points[:, k, None] + offsets * steps[:, k, None] for k in (0, 1))
    return _read(picture, x, y)


def _read(picture: Floats, x: Points, y: Points) -> Floats:
    count, width = x.size, 1024
    if count == 0:  # which OpenCV refuses
        return np.zeros(x.shape, np.float32)
    # OpenCV's remap takes at most 32767 rows: fold the points into a wide picture.
    rows = -(-count // width)
    at = np.zeros((2, rows * width), np.float32)
    for k, values in enumerate((x, y)):
        np.subtract(values.ravel(), 0.5, out=at[k, :count], casting="same_kind")
    column, row = at.reshape(2, rows, width)
    found = cv2.remap(picture, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(found.reshape(-1)[:count].reshape(x.shape), np.float32)


def average_along(level: NDArray[F], line: NDArray[np.intp], *, over: int = SMOOTHED) -> NDArray[F]:
    """Mean of (N, K) values over a few neighbouring points of the same line, NaN left out."""
    known = np.isfinite(level)
    total = mean_along(np.where(known, level, 0), line, over=over)
    share = mean_along(known.astype(np.float32), line, over=over)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(share > 0.3, total / share, np.nan)


def mean_along(values: NDArray[F], line: NDArray[np.intp], *, over: int = SMOOTHED) -> NDArray[F]:
    """Moving means of (N, C) values along each line."""
    result = np.empty_like(values)
    for run in runs_of(np.ones(len(line), bool), line):
        part = np.ascontiguousarray(values[run])
        size = (1, min(over, len(part)))
        smooth = cv2.blur(part, size, borderType=cv2.BORDER_REPLICATE)
        result[run] = smooth.reshape(part.shape)
    return result


def runs_of(mask: Mask, line: NDArray[np.intp]) -> list[slice]:
    """Runs of True in a mask (N,) along outlines; each stays on one line."""
    change = np.flatnonzero((mask[1:] != mask[:-1]) | (line[1:] != line[:-1])) + 1
    bounds = np.concatenate([[0], change, [len(mask)]]).tolist()
    return [slice(a, b) for a, b in pairwise(bounds) if a < b and mask[a]]


def thick_parts(levels: Levels, subject: Mask, *, margin: float = 0.0) -> Mask:
    """The subject less what is thinner than twice the tolerance and a margin, in pixels."""
    reach = max(1, round((tolerance_px(levels.frame.size) + margin) / levels.scale - 0.5))
    return cv2.morphologyEx(subject.astype(np.uint8), cv2.MORPH_OPEN, disc(reach)) > 0


def within(mask: Mask, distance: float) -> Mask:
    """True so near a mask, working pixels."""
    reach = int(distance)
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    near = (np.hypot(x, y) <= distance).astype(np.uint8)
    return cv2.dilate(mask.astype(np.uint8), near) > 0


def tolerance_px(size: tuple[int, int]) -> float:
    """How far white may cross the outline: the larger of 3 px and 0.1 % of the long side."""
    return max(TOLERANCE_PX, 0.001 * max(size))


def _smooth(line: Points, *, closed: bool, sigma: float = 1.5) -> Points:
    half = round(3 * sigma)
    kernel = np.exp(-0.5 * (np.arange(-half, half + 1) / sigma) ** 2)
    kernel /= kernel.sum()
    if len(line) <= 2 * half:
        return line
    padded = np.pad(line, ((half, half), (0, 0)), mode="wrap" if closed else "edge")
    return np.stack([np.convolve(padded[:, k], kernel, mode="valid") for k in (0, 1)], axis=1)


def _even(line: Points) -> Points:
    """Resample a closed line at equal steps; its first point is repeated at the end."""
    ring = np.concatenate([line, line[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    count = max(LEAST_POINTS, round(along[-1] / SPACING))
    at = np.linspace(0, along[-1], count + 1)
    return np.stack([np.interp(at, along, ring[:, k]) for k in (0, 1)], axis=1)


def _subject_on_right(line: Points, subject: Mask) -> Points:
    side = right_hand(line)
    inside = subject.astype(np.float32)
    right, left = read(inside, line + 1.5 * side).sum(), read(inside, line - 1.5 * side).sum()
    return line if right >= left else line[::-1].copy()


def _settle(line: Points, margin: Floats) -> Points:
    """Move each point along its normal to the nearest place where the margin is zero."""
    normal = right_hand(line)
    offsets = np.arange(-SEARCH, SEARCH + 0.01, 0.25)
    value = read_along(margin, line, normal, offsets)
    falls = (value[:, :-1] >= 0) & (value[:, 1:] < 0)
    middle = (offsets[:-1] + offsets[1:]) / 2
    cost = np.where(falls, np.abs(middle), np.inf)
    best = cost.argmin(axis=1)
    row = np.arange(len(line))
    upper, lower = value[row, best], value[row, best + 1]
    part = upper / np.maximum(upper - lower, 1e-6)
    moved = np.where(falls[row, best], offsets[best] + 0.25 * part, np.nan)
    moved = _fill(moved)
    return line + moved[:, None] * normal


def _begun_where_usual(line: Points, margin: Floats) -> Points:
    """A closed line (first point repeated at the end) whose edge begins as it is mostly.

    If it does not, what is unusual there, as spill is, would be cut in two: it begins elsewhere.
    """
    reach = BESIDE * right_hand(line)
    fall = np.subtract(read(margin, line - reach), read(margin, line + reach))[:-1]
    over, usual = min(AT_BEGINNING, fall.size), float(np.median(fall))
    around = np.concatenate([fall[-(over // 2) :], fall, fall[: (over - 1) // 2]])
    unusual = np.convolve(np.abs(around - usual), np.full(over, 1 / over), mode="valid")
    start = 0 if unusual[0] < MOST_UNUSUAL * usual else int(unusual.argmin())
    points = np.roll(line[:-1], -start, axis=0)
    return np.concatenate([points, points[:1]])


def _fill(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Replace NaN by interpolation along the line; zero where nothing is known."""
    known = np.isfinite(values)
    if not known.any():
        return np.zeros_like(values)
    index = np.arange(len(values))
    return np.interp(index, index[known], values[known])


def _runs(line: Points, keep: Mask) -> list[Points]:
    """The stretches of a closed line (first point repeated at the end) that are kept."""
    if keep.all():
        return [line]
    if not keep.any():
        return []
    start = int(np.flatnonzero(~keep)[0])
    line, keep = np.roll(line[:-1], -start, axis=0), np.roll(keep[:-1], -start)
    change = np.flatnonzero(np.diff(np.concatenate([[False], keep, [False]]).astype(int)))
    return [line[a:b] for a, b in zip(change[::2], change[1::2], strict=True)]


def without_gaps(mask: Mask, outline: Outline, gap: float) -> Mask:
    """A mask along the outlines with its gaps shorter than so many pixels filled."""
    filled = mask.copy()
    for run in runs_of(~mask, outline.line):
        within = run.start > 0 and run.stop < len(mask) and mask[run.start - 1] and mask[run.stop]
        if within and outline.step[run].sum() < gap:
            filled[run] = True
    return filled


def long_runs(mask: Mask, outline: Outline, least: float) -> Mask:
    """What of a mask along the outlines goes on for at least so many pixels."""
    kept = np.zeros(len(mask), bool)
    for run in runs_of(mask, outline.line):
        kept[run] = outline.step[run].sum() >= least
    return kept


def along(inward: Points) -> Points:
    """(N, 2) unit vectors along the outline at which those into the subject are these."""
    return np.stack([inward[:, 1], -inward[:, 0]], axis=1)
