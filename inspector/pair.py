"""Two frames of the same pose, laid on each other, so that their light can be compared."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import log2

import cv2
import numpy as np

from inspector.align import Shift, find_shift, line_of_light
from inspector.apex import stops_brighter
from inspector.arrays import Floats, Mask
from inspector.frame import Shot
from inspector.inspect import Inspection
from inspector.levels import RESPONDS, Levels

LINE = 0.5
"""Light of the backdrop on the line by which frames are laid on each other: well under white."""
LEAST_PIXELS = 40
"""Fewer working pixels tell nothing."""
TOLD_SHARE = 0.02
"""Part of the background that both frames must tell."""
REACH = 0.02
"""How far the subject may have moved, part of the long side."""
MOST_MISFIT = 1.5
"""Median misfit along the outline above which the pose has changed, working pixels."""
MOST_CHANGED = 0.03
"""Part of the subject that may stand where it did not stand before."""
SMEAR = 5
"""Differences narrower than this are the outline's own uncertainty, working pixels."""

CALM = 2.0
"""Width of the Gaussian by whose levels channels are chosen, working pixels."""
NEARLY = 0.93
"""Part of its range up to which a channel is compared: even its noise responds there."""
LEAST_LEVEL = 2.0**-8
"""Light below this is too noisy to compare pixel by pixel."""


class PairError(ValueError):
    """Why two frames cannot be compared, as a sentence with the remedy."""


@dataclass(frozen=True, eq=False)
class Pair:
    """A second frame on the grid of a first.

    Attributes
    ----------
    first, second : Inspection
    light : ndarray, float32
        (h, w) green light of the second, in units of its white, moved onto the first.
    ev : ndarray, float32
        (h, w) its stops, moved alike.
    core : ndarray, bool
        (h, w) True where both have the subject's core, less its border, and can tell its light.
    shift : tuple of float
        (x, y) viewed pixels by which the subject stands elsewhere in the second.
    settings_ev : float or None
        Stops by which the second's aperture, shutter and ISO make it brighter; None where the
        files do not tell.
    """

    first: Inspection
    second: Inspection
    light: Floats
    ev: Floats
    core: Mask
    shift: tuple[float, float]
    settings_ev: float | None


def lay_on(first: Inspection, second: Inspection, *, flash: bool = False) -> Pair:
    """Lay a second frame of the same pose on a first.

    Parameters
    ----------
    flash : bool
        The light is flash alone, so that the shutter time does not change it.

    Raises
    ------
    PairError
        If a frame has no white backdrop, they differ in size, or the pose has changed.
    """
    for one in (first, second):
        if not one.zones.found:
            raise PairError(
                f"{one.frame.path}: no white background is found in it; take it of the lit set"
            )
    if first.levels.ev.shape != second.levels.ev.shape:
        raise PairError(
            f"{second.frame.path}: has another size than {first.frame.path}; use frames of the "
            "same camera, crop and orientation"
        )
    settings = settings_ev(first.frame.shot, second.frame.shot, flash=flash)
    shift = _subject_shift(first, second, _brighter(first, second, settings or 0.0))
    move = np.array([[1, 0, shift.x], [0, 1, shift.y]], np.float32)
    subject = _moved_mask(second.zones.subject, move)
    _refuse_changed(first, second, subject)
    light = moved(green_light(second.levels), move)
    told = responds(first.levels) & _moved_mask(responds(second.levels), move)
    core = _inside(first.edge.core) & _moved_mask(_inside(second.edge.core), move) & told
    scale = first.levels.scale
    return Pair(
        first,
        second,
        light,
        moved(second.levels.ev, move),
        core,
        (shift.x * scale, shift.y * scale),
        settings,
    )


def settings_ev(first: Shot, second: Shot, *, flash: bool) -> float | None:
    """Stops by which the second shot's settings make it brighter; None if not known."""
    if flash:
        first, second = (replace(shot, shutter_s=1.0) for shot in (first, second))
    return stops_brighter(second, first)


def green_light(levels: Levels) -> Floats:
    """(h, w) mean level of the green (or only) channels, 1 at the white point; may be below 0."""
    return np.asarray(levels.rendered[..., _green(levels)].mean(axis=-1), np.float32)


def responds(levels: Levels) -> Mask:
    """(h, w) True where no green channel is near its clip."""
    green = _green(levels)
    return np.asarray((levels.rendered[..., green] < RESPONDS * levels.top[green]).all(axis=-1))


def by_shared_channels(first: Levels, second: Levels, where: Mask) -> Floats:
    """(h, w) stops from one frame to the other by channels that respond in both; NaN for none.

    A channel against itself: neither the surface's tint nor where it clips has a say. Green where
    it tells, else what does.

    Parameters
    ----------
    where : ndarray, bool
        (h, w) the surface that is compared.
    """
    both = first, second
    told = np.broadcast_to(where[..., None], first.rendered.shape)
    for levels in both:
        # By smoothed levels, since by the pixels' own noise would be cut on one side.
        calm = np.dstack([smooth_within(plane, where, CALM) for plane in _planes(levels)])
        told = told & (calm > LEAST_LEVEL) & (calm < NEARLY * levels.top) & (levels.rendered > 0)
    ratio = np.log2(np.where(told, second.rendered, 1) / np.where(told, first.rendered, 1))
    green = _green(first)
    use = told & np.where(told[..., green].any(axis=-1, keepdims=True), green, ~green)
    count = use.sum(axis=-1)
    mean = np.where(use, ratio, 0).sum(axis=-1) / np.maximum(count, 1)
    return np.asarray(np.where(count > 0, mean, np.nan), np.float32)


def smooth_within(plane: Floats, inner: Mask, sigma: float) -> Floats:
    """A Gaussian's mean over the mask's own pixels; what lies outside has no say."""
    weight = cv2.GaussianBlur(inner.astype(np.float32), (0, 0), sigma)
    total = cv2.GaussianBlur(np.where(inner, plane, 0).astype(np.float32), (0, 0), sigma)
    return np.asarray(total / np.maximum(weight, 1e-3), np.float32)


def _planes(levels: Levels) -> list[Floats]:
    return [levels.rendered[..., c] for c in range(levels.rendered.shape[2])]


def _green(levels: Levels) -> Mask:
    return np.array([name[0] in "GL" for name in levels.frame.channels])


def moved(picture: Floats, move: Floats) -> Floats:
    """A picture (h, w) read where ``move`` (2, 3) takes each of its places."""
    height, width = picture.shape
    read = cv2.warpAffine(
        picture,
        move,
        (width, height),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(read, np.float32)


def _moved_mask(mask: Mask, move: Floats) -> Mask:
    return moved(mask.astype(np.float32), move) > 0.5


def _inside(mask: Mask) -> Mask:
    """A mask less its border: a pixel that is moved by a part takes in what lies beside it."""
    return np.asarray(cv2.erode(mask.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0, bool)


def background_change(first: Inspection, second: Inspection) -> float | None:
    """Stops by which the second frame's background is brighter; None if too little of it tells.

    The background stands still, so nothing is moved.
    """
    both = first.zones.backdrop & ~first.zones.fringe
    both &= second.zones.backdrop & ~second.zones.fringe
    change = by_shared_channels(first.levels, second.levels, both)[both]
    change = change[np.isfinite(change)]
    if change.size < max(LEAST_PIXELS, TOLD_SHARE * both.sum()):
        return None
    return float(np.median(change))


def _brighter(first: Inspection, second: Inspection, settings: float) -> float:
    """Stops by which the second frame's background is brighter, as well as it is known."""
    change = background_change(first, second)
    return settings if change is None else change


def _subject_shift(first: Inspection, second: Inspection, brighter: float) -> Shift:
    """Working pixels by which the subject stands elsewhere; nought where there is none.

    Looked at is how much of each pixel the backdrop covers: unlike the light on the outline, that
    does not depend on how the subject itself is lit.
    """
    near = cv2.dilate(first.zones.subject.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    white = np.float32(2.0 ** (first.exposure.ev_p50 or 0.0))
    here, there = _cover(first, white, 0.0), _cover(second, white, brighter)
    level = log2(min(LINE / float(white), 0.5))
    line = line_of_light(here, level, near | first.zones.backdrop).within(near)
    reach = REACH * max(here.shape)
    shift = find_shift(line, here, there, reach=max(6.0, reach))
    if shift is None:
        return Shift()
    if shift.spread > MOST_MISFIT or np.hypot(shift.x, shift.y) > reach:
        raise PairError(_moved_too_far(first, second))
    return shift


def _cover(seen: Inspection, white: np.float32, brighter: float) -> Floats:
    """(h, w) log2 of the part of each pixel that the backdrop, lit to ``white``, covers.

    Light on the outline is that of backdrop and subject by their parts of the pixel; the
    subject's own is carried on from its core.
    """
    light = np.exp2(seen.levels.ev - np.float32(brighter))
    own = np.zeros_like(light)
    known = np.zeros(light.shape, bool)
    for sigma in (2.0, 8.0, 32.0):  # near light first; farther only where there is none
        weight = cv2.GaussianBlur(seen.edge.core.astype(np.float32), (0, 0), sigma)
        total = cv2.GaussianBlur(np.where(seen.edge.core, light, 0), (0, 0), sigma)
        reach = ~known & (weight > 0.02)
        own[reach] = (total / np.maximum(weight, 0.02))[reach]
        known |= reach
    cover = (light - own) / np.maximum(white - own, 0.1)
    return np.asarray(np.log2(np.maximum(cover, 2.0**-8)), np.float32)


def _refuse_changed(first: Inspection, second: Inspection, subject: Mask) -> None:
    """Raise PairError if the subject, moved, does not cover what it covered."""
    kernel = np.ones((SMEAR, SMEAR), np.uint8)
    differs = (first.zones.subject ^ subject).astype(np.uint8)
    changed = int(cv2.morphologyEx(differs, cv2.MORPH_OPEN, kernel).sum())
    if changed > MOST_CHANGED * max(int(first.zones.subject.sum()), 1000):
        raise PairError(_moved_too_far(first, second))


def _moved_too_far(first: Inspection, second: Inspection) -> str:
    return (
        f"{second.frame.path}: the pose differs too much from {first.frame.path}; take both "
        "again with the subject held still, or with a stand-in"
    )
