"""The true outline of the subject against the backdrop, and how far white crosses it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.levels import WHITE
from inspector.zones import BACKDROP, SUBJECT

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]

_SMOOTHING_PX = 2.0
"""Sigma along the contour that takes the pixels' steps out of its length and normals."""

_REACH = 0.06
"""How deep a ray goes, as a share of the long side."""

_STEP_PX = 0.5
_BRIDGE_PX = 6.0
"""Spilled stretches closer than this are one run."""


@dataclass(frozen=True, eq=False)
class Outline:
    """The edge as points about a pixel apart on the border of subject and backdrop.

    ``points`` (N, 2) viewed x, y (pixel i spans [i, i + 1)); ``inward`` (N, 2) unit vectors into
    the subject; ``length`` (N,) pixels of edge that each point stands for; ``contour`` (N,)
    number of the closed contour it lies on; ``depth`` (H, W) float32, for each pixel of the
    subject its distance from the backdrop in pixels, 0 elsewhere.
    """

    points: Floats
    inward: Floats
    length: Floats
    contour: NDArray[np.int64]
    depth: Picture

    @property
    def length_px(self) -> float:
        """Length of the edge in viewed pixels."""
        return float(self.length.sum())

    @property
    def tolerance_px(self) -> float:
        """How far white may cross before it is spill: 3 px or 0.1 % of the long side."""
        return float(max(3.0, 0.001 * max(self.depth.shape)))

    def rays(self, picture: Picture, distances: Floats, *, by: int = cv2.INTER_LINEAR) -> Picture:
        """(N, K) samples of an (H, W) picture at (K,) distances along the inward normals."""
        at = self.points[:, None] + distances[None, :, None] * self.inward[:, None]
        x, y = ((at[..., k] - 0.5).astype(np.float32) for k in (0, 1))
        blocks = [
            cv2.remap(picture, x[i : i + 8192], y[i : i + 8192], by) for i in range(0, len(x), 8192)
        ]
        return np.vstack(blocks) if blocks else np.zeros((0, len(distances)), np.float32)


@dataclass(frozen=True, eq=False)
class Crossing:
    """How white light crosses the outline, point by point.

    ``headroom_ev`` (N,) change of exposure at which paper white reaches deeper than the
    tolerance there, infinite where the subject is thinner; ``whole_ev`` (N,) the change at which
    the first pixel that lies wholly past the tolerance is white; ``depth_px`` (N,) how deep white
    reaches now.
    """

    headroom_ev: Floats
    whole_ev: Floats
    depth_px: Floats


def trace(zones: NDArray[np.uint8], figure: Picture, *, blur_px: float) -> Outline:
    """Follow the border of subject and backdrop, strands thinner than the fringe left out.

    ``figure`` (H, W) is the figures' coverage; the points lie where it passes a half.
    """
    subject = zones == SUBJECT
    depth = _depth_from(zones == BACKDROP) * subject
    smooth = cv2.GaussianBlur(depth, (0, 0), 1.5)
    gx, gy = (cv2.Sobel(smooth, cv2.CV_32F, dx, 1 - dx, ksize=3) for dx in (1, 0))
    stout = _stout(subject, 3 * blur_px)
    pieces = []
    contours, _ = cv2.findContours(subject.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    for number, contour in enumerate(contours):
        pixels = contour[:, 0]
        if len(pixels) < 8:
            continue
        x, y = pixels[:, 0], pixels[:, 1]
        course = _smooth_closed(pixels + 0.5)
        spacing = np.hypot(*(np.roll(course, -1, 0) - np.roll(course, 1, 0)).T) / 2
        normal = _smooth_closed(np.stack((gx[y, x], gy[y, x]), axis=1).astype(float))
        normal /= np.maximum(np.hypot(*normal.T), 1e-9)[:, None]
        keep = (depth[y, x] <= 1.0) & stout[y, x] & _off_border(x, y, zones.shape)
        on = np.full(int(keep.sum()), number)
        pieces.append((course[keep], normal[keep], spacing[keep], on))
    if not pieces:
        none = np.zeros((0, 2))
        return Outline(none, none, np.zeros(0), np.zeros(0, np.int64), depth)
    points, inward, length, contour_of = (np.concatenate(p) for p in zip(*pieces, strict=True))
    rough = Outline(points, inward, length, contour_of, depth)
    return replace(rough, points=points + _half_way(rough, figure)[:, None] * inward)


def _half_way(rough: Outline, figure: Picture) -> Floats:
    """(N,) distance inwards at which the coverage passes a half, to a part of a pixel."""
    t = np.arange(-2, 2.01, 0.25)
    covered = rough.rays(figure, t)
    inside = covered >= 0.5
    # The last step from outside to inside; where there is none, half a pixel out.
    step = inside[:, 1:] & ~inside[:, :-1]
    i = np.where(step.any(axis=1), step.shape[1] - 1 - step[:, ::-1].argmax(axis=1), 0)
    row = np.arange(len(covered))
    low, high = covered[row, i], covered[row, i + 1]
    part = (0.5 - low) / np.maximum(high - low, 1e-6)
    return np.asarray(np.where(step.any(axis=1), t[i] + 0.25 * np.clip(part, 0, 1), -0.5), float)


def _depth_from(backdrop: NDArray[np.bool_]) -> Picture:
    if not backdrop.any():
        return np.zeros(backdrop.shape, np.float32)
    away = cv2.distanceTransform((~backdrop).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return np.asarray(np.maximum(away - 0.5, 0), np.float32)


def _stout(subject: NDArray[np.bool_], width: float) -> NDArray[np.bool_]:
    """The subject opened by a disc of the given radius, grown again a little further."""
    inside = cv2.distanceTransform(subject.astype(np.uint8), cv2.DIST_L2, 5)
    heart = inside > width
    if not heart.any():
        return np.zeros_like(subject)
    away = cv2.distanceTransform((~heart).astype(np.uint8), cv2.DIST_L2, 5)
    return np.asarray(subject & (away <= 1.5 * width + 2))


def _smooth_closed(values: NDArray[np.float64]) -> Floats:
    """Gaussian along a closed course of (N, K) values one pixel apart, by its spectrum."""
    n = len(values)
    turn = 2 * np.pi * np.fft.rfftfreq(n)
    keep = np.exp(-0.5 * (turn * _SMOOTHING_PX) ** 2)[:, None]
    return np.asarray(np.fft.irfft(np.fft.rfft(values, axis=0) * keep, n, axis=0))


def _off_border(
    x: NDArray[np.int32], y: NDArray[np.int32], shape: tuple[int, ...]
) -> NDArray[np.bool_]:
    return np.asarray((x > 1) & (y > 1) & (x < shape[1] - 2) & (y < shape[0] - 2))


def cross(light: Picture, outline: Outline) -> Crossing:
    """Find how far paper white, joined to the backdrop, reaches in (light (H, W, 3))."""
    t = np.arange(0, _REACH * max(outline.depth.shape), _STEP_PX)
    past = (outline.tolerance_px, outline.tolerance_px + 0.5)
    t = np.unique(np.append(t, past))
    limit, whole = np.searchsorted(t, past).tolist()
    least = outline.rays(np.ascontiguousarray(light.min(axis=2)), t)
    joined = np.minimum.accumulate(least, axis=1)
    depth = outline.rays(outline.depth, t)
    headroom = np.log2(WHITE / np.maximum(joined[:, [limit, whole]], 1e-9)).astype(float)
    # Where the subject is thinner than twice the tolerance, white cannot lie deeper in it.
    headroom[depth[:, limit] < outline.tolerance_px - 1] = np.inf
    reached = np.where(joined >= WHITE, depth, 0).max(axis=1, initial=0)
    return Crossing(headroom[:, 0], headroom[:, 1], reached.astype(float))


def spilled(outline: Outline, headroom_ev: Floats, *, ev: float = 0.0) -> float:
    """Fraction of the edge whose headroom (N,) is used up when exposed ``ev`` stops brighter."""
    if outline.length_px == 0:
        return 0.0
    return float(outline.length[headroom_ev <= ev].sum() / outline.length_px)


def spill_runs(outline: Outline, crossing: Crossing) -> list[NDArray[np.int64]]:
    """Indices of the points of each run of spilled edge, longest first."""
    spilt = np.flatnonzero(crossing.headroom_ev <= 0)
    if len(spilt) == 0:
        return []
    gap = np.hypot(*np.diff(outline.points[spilt], axis=0).T) > _BRIDGE_PX
    runs = np.split(spilt, np.flatnonzero(gap) + 1)
    first, last = outline.points[spilt[0]], outline.points[spilt[-1]]
    if len(runs) > 1 and np.hypot(*(first - last)) <= _BRIDGE_PX:
        runs = [np.concatenate((runs[-1], runs[0])), *runs[1:-1]]
    return sorted(runs, key=lambda run: -float(outline.length[run].sum()))


def run_box(
    outline: Outline, crossing: Crossing, run: NDArray[np.int64]
) -> tuple[int, int, int, int]:
    """Box of a run and of the white that reached in from it, viewed pixels, half open."""
    ends = outline.points[run] + crossing.depth_px[run, None] * outline.inward[run]
    both = np.vstack((outline.points[run], ends))
    x0, y0 = np.maximum(np.floor(both.min(axis=0)), 0).astype(int)
    x1, y1 = np.ceil(both.max(axis=0)).astype(int)
    height, width = outline.depth.shape
    return int(x0), int(y0), min(int(x1), width), min(int(y1), height)


def ramp_px(green: Picture, outline: Outline) -> float | None:
    """Median 10 to 90 % distance across the edge between core level and white.

    The core is the subject less a band as deep as the ramp, and the ramp hangs on its level.
    """
    ramp = 0.1 * float(outline.depth.max())
    for _ in range(2):
        core = outline.depth > ramp
        if len(outline.points) == 0 or not core.any():
            return None
        each = _ramps(green, outline, float(np.median(green[core])))
        if not np.isfinite(each).any():
            return None
        ramp = float(np.nanmedian(each))
    return ramp


def _ramps(green: Picture, outline: Outline, core: float) -> Floats:
    """(N,) 10 to 90 % distance at each point; NaN where light does not fall so."""
    t = np.arange(-10, _REACH * max(green.shape), 0.25)
    # Straight lines between the pixels would widen a sharp ramp by a tenth.
    level = np.minimum(outline.rays(green, t, by=cv2.INTER_LANCZOS4), 1)
    top = np.median(level[:, t < -6], axis=1, keepdims=True)
    rise = np.asarray((level - core) / np.maximum(top - core, 1e-6), float)
    return _first_under(rise, 0.1, t) - _first_under(rise, 0.9, t)


def _first_under(rise: Floats, share: float, t: Floats) -> Floats:
    """(N,) distance at which each profile first falls below a share; NaN where it does not."""
    below = rise < share
    i = np.clip(below.argmax(axis=1), 1, len(t) - 1)
    row = np.arange(len(rise))
    a, b = rise[row, i - 1], rise[row, i]
    part = np.clip((a - share) / np.maximum(a - b, 1e-6), 0, 1)
    at = t[i - 1] + part * (t[1] - t[0])
    return np.asarray(np.where(below.any(axis=1) & ~below[:, 0], at, np.nan), float)
