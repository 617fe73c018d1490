"""How far from white each part is: backdrop, depth of the subject, veil, exposure window."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask, median_of, share_of, some
from inspector.cast import at_least_white
from inspector.edge import Edge
from inspector.headroom import HighEnd, high_end
from inspector.levels import FLOOR_EV, WHITE, Levels, stops
from inspector.place import Box, place_in, view_box
from inspector.tint import backdrop_tint
from inspector.zones import Zones

AT_CEILING = 0.03
"""A reading so near the ceiling, in stops, may be any higher."""
ENOUGH_PIXELS = 120_000
"""So many working pixels of a backdrop give its percentiles."""
AVERAGED = (3, 3)
"""Working pixels over which the backdrop's light is averaged: noise would widen its percentiles."""
LEAST_SHORT = 0.0005
"""Smallest part of the backdrop that is named as a short region."""
MOSTLY = 0.5
"""Part of a short region from which on a shadow makes it."""


@dataclass(frozen=True)
class ShortRegion:
    """A connected part of the backdrop that is not paper white.

    ``ev`` are its median stops; ``shadow`` is whether the subject's own shadow makes most of it.
    """

    where: str
    box: Box
    area_px: int
    ev: float
    shadow: bool


@dataclass(frozen=True)
class Window:
    """Least and greatest exposure change, in stops, that still pass (None: there is none).

    ``high_ev`` is what the edge stands. ``low_is`` and ``high_is`` are ``exact``, ``at_most`` or
    ``at_least``. ``safe_high_ev`` is the high end as far as the edge shows it (None: as
    ``high_ev``): advice counts on no more. ``subject_high_ev`` is the greatest change at which
    the subject is still as dark as its look asks for.
    """

    low_ev: float | None = None
    low_is: str | None = None
    high_ev: float | None = None
    high_is: str | None = None
    safe_high_ev: float | None = None
    subject_high_ev: float | None = None

    @property
    def edge_high_ev(self) -> float | None:
        """What the edge stands, as far as it shows it."""
        return self.high_ev if self.safe_high_ev is None else self.safe_high_ev

    @property
    def subject_decides(self) -> bool:
        """Whether the subject turns too light before the edge gives way."""
        edge, subject = self.edge_high_ev, self.subject_high_ev
        return subject is not None and (edge is None or subject < edge)

    @property
    def shown_high_ev(self) -> float | None:
        """The greatest change that edge and subject both stand, as far as the edge shows it."""
        return self.subject_high_ev if self.subject_decides else self.edge_high_ev

    @property
    def holds_today(self) -> bool:
        """Whether the exposure as shot lies inside, as far as the edge shows it."""
        low, high = self.low_ev, self.shown_high_ev
        return low is not None and low <= 0 and (high is None or high >= 0)


@dataclass(frozen=True)
class Exposure:
    """The figures of one frame; None where the frame cannot tell.

    Fractions 0 to 1, stops relative to white. ``veil_is`` is ``exact`` or ``at_most``.
    ``side_ev`` is by how many stops the subject's left side is brighter than its right;
    ``brightest_ev`` the brightest hundredth of the picture.
    """

    backdrop_area: float
    white_fraction: float | None = None
    blown_fraction: float | None = None
    ev_p1: float | None = None
    ev_p50: float | None = None
    ev_p99: float | None = None
    short_regions: tuple[ShortRegion, ...] = ()
    subject_area: float = 0.0
    depth_ev: float | None = None
    side_ev: float | None = None
    veil_fraction: float | None = None
    veil_is: str | None = None
    window: Window = Window()
    brightest_ev: float | None = None


def measure_exposure(
    levels: Levels,
    zones: Zones,
    edge: Edge,
    *,
    white_limit: float,
    spill_limit: float,
    depth_limit: float,
) -> Exposure:
    """Measure backdrop, subject and exposure window of one frame.

    Parameters
    ----------
    white_limit : float
        Least fraction of the backdrop that must be paper white; sets the window's low end.
    spill_limit : float
        Greatest fraction of the edge that may spill; sets the window's high end.
    depth_limit : float
        Least depth of the subject, stops under white; sets where it turns too light.
    """
    area = share_of(zones.backdrop)
    if not zones.found:
        return Exposure(backdrop_area=0.0, brightest_ev=float(np.percentile(levels.ev, 99)))
    inner = zones.backdrop & ~zones.fringe & ~edge.spilled
    if not inner.any():
        inner = zones.backdrop
    tint = backdrop_tint(levels, zones)
    each = _stops_in(inner, levels.rendered, levels, tint)
    # Averaging would hide the lines of a grid.
    even = each if zones.grid else _stops_in(inner, _averaged(levels, inner), levels, tint)
    p1, p50, p99 = (min(float(p), levels.ceiling_ev) for p in np.quantile(even, (0.01, 0.5, 0.99)))
    weakest = min(float(np.quantile(each, 1 - white_limit)), levels.ceiling_ev)
    white = float(levels.white[inner].mean())
    depth = _depth(levels, edge.core)
    veil, veil_is = _veil(depth, p50, levels.ceiling_ev)
    low, low_is = _low_end(weakest, levels.ceiling_ev, tint, passes=white >= white_limit)
    high = high_end(edge.headroom, spill_limit) if edge.headroom is not None else HighEnd()
    return Exposure(
        backdrop_area=area,
        white_fraction=white,
        blown_fraction=float(levels.blown[inner].mean()),
        ev_p1=p1,
        ev_p50=p50,
        ev_p99=p99,
        short_regions=short_regions(levels, inner, zones.shadow),
        subject_area=share_of(zones.subject),
        depth_ev=depth,
        side_ev=_side(levels, edge.core),
        veil_fraction=veil,
        veil_is=veil_is,
        window=Window(
            low,
            low_is,
            high.ev,
            high.kind,
            high.safe_ev,
            None if depth is None else depth - depth_limit,
        ),
    )


def _stops_in(inside: Mask, light: Floats, levels: Levels, tint: NDArray[np.float64]) -> Floats:
    """(M,) stops of rendered ``light`` (h, w, C) at enough of the places inside."""
    rendered, white = (some(one, inside, most=ENOUGH_PIXELS) for one in (light, levels.white))
    ev = stops(rendered, levels.top, levels.frame.channels, tint=tint)
    return at_least_white(ev, white, levels.tint)


def _averaged(levels: Levels, inside: Mask) -> Floats:
    """(h, w, C) rendered light averaged over what lies near and ``inside``; for places inside."""
    share = cv2.blur(inside.astype(np.float32), AVERAGED)
    light = np.where(inside[..., None], levels.rendered, np.float32(0))
    near = cv2.blur(light, AVERAGED).reshape(light.shape)
    return np.asarray(near / np.where(inside, share, 1)[..., None], np.float32)


def short_regions(levels: Levels, backdrop: Mask, shadow: Mask) -> tuple[ShortRegion, ...]:
    """Connected parts of the (h, w) backdrop that are not paper white, largest first.

    ``shadow`` (h, w) is where the subject's own falls on it.
    """
    each = (backdrop & (levels.white < 0.5)).astype(np.uint8)
    short = cv2.morphologyEx(each, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    least = max(9.0, LEAST_SHORT * np.count_nonzero(backdrop))
    if np.count_nonzero(short) < least:
        return ()
    count, label, stats, _ = cv2.connectedComponentsWithStats(short, connectivity=8)
    regions = []
    for i in range(1, count):
        x, y, w, h, area = (int(v) for v in stats[i])
        if area < least:
            continue
        inside = np.s_[y : y + h, x : x + w]
        part = label[inside] == i
        ev = float(np.median(levels.ev[inside][part]))
        box = view_box(levels, (x, y, x + w, y + h))
        where, area_px = place_in(box, levels.frame.size), area * levels.scale**2
        in_shadow = bool(shadow[inside][part].mean() > MOSTLY)
        regions.append(ShortRegion(where, box, area_px, ev, in_shadow))
    return tuple(sorted(regions, key=lambda r: -r.area_px))


def _depth(levels: Levels, core: Mask) -> float | None:
    """Median stops under white of the core, from the mean of a cell: it may have any colour."""
    if not core.any():
        return None
    names = levels.frame.channels
    green = sum(name[0] == "G" for name in names)
    # Half of a Bayer cell is green, whether its greens are read apart or not.
    share = [1 if green == 0 else 2 / green if name[0] == "G" else 1 for name in names]
    light = np.average(some(levels.rendered, core, most=ENOUGH_PIXELS), axis=-1, weights=share)
    return -float(np.median(np.log2(np.maximum(light, 2.0**FLOOR_EV))))


def _side(levels: Levels, core: Mask) -> float | None:
    """Stops by which the left third of the core is brighter than the right third."""
    so_far = np.cumsum(np.count_nonzero(core, axis=0))
    if so_far[-1] < 100:
        return None
    left, right = np.searchsorted(so_far, (0.33 * so_far[-1], 0.67 * so_far[-1]))
    thirds = (np.s_[:, : left + 1], np.s_[:, right:])
    brighter, darker = (median_of(levels.ev[part], core[part]) for part in thirds)
    return brighter - darker


def _veil(depth: float | None, p50: float, ceiling: float) -> tuple[float | None, str | None]:
    """Core over backdrop level (ISO 9358's ratio); the most it can be when that is clipped."""
    if depth is None:
        return None, None
    return float(2.0 ** (-depth - p50)), "at_most" if p50 > ceiling - AT_CEILING else "exact"


def _low_end(
    weakest: float, ceiling: float, tint: NDArray[np.float64], *, passes: bool
) -> tuple[float, str]:
    """Change at which just enough of the backdrop is still paper white: down to its ``weakest``.

    White is where all channels are: the ``tint`` (C,) of the darkest counts.
    """
    change = float(np.log2(WHITE / min(1.0, tint.min()))) - weakest
    change = min(change, 0.0) if passes else max(change, 0.01)
    return change, "at_most" if weakest > ceiling - AT_CEILING else "exact"
