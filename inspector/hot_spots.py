"""Hot spots: paper-white islands inside the subject."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from inspector.arrays import Mask
from inspector.holes import Island, white_islands
from inspector.levels import Levels
from inspector.outline import Outline
from inspector.place import Box, view_box
from inspector.spill import SpillRun
from inspector.zones import Zones

ALL_AROUND, LARGEST = 0.6, 0.0025
"""Spill around so much of a patch's outline is none, if it is no larger part of the picture: deep
spill may go all around a larger gap."""
BESIDE = 2
"""A patch's outline lies so near its box, working pixels."""
LEAST_PX = 4
"""Fewer white pixels are no hot spot."""


@dataclass(frozen=True)
class HotSpot:
    """A paper-white island inside the subject. ``warns`` if it is over the area limit."""

    box: Box
    area_px: int
    warns: bool
    sure: bool


def light_for_holes(
    levels: Levels, zones: Zones, outline: Outline, runs: tuple[SpillRun, ...]
) -> tuple[tuple[Island, ...], Mask]:
    """The islands, with small patches that seem to spill nearly all around: no hole does.

    Returns
    -------
    tuple
        The islands, and (N,) where the outline is but the border of such a patch.
    """
    spills, lit = (np.zeros(len(outline.line), bool) for _ in range(2))
    for run in runs:
        spills[run.span] |= run.sure
    x, y = levels.from_view(outline.points).T
    islands, light = [], np.zeros(zones.label.shape, bool)
    for island in zones.islands:
        x0, y0, x1, y1 = island.box
        around = (x > x0 - BESIDE) & (x < x1 + BESIDE) & (y > y0 - BESIDE) & (y < y1 + BESIDE)
        length, spilled = (outline.step[here].sum() for here in (around, around & spills))
        small = np.count_nonzero(island.mask) <= LARGEST * light.size
        if small and not island.sure and spilled > ALL_AROUND * length:
            islands.append(replace(island, sure=True, hole=False))
            lit |= around
            light[y0:y1, x0:x1] |= island.mask
        else:
            islands.append(island)
    if lit.any():
        backdrop, subject = zones.backdrop & ~light, zones.subject | light
        islands = white_islands(levels.white, backdrop, subject, islands)
    return tuple(islands), lit


def find_hot_spots(
    levels: Levels, islands: tuple[Island, ...], limit: float
) -> tuple[HotSpot, ...]:
    """Paper-white parts of the islands inside the subject, largest first.

    Parameters
    ----------
    limit : float
        Area, part of the picture, from which a sure one warns.
    """
    picture = levels.frame.size[0] * levels.frame.size[1]
    spots = []
    for island in islands:
        x0, y0, x1, y1 = island.box
        white = levels.white[y0:y1, x0:x1] * island.mask
        area = round(float(white.sum()) * levels.scale**2)
        if island.hole or area < LEAST_PX:
            continue
        y, x = np.nonzero(white > 0)
        box = (x0 + int(x.min()), y0 + int(y.min()), x0 + int(x.max()) + 1, y0 + int(y.max()) + 1)
        warns = island.sure and area >= limit * picture
        spots.append(HotSpot(view_box(levels, box), area, warns, island.sure))
    return tuple(sorted(spots, key=lambda s: -s.area_px))
