"""Two frames of the same pose, laid on each other, so that their light can be compared."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from inspector.align import Shift, find_shift, line_of_light
from inspector.apex import stops_brighter
from inspector.arrays import Floats, Mask
from inspector.frame import Shot
from inspector.inspect import Inspection
from inspector.levels import RESPONDS, Levels

LINE_EV = -1.2
"""Light on the outline by which frames are laid on each other, stops under the backdrop's white."""
REACH = 0.02
"""How far the subject may have moved, part of the long side."""
MOST_MISFIT = 1.5
"""Median misfit along the outline above which the pose has changed, working pixels."""
MOST_CHANGED = 0.03
"""Part of the subject that may stand where it did not stand before."""
SMEAR = 5
"""Differences narrower than this are the outline's own uncertainty, working pixels."""


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
        (h, w) True where both have the subject's core, and both can tell its light.
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
    shift = _subject_shift(first, second)
    move = np.array([[1, 0, shift.x], [0, 1, shift.y]], np.float32)
    subject = _moved_mask(second.zones.subject, move)
    _refuse_changed(first, second, subject)
    light = moved(green_light(second.levels), move)
    told = responds(first.levels) & _moved_mask(responds(second.levels), move)
    core = first.edge.core & _moved_mask(second.edge.core, move) & told
    scale = first.levels.scale
    return Pair(
        first,
        second,
        light,
        moved(second.levels.ev, move),
        core,
        (shift.x * scale, shift.y * scale),
        settings_ev(first.frame.shot, second.frame.shot, flash=flash),
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


def _subject_shift(first: Inspection, second: Inspection) -> Shift:
    """Working pixels by which the subject stands elsewhere; nought where there is none."""
    near = cv2.dilate(first.zones.subject.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    here, there = first.levels.ev, second.levels.ev
    level = min(first.exposure.ev_p50 or 0.0, 0.0) + LINE_EV
    points, normals = line_of_light(here, level, near | first.zones.backdrop)
    beside = near[points[:, 1].astype(int), points[:, 0].astype(int)]
    # Both backdrops are brought to the same level; the line is where light falls from there.
    lift = min(first.exposure.ev_p50 or 0.0, 0.0) - min(second.exposure.ev_p50 or 0.0, 0.0)
    reach = REACH * max(here.shape)
    shift = find_shift(
        points[beside],
        normals[beside],
        here,
        np.asarray(there + np.float32(lift), np.float32),
        level,
        reach=max(6.0, reach),
    )
    if shift is None:
        return Shift()
    if shift.spread > MOST_MISFIT or np.hypot(shift.x, shift.y) > reach:
        raise PairError(_moved_too_far(first, second))
    return shift


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
