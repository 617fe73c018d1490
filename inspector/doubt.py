"""What else than spill explains a run of white light: hair that hangs there, a seam behind it."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from inspector.across import Across
from inspector.arrays import Floats, Mask, Points, distance_to
from inspector.clean_part import Falls
from inspector.levels import Levels
from inspector.outline import TOLERANCE_PX, read_along
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


def less_sure_in_hair(
    runs: tuple[SpillRun, ...], levels: Levels, zones: Zones, tangled: Mask, *, tolerance: float
) -> tuple[SpillRun, ...]:
    """The runs; light between strands, or behind one, is no sure spill."""
    if not any(run.sure for run in runs):
        return runs
    over_ev = levels.ev - zones.backdrop_ev
    light = np.exp2(np.minimum(over_ev, np.float32(0)))
    unit = tolerance / TOLERANCE_PX / levels.scale
    slope = RIPPLED / unit

    def in_hair(run: SpillRun) -> bool:
        points, inward = levels.from_view(run.points), run.inward
        depth = run.depth_px / levels.scale
        amid = read_along(over_ev, points, inward, depth * AMID)
        if np.median(amid.max(axis=1)) > BRIGHTER_EV:
            return False
        strands = bool(tangled[run.span].mean() > MOSTLY)
        if strands and depth < STAIRS_PX * unit:
            stairs = in_stairs(light, points, inward, depth=depth, unit=unit)
            if np.median(stairs) > STAIRS:
                return True
        return rippled(light, points, inward, depth=depth, slope=slope, strands=strands)

    return tuple(replace(run, sure=run.sure and not in_hair(run)) for run in runs)


def less_sure_along_seams(
    runs: tuple[SpillRun, ...],
    levels: Levels,
    zones: Zones,
    across: Across,
    falls: Falls,
    bites: Points,
) -> tuple[SpillRun, ...]:
    """The runs; one that ends as sharply as a clean edge may be a seam's, where that goes on.

    So may a bite, where a seam passes its middle.
    """
    if not any(run.sure for run in runs):
        return runs
    open_backdrop = (zones.backdrop & ~zones.fringe).astype(np.uint8)
    inner = cv2.erode(open_backdrop, np.ones((3, 3), np.uint8)) > 0
    light = np.where(inner, levels.ev - zones.backdrop_ev, np.nan).astype(np.float32)
    from_subject = distance_to(zones.subject)

    def along_seam(run: SpillRun) -> bool:
        if bitten_by_seam(run, levels, light, across, bites):
            return True
        begins = np.nan_to_num(across.white_at[run.span]) - run.depths
        ends = run.points + begins[:, None] * run.inward
        if falls.soft[run.span].mean() >= SHARP:
            return False
        # As near to the subject the same light may lie on it elsewhere.
        beside = from_subject < BESIDE * run.depth_px / levels.scale
        return goes_on(np.where(beside, np.float32(np.nan), light), levels.from_view(ends))

    return tuple(replace(run, sure=run.sure and not along_seam(run)) for run in runs)


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
