"""What is known of a simulated frame: zones, outline, figures and verdict, by the contract."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Mask
from inspector.frame import Frame
from inspector.levels import WHITE
from inspector.simulate.camera import Camera
from inspector.simulate.count import cell_fractions, saturated
from inspector.simulate.outline import (
    Crossing,
    Outline,
    cross,
    ramp_px,
    run_box,
    spill_runs,
    spilled,
    trace,
)
from inspector.simulate.window import TrueWindow, find_window
from inspector.simulate.zones import find_fringe, label
from inspector.verdict import Limits
from inspector.zones import BACKDROP, SUBJECT, SURROUND

Box = tuple[int, int, int, int]

LIT_EV = -3.5
"""A backdrop whose middle lies below this is not lit: the flash did not fire."""


@dataclass(frozen=True)
class TrueSpill:
    """One run of spilled edge: box and lengths in viewed pixels."""

    box: Box
    length_px: float
    depth_px: float


@dataclass(frozen=True)
class TrueIsland:
    """A paper-white island inside the subject; ``warns`` if over the default area limit."""

    box: Box
    area_px: int
    warns: bool


@dataclass(frozen=True, eq=False)
class Truth:
    """All that is known of one frame; arrays are (H, W), as viewed, one entry a sensor pixel.

    Attributes
    ----------
    zones : ndarray, uint8
        ``SURROUND``, ``BACKDROP`` or ``SUBJECT`` by the larger coverage; all surround where no
        backdrop is lit.
    fringe : ndarray, bool
        The band of three sigma of the blur on both sides of every border and loose strand.
    backdrop_ev : ndarray, float32
        Stops of green after the lens, without clip, noise or ceiling, everywhere.
    found : bool
        Whether a lit backdrop is there.
    clip_levels, saturated : ndarray
        (C,) true clip level; (C,) fraction of the channel's sites at it.
    ceiling_ev : float
    white_fraction, blown_fraction : float or None
        Counted on the mosaic, backdrop less fringe.
    ev_p1, ev_p50, ev_p99 : float or None
        True stops of the backdrop less fringe, no ceiling applied.
    depth_ev : float or None
        Minus the median stops of the core (mean of the channels, green twice).
    veil_fraction : float or None
        Level of the core over that of the backdrop, both medians.
    ramp_px : float or None
        Median 10 to 90 % distance across the edge.
    blur_px : float
    edge_length_px, spill_fraction : float
    spill, hot_spots : tuple
    window_low_ev, window_high_ev : float or None
        Exposure changes at which the backdrop comes to pass and up to which the edge passes,
        from re-scaling the noise-free light; None where there is none up to 6 stops.
    window_high_whole_ev : float or None
        The high end where white has crossed only when the first pixel wholly past the tolerance
        is white, half a pixel deeper.
    outline : Outline
    look : str
        The look the scene is meant for.
    plate : bool
    """

    zones: NDArray[np.uint8]
    fringe: Mask
    backdrop_ev: NDArray[np.float32]
    found: bool
    clip_levels: NDArray[np.float64]
    saturated: NDArray[np.float64]
    ceiling_ev: float
    white_fraction: float | None
    blown_fraction: float | None
    ev_p1: float | None
    ev_p50: float | None
    ev_p99: float | None
    depth_ev: float | None
    veil_fraction: float | None
    ramp_px: float | None
    blur_px: float
    edge_length_px: float
    spill_fraction: float | None
    spill: tuple[TrueSpill, ...]
    hot_spots: tuple[TrueIsland, ...]
    window_low_ev: float | None
    window_high_ev: float | None
    window_high_whole_ev: float | None
    outline: Outline
    look: str = "silhouette"
    plate: bool = False

    def misses(self, look: str | None = None, limits: Limits | None = None) -> tuple[str, ...]:
        """The contract's rules that the frame misses, by the name of the figure."""
        limits = limits or Limits()
        if not self.found:
            return ("backdrop.found",)
        missed = []
        if self.white_fraction is None or self.white_fraction < limits.white_fraction:
            missed.append("backdrop.white_fraction")
        if self.plate:
            return tuple(missed)
        if self.spill_fraction is None or self.spill_fraction > limits.spill_fraction:
            missed.append("edge.spill_fraction")
        if any(spot.warns for spot in self.hot_spots):
            missed.append("subject.hot_spots")
        filled = (look or self.look) == "filled"
        least = limits.filled_depth_ev if filled else limits.silhouette_depth_ev
        if self.depth_ev is None or self.depth_ev < least:
            missed.append("subject.depth_ev")
        return tuple(missed)

    def verdict(self, look: str | None = None, limits: Limits | None = None) -> str:
        """``pass`` or ``warn`` under a look, the scene's own by default."""
        return "warn" if self.misses(look, limits) else "pass"


def find_truth(
    light: NDArray[np.float32],
    frame: Frame,
    camera: Camera,
    *,
    figure_cover: NDArray[np.float32],
    strand_cover: NDArray[np.float32],
    face_cover: NDArray[np.float32],
    blur_px: float,
    look: str,
    plate: bool,
) -> Truth:
    """Work out the truth from the noise-free light (H, W, 3) behind the lens and the frame."""
    zones = label(figure_cover, face_cover)
    fringe = find_fringe(zones, strand_cover, blur_px)
    ev = np.log2(np.maximum(light[..., 1], 1e-6))
    clean = (zones == BACKDROP) & ~fringe
    middle = float(np.median(ev[clean])) if clean.any() else -np.inf
    found = bool(middle > LIT_EV)
    if not found:
        zones = np.full_like(zones, SURROUND)
        clean = np.zeros_like(clean)
    outline = trace(zones, figure_cover, blur_px=blur_px)
    crossing = cross(light, outline)
    percentiles = np.percentile(ev[clean], (1, 50, 99)).tolist() if found else [None] * 3
    white, blown = cell_fractions(frame, camera, clean) if found else (None, None)
    window = find_window(light, clean, outline, crossing) if found else TrueWindow()
    ramp = ramp_px(np.ascontiguousarray(light[..., 1]), outline)
    depth = _depth(light, outline, ramp, blur_px)
    return Truth(
        zones=zones,
        fringe=fringe,
        backdrop_ev=ev.astype(np.float32),
        found=found,
        clip_levels=camera.per_channel(camera.clip),
        saturated=saturated(frame, camera),
        ceiling_ev=camera.ceiling_ev,
        white_fraction=white,
        blown_fraction=blown,
        ev_p1=percentiles[0],
        ev_p50=percentiles[1],
        ev_p99=percentiles[2],
        depth_ev=depth,
        veil_fraction=None if depth is None else 2 ** -(depth + middle),
        ramp_px=ramp,
        blur_px=blur_px,
        edge_length_px=outline.length_px,
        spill_fraction=(spilled(outline, crossing.headroom_ev) if outline.length_px else None),
        spill=_runs(outline, crossing),
        hot_spots=hot_spots(light.min(axis=2), zones),
        window_low_ev=window.low_ev,
        window_high_ev=window.high_ev,
        window_high_whole_ev=window.high_whole_ev,
        outline=outline,
        look=look,
        plate=plate,
    )


def hot_spots(
    darkest: NDArray[np.float32], zones: NDArray[np.uint8], limits: Limits | None = None
) -> tuple[TrueIsland, ...]:
    """Paper-white islands inside the subject that do not touch the backdrop, largest first.

    ``darkest`` (H, W) is the least of the channels' rendered levels.
    """
    subject = zones == SUBJECT
    if not subject.any():
        return ()
    x0, y0, w, h = cv2.boundingRect(subject.astype(np.uint8))
    x0, y0, x1, y1 = max(x0 - 1, 0), max(y0 - 1, 0), x0 + w + 1, y0 + h + 1
    box = (slice(y0, y1), slice(x0, x1))
    white = (darkest[box] >= WHITE) & subject[box]
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        white.astype(np.uint8), connectivity=8
    )
    near = cv2.dilate((zones[box] == BACKDROP).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    outside = np.zeros(count, np.bool_)
    outside[np.unique(labels[near])] = True
    limit = (limits or Limits()).hot_spot_area * zones.size
    islands = []
    for k in range(1, count):
        x, y, w, h, area = (int(n) for n in stats[k])
        if not outside[k]:
            islands.append(
                TrueIsland((x0 + x, y0 + y, x0 + x + w, y0 + y + h), area, area >= limit)
            )
    return tuple(sorted(islands, key=lambda i: -i.area_px))


def _depth(
    light: NDArray[np.float32], outline: Outline, ramp: float | None, blur_px: float
) -> float | None:
    core = outline.depth > max(ramp or 0.0, 3 * blur_px)
    if not core.any():
        return None
    mean = (light[..., 0] + 2 * light[..., 1] + light[..., 2])[core] / 4
    return float(-np.median(np.log2(np.maximum(mean, 1e-6))))


def _runs(outline: Outline, crossing: Crossing) -> tuple[TrueSpill, ...]:
    return tuple(
        TrueSpill(
            run_box(outline, crossing, run),
            float(outline.length[run].sum()),
            float(crossing.depth_px[run].max()),
        )
        for run in spill_runs(outline, crossing)
    )
