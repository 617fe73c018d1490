"""The under frame: the same pose one to three stops darker shows what lies beneath the clip."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from inspector.align import Shift, find_shift, line_of_light
from inspector.levels import RESPONDS, Levels, Under, stops
from inspector.surface import slope
from inspector.zones import Zones

LEAST_STOPS, MOST_STOPS = 0.5, 4.5
"""A frame this much darker is an under frame."""
LINE_EV = -1.2
"""Light on the outline by which the two are laid on each other, stops of the brighter frame."""
REACH = 0.02
"""How far the subject may have moved, part of the long side."""
MOST_MISFIT = 1.5
"""Median misfit along the outline above which the pose has changed, working pixels."""
DARKEST_EV = -7.5
"""Light under this, in the under frame, is too noisy to compare."""


class UnderError(ValueError):
    """Why a frame cannot be laid under another, as a sentence."""


def lay_under(levels: Levels, zones: Zones, under: Levels) -> Levels:
    """Fill in what is saturated in a frame from a darker frame of the same pose.

    Returns
    -------
    Levels
        Those of the frame, its channels carried on above their clip and its ceiling raised.

    Raises
    ------
    UnderError
        If the frames differ in size, the second is not one to three stops darker, or the pose
        has changed.
    """
    if under.ev.shape != levels.ev.shape or under.scale != levels.scale:
        raise UnderError("it has another size; use a frame of the same camera and orientation")
    difference = stops_darker(levels, under)
    if difference is None or not LEAST_STOPS <= difference <= MOST_STOPS:
        dark = difference is not None and difference >= 0.05
        said = f"{difference:.1f} stops darker" if dark else "no darker"
        raise UnderError(f"it is {said}; take it one to three stops darker")
    shift = _subject_shift(levels, zones, under, difference)
    move = np.array([[1, 0, shift.x], [0, 1, shift.y]], np.float32)
    height, width = levels.ev.shape
    below = cv2.warpAffine(
        under.rendered,
        move,
        (width, height),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    ).reshape(levels.rendered.shape)
    gains = levels.frame.gains
    lost = levels.rendered >= RESPONDS * gains
    rendered = np.where(lost, below * 2.0**difference, levels.rendered).astype(np.float32)
    top = under.top * 2.0**difference
    return replace(
        levels,
        rendered=rendered,
        top=top,
        ceiling_ev=under.ceiling_ev + difference,
        ev=stops(rendered, top, levels.frame.channels),
        under=Under(under, (shift.x * levels.scale, shift.y * levels.scale), difference),
    )


def stops_darker(levels: Levels, under: Levels, *, darkest_ev: float = DARKEST_EV) -> float | None:
    """Stops by which a frame is darker than another of the same pose; None if it cannot be told.

    The median over the brightest smooth parts that both can tell; a small shift does not matter.
    Light under ``darkest_ev``, in the darker frame, has no say.
    """
    smooth = (slope(levels.ev) < 0.05) & (slope(under.ev) < 0.05)
    told = (levels.ev < levels.ceiling_ev - 0.1) & (under.ev > darkest_ev) & smooth
    if told.sum() < 200:
        return None
    bright = told & (levels.ev >= np.percentile(levels.ev[told], 60))
    return float(np.median((levels.ev - under.ev)[bright]))


def _subject_shift(levels: Levels, zones: Zones, under: Levels, difference: float) -> Shift:
    near = cv2.dilate(zones.subject.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    points, normals = line_of_light(levels.ev, LINE_EV, near | zones.backdrop)
    beside = near[points[:, 1].astype(int), points[:, 0].astype(int)]
    there = np.asarray(under.ev + np.float32(difference), np.float32)
    reach = REACH * max(levels.ev.shape)
    shift = find_shift(
        points[beside], normals[beside], levels.ev, there, LINE_EV, reach=max(6.0, reach)
    )
    if shift is None:
        return Shift()
    if shift.spread > MOST_MISFIT or np.hypot(shift.x, shift.y) > reach:
        raise UnderError("the subject moved too far between the two; take it again, held still")
    return shift
