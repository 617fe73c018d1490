"""What else than spill explains a run of white light: hair that hangs there, a seam behind it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np

from inspector.across import Across
from inspector.arrays import Floats, Points, distance_to
from inspector.clean_part import Falls
from inspector.levels import Levels
from inspector.outline import TOLERANCE_PX, Outline, read_along, runs_of
from inspector.ripple import RIPPLED, in_stairs, rippled
from inspector.seam import goes_on, passes
from inspector.spill import SpillRun
from inspector.zones import Zones

SHARP = 0.5
"""Part of a run that falls more slowly than a clean edge, below which a seam may explain it."""
BRIGHTER_EV, AMID = 0.1, np.array([0.25, 0.5, 0.75])
"""Light is no backdrop between strands where it is brighter by more, stops, somewhere on the way
in; read at these parts of it."""
MOSTLY_BITTEN = 0.75
"""A run is a bite where so much of it is one."""
MOSTLY, STAIRS, STAIRS_PX = 0.5, 0.5, 12.0
"""Where strands hang before such a part of a run, light that falls so unevenly lies behind them;
deeper light may step at the outline, pixels for a tolerance of 3 px."""
BESIDE = 1.3
"""A seam is looked for further from the subject than that: so many times the run's depth."""


@dataclass(frozen=True)
class Doubts:
    """What may explain light on a stretch of the outline, a slice of its points.

    Attributes
    ----------
    in_hair : callable
        Whether light on a stretch, so many pixels deep, lies in hair.
    along_seam, at_joint : callable
        Whether the line along which it begins goes on in the backdrop, and whether any straight
        step of the backdrop passes where it begins; by how far inwards it reaches at each point,
        and mostly.
    bitten_by_seam : callable
        Whether a seam passes the middle of a run that is a bite, by the depths of bites.
    """

    in_hair: Callable[[slice, float], bool]
    along_seam: Callable[[slice, Points, float], bool]
    at_joint: Callable[[slice, Points, float], bool]
    bitten_by_seam: Callable[[SpillRun, Points], bool]


def find_doubts(levels: Levels, zones: Zones, across: Across, *, tolerance: float) -> Doubts:
    """The tests of what else than spill explains light along the edge of a frame."""
    unit = tolerance / TOLERANCE_PX / levels.scale
    outline = across.outline

    @cache
    def over_ev() -> Floats:
        return levels.ev - zones.backdrop_ev

    @cache
    def light() -> Floats:
        return np.exp2(np.minimum(over_ev(), np.float32(0)))

    @cache
    def open_light() -> Floats:
        open_backdrop = (zones.backdrop & ~zones.fringe).astype(np.uint8)
        inner = cv2.erode(open_backdrop, np.ones((3, 3), np.uint8)) > 0
        return np.where(inner, over_ev(), np.nan).astype(np.float32)

    @cache
    def from_subject() -> Floats:
        return distance_to(zones.subject)

    def in_hair(span: slice, depth_px: float) -> bool:
        points, inward = levels.from_view(outline.points[span]), outline.inward[span]
        depth = depth_px / levels.scale
        amid = read_along(over_ev(), points, inward, depth * AMID)
        if np.median(amid.max(axis=1)) > BRIGHTER_EV:
            return False
        strands = bool(across.tangled[span].mean() > MOSTLY)
        if strands and depth < STAIRS_PX * unit:
            stairs = in_stairs(light(), points, inward, depth=depth, unit=unit)
            if np.median(stairs) > STAIRS:
                return True
        return rippled(light(), points, inward, depth=depth, slope=RIPPLED / unit, strands=strands)

    def ends_of(span: slice, depths: Points) -> Points:
        begins = np.nan_to_num(across.white_at[span]) - depths
        return levels.from_view(outline.at(span).inwards(begins))

    def light_beyond(depth_px: float) -> Floats:
        # As near to the subject the same light may lie on it elsewhere.
        beside = from_subject() < BESIDE * depth_px / levels.scale
        return np.where(beside, np.float32(np.nan), open_light())

    def along_seam(span: slice, depths: Points, depth_px: float) -> bool:
        return goes_on(light_beyond(depth_px), ends_of(span, depths))

    def at_joint(span: slice, depths: Points, depth_px: float) -> bool:
        return passes(light_beyond(depth_px), np.median(ends_of(span, depths), axis=0))

    def bitten(run: SpillRun, bites: Points) -> bool:
        return bitten_by_seam(run, levels, open_light(), across, bites)

    return Doubts(in_hair, along_seam, at_joint, bitten)


def undoubted(terraces: Points, outline: Outline, doubts: Doubts) -> Points:
    """(N,) the depths of terraces, 0 where hair or a seam explains them."""
    kept = terraces.copy()
    for span in runs_of(terraces > 0, outline.line):
        depth = float(np.median(terraces[span]))
        if (
            doubts.in_hair(span, depth)
            or doubts.along_seam(span, terraces[span], depth)
            or doubts.at_joint(span, terraces[span], depth)
        ):
            kept[span] = 0.0
    return kept


def less_sure(
    runs: tuple[SpillRun, ...], falls: Falls, bites: Points, doubts: Doubts
) -> tuple[SpillRun, ...]:
    """The runs; light in hair is no sure spill, nor is what may be a seam's.

    What ends as sharply as a clean edge may be, where the seam goes on; and a bite, where one
    passes its middle.
    """

    def doubted(run: SpillRun) -> bool:
        if doubts.in_hair(run.span, run.depth_px) or doubts.bitten_by_seam(run, bites):
            return True
        sharp = falls.soft[run.span].mean() < SHARP
        return bool(sharp and doubts.along_seam(run.span, run.depths, run.depth_px))

    return tuple(replace(run, sure=run.sure and not doubted(run)) for run in runs)


def bitten_by_seam(
    run: SpillRun, levels: Levels, light: Floats, across: Across, bites: Points
) -> bool:
    """Whether a seam passes the middle of a run that is a bite."""
    bitten = bites[run.span] > 0
    if bitten.mean() < MOSTLY_BITTEN:
        return False
    middle = np.nan_to_num(across.white_at[run.span]) - bites[run.span] / 2
    places = run.points + middle[:, None] * run.inward
    return passes(light, levels.from_view(np.median(places[bitten], axis=0)))
