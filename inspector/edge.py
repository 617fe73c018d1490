"""The subject's edge against the backdrop: ramp, spill runs, hot spots."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from inspector.across import Across, look_across
from inspector.arrays import Floats, Mask, Points, distance_to, median_of
from inspector.bite import find_bites
from inspector.clean_part import compare_falls
from inspector.doubt import find_doubts, less_sure, undoubted
from inspector.fringe import thin_parts
from inspector.headroom import Headroom, headroom_at
from inspector.holes import Island
from inspector.hot_spots import HotSpot, find_hot_spots, light_for_holes
from inspector.levels import Levels
from inspector.onset import Onset, find_onset
from inspector.outline import Outline, tolerance_px
from inspector.place import Box
from inspector.profile import ramps
from inspector.spill import SpillRun, find_spill, may_spill
from inspector.terrace import find_terraces
from inspector.zones import Zones

__all__ = ["Box", "Edge", "HotSpot", "SpillRun", "measure_edge", "tolerance_px"]

USUAL_RAMP_PX = 4.0
"""Taken where no ramp could be measured."""
TOLD_SHARE = 0.5
"""So much of the outline must show its ramp in fine profiles, else coarse ones tell it."""

SPILLED_EV, LEAST_SPILLED_EV = 0.45, 0.02
"""By so much the exposure change that takes spill away may be seen too great; it is at least so
much, stops."""
KNOWN = 0.4
"""An onset known so well, part of the tolerance, tells how near white is to crossing there."""


@dataclass(frozen=True, eq=False)
class Edge:
    """What was measured along the subject's edge.

    Attributes
    ----------
    length_px : float
        Length of the edge, viewed pixels, strands and foils left out; 0 when there is none.
    ramp_px : float or None
        Median 10 to 90 % distance between core level and white.
    spill_fraction : float or None
        Length of sure spill over length of edge.
    spill : tuple of SpillRun
        Sure ones first, longest first.
    hot_spots : tuple of HotSpot
        Largest first.
    headroom : Headroom or None
        Exposure changes at which white would cross the edge; below zero where it surely has. The
        least counts the outline where it may lie beneath white light, too. None without an edge.
    core : ndarray, bool
        (h, w) of the working picture: the subject less the band as deep as the ramp.
    spilled : ndarray, bool
        (h, w) white that surely lies on the subject though it joins the backdrop.
    """

    length_px: float
    ramp_px: float | None
    spill_fraction: float | None
    spill: tuple[SpillRun, ...]
    hot_spots: tuple[HotSpot, ...]
    headroom: Headroom | None
    core: Mask
    spilled: Mask


def measure_edge(levels: Levels, zones: Zones, *, hot_spot_area: float) -> Edge:
    """Measure ramp, spill and hot spots along the border of subject and backdrop.

    Parameters
    ----------
    hot_spot_area : float
        Area, part of the picture, from which a hot spot warns.
    """
    away = distance_to(zones.backdrop)
    if zones.begins is None:
        core = _core(levels, zones, away, USUAL_RAMP_PX)
        spots = find_hot_spots(levels, zones.islands, hot_spot_area)
        return Edge(0.0, None, None, (), spots, None, core, np.zeros(core.shape, bool))
    level, tolerance = _core_level(levels, zones, away), tolerance_px(levels.frame.size)
    across = look_across(levels, zones, zones.begins, away, core=level, tolerance=tolerance)
    ramp = _ramp(ramps(zones.spread, core=level), across, most=len(zones.spread))
    islands, runs, headroom = _islands_and_spill(levels, zones, across, tolerance)
    counts = _counts(levels, zones, across.outline, runs)
    length = float(across.outline.step[counts].sum())
    return Edge(
        length_px=length,
        ramp_px=ramp,
        spill_fraction=min(1.0, sum(r.length_px for r in runs if r.sure) / length),
        spill=runs,
        hot_spots=find_hot_spots(levels, islands, hot_spot_area),
        headroom=replace(headroom, counts=counts),
        core=_core(levels, zones, away, ramp or USUAL_RAMP_PX),
        spilled=_spilled(levels, across, runs),
    )


def _islands_and_spill(
    levels: Levels, zones: Zones, across: Across, tolerance: float
) -> tuple[tuple[Island, ...], tuple[SpillRun, ...], Headroom]:
    """Islands, where white has crossed the edge, and by how many stops it would elsewhere."""
    falls = compare_falls(across, blur=zones.blur_px, tolerance=tolerance)
    suspect = may_spill(across, falls, grid=zones.grid)
    onset = find_onset(
        levels,
        zones.backdrop_ev,
        across.outline,
        across.white_at,
        suspect,
        known=zones.plate_shift is not None,
        blur=zones.blur_px,
        tolerance=tolerance,
    )
    doubts = find_doubts(levels, zones, across, tolerance=tolerance)
    bites = terraces = np.zeros_like(across.white_at)
    if not zones.grid:
        terraces = find_terraces(levels, zones, across, falls, tolerance=tolerance)
        terraces = undoubted(terraces, across.outline, doubts)
        bites = find_bites(
            levels, zones.backdrop_ev, across, falls, blur=zones.blur_px, tolerance=tolerance
        )
    runs, like_spill = find_spill(
        across,
        falls,
        suspect,
        onset,
        np.maximum(bites, terraces),
        tolerance=tolerance,
        centre=_centre(levels, zones),
        size=levels.frame.size,
    )
    runs = less_sure(runs, falls, bites, doubts)
    islands, lit = light_for_holes(levels, zones, across.outline, runs)
    left = (run for run in runs if not lit[run.span].any())
    runs = tuple(sorted(left, key=lambda r: (-r.sure, -r.length_px)))
    beneath = _beneath_white(levels, across, onset, like_spill, tolerance)
    return islands, runs, _with_spill(across, beneath, runs, lit)


def _counts(levels: Levels, zones: Zones, outline: Outline, runs: tuple[SpillRun, ...]) -> Mask:
    """(N,) where the outline counts as edge: not along what is thinner than the fringe.

    Sure runs always do: little of the subject may be left beside them.
    """
    x, y = np.floor(levels.from_view(outline.points)).astype(np.intp).T
    height, width = zones.subject.shape
    x, y = np.clip(x, 0, width - 1), np.clip(y, 0, height - 1)
    thin = thin_parts(zones.subject, zones.strands, zones.blur_px / levels.scale)
    counts = ~thin[y, x]
    for run in runs:
        counts[run.span] |= run.sure
    return counts if counts.any() else np.ones_like(counts)


def _ramp(found: Points, across: Across, *, most: int) -> float | None:
    """Median ramp; where much of the outline glows further in than fine profiles go, coarsely."""
    told = found if found.size >= TOLD_SHARE * most else across.rise[across.rise > 0]
    return float(np.median(told)) if told.size else None


def _beneath_white(
    levels: Levels, across: Across, onset: Onset, look: Mask, tolerance: float
) -> Points:
    """(N,) the least exposure change at which white crosses an edge that looks like spill; or NaN.

    Where the onset is unknown, white may be about to.
    """
    look = look & np.isfinite(across.headroom.ev)
    known = look & (onset.error < KNOWN * tolerance)
    headroom = np.where(look, 0.0, np.nan)
    if known.any():
        headroom[known], *_ = headroom_at(
            levels, across.outline.at(known), onset.at[known] + tolerance
        )
    return headroom


def _with_spill(across: Across, beneath: Points, runs: tuple[SpillRun, ...], lit: Mask) -> Headroom:
    """The headroom with sure spill, below zero there, and the outline ``beneath`` white light.

    What is but the border of ``lit`` patches is no edge.
    """
    found, told = across.headroom, across.headroom.told.copy()
    ev, most = (np.where(lit, np.inf, h) for h in (found.ev, found.most_ev))
    least = np.where(lit, np.inf, np.fmin(found.least_ev, beneath))
    for run in runs:
        if run.sure:
            spilled = np.minimum(across.spilled_ev[run.span], -LEAST_SPILLED_EV)
            ev[run.span], least[run.span], told[run.span] = spilled, spilled, False
            most[run.span] = np.minimum(spilled + SPILLED_EV, -LEAST_SPILLED_EV)
    return replace(found, ev=ev, least_ev=least, most_ev=most, told=told, rough=found.rough & told)


def _spilled(levels: Levels, across: Across, runs: tuple[SpillRun, ...]) -> Mask:
    """The band from the end of white out to where the light departs from the backdrop's."""
    band = np.zeros(levels.ev.shape, np.uint8)
    for run in runs:
        overlap = across.overlap[run.span]
        known = np.isfinite(overlap) & run.sure
        if known.sum() < 2:
            continue
        points, inward = run.points[known], run.inward[known]
        inner = points + (across.white_at[run.span][known, None] + 2) * inward
        outer = inner - (overlap[known, None] + 4) * inward
        ring = levels.from_view(np.concatenate([inner, outer[::-1]]))
        cv2.fillPoly(band, [np.round(ring).astype(np.int32)], 1)
    return band > 0


def _core_level(levels: Levels, zones: Zones, away: Floats) -> float:
    deep = _core(levels, zones, away, 2 * USUAL_RAMP_PX)
    return 2.0 ** median_of(levels.ev, deep) if deep.any() else 0.0


def _core(levels: Levels, zones: Zones, away: Floats, ramp: float) -> Mask:
    """The subject less a band along the edge as deep as the ramp (at least the fringe)."""
    return zones.subject & ~zones.fringe & (away > ramp / levels.scale)


def _centre(levels: Levels, zones: Zones) -> Points:
    moments = cv2.moments(zones.subject.view(np.uint8), binaryImage=True)
    return levels.to_view(np.array([moments["m10"], moments["m01"]]) / moments["m00"] + 0.5)
