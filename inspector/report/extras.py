"""Small extras of a frame for the report of its set: they need the pixels, so they are kept.

The worker adds them to the record under ``histogram`` and ``profile``.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from inspector.edge import SpillRun
from inspector.inspect import Inspection
from inspector.outline import joined
from inspector.profile import read_sites

PER_STOP = 12
LOW_EV, HIGH_EV = -9 - 0.5 / PER_STOP, 0.5 + 0.5 / PER_STOP
"""Range of the histogram, stops over the channel's clip level; 0 is the middle of a bin."""
SITES = 200_000
"""Photosites per channel that are enough for it."""
SPAN = 6
"""Outline points on either side of the worst spot; the median of their profiles is kept."""
OUTSIDE_PX = 12.0


def extras(inspection: Inspection) -> dict[str, Any]:
    """Level histogram and edge profile of one frame, ready for JSON.

    ``histogram``: ``low_ev`` and ``step_ev`` of the bins (stops over the channel's clip level),
    ``channels``: for R, G, B (or L) the share of sites in each bin in millionths, ``stated_ev``
    (where the metadata puts the clip) and ``white_ev`` (where the channel reaches paper white).

    ``profile``: ``where`` (None: the whole edge), ``sure``, ``offset_px`` (inwards positive) and
    ``ev`` (stops over white, at most 0; null outside the picture); None if there is no edge.
    """
    return {"histogram": histogram(inspection), "profile": profile(inspection)}


def histogram(inspection: Inspection) -> dict[str, Any]:
    """The level histogram of each colour, see ``extras``."""
    frame, clip = inspection.frame, inspection.levels.clip
    edges = np.linspace(LOW_EV, HIGH_EV, round((HIGH_EV - LOW_EV) * PER_STOP) + 1)
    channels: dict[str, Any] = {}
    for name in dict.fromkeys(c[0] for c in frame.channels):
        index = [k for k, c in enumerate(frame.channels) if c[0] == name]
        span = (clip.level - frame.black)[index]
        counts = np.sum([_counts(inspection, k, edges) for k in index], axis=0)
        channels[name] = {
            "millionths": np.rint(counts * 1e6 / max(1.0, counts.sum())).astype(int).tolist(),
            "stated_ev": _log2(((frame.stated_clip - frame.black)[index] / span).mean()),
            "white_ev": _log2(1 / frame.gains[index].mean()),
        }
    return {"low_ev": LOW_EV, "step_ev": 1 / PER_STOP, "channels": channels}


def _counts(
    inspection: Inspection, channel: int, edges: NDArray[np.float64]
) -> NDArray[np.float64]:
    """How many of a sample of a channel's sites lie in each bin of stops under its clip level."""
    frame = inspection.frame
    if frame.mosaic.ndim == 3:
        sites = [frame.mosaic[..., channel]]
    else:
        ph, pw = frame.pattern.shape
        places = np.argwhere(frame.pattern == channel).tolist()
        sites = [frame.mosaic[y::ph, x::pw] for y, x in places]
    step = max(1, int(np.sqrt(sum(s.size for s in sites) / SITES)))
    number = np.bincount(np.concatenate([s[::step, ::step].ravel() for s in sites]))
    raw = np.flatnonzero(number)
    black = frame.black[channel]
    level = (raw - black) / (inspection.levels.clip.level[channel] - black)
    ev = np.log2(np.clip(level, 2.0 ** edges[0], 2.0 ** edges[-1])).clip(edges[0], edges[-1])
    return np.histogram(ev, edges, weights=number[raw])[0].astype(np.float64)


def _log2(value: float) -> float | None:
    return round(float(np.log2(value)), 4) if np.isfinite(value) and value > 0 else None


def profile(inspection: Inspection) -> dict[str, Any] | None:
    """The profile across the edge at the worst spot, see ``extras``."""
    runs = [r for r in inspection.edge.spill if len(r.points)]
    if runs:
        worst = max(runs, key=lambda r: (r.sure, r.depth_px))
        points, inward = _around_deepest(worst)
        reach = max(30.0, 1.6 * worst.depth_px)
        return {"where": worst.where, "sure": worst.sure} | _read(inspection, points, inward, reach)
    outlines = tuple(o for o in inspection.zones.outlines if len(o) > 2)
    if not outlines:
        return None
    outline = joined(outlines)
    some = outline.at(slice(None, None, max(1, len(outline.points) // 400)))
    return {"where": None, "sure": None} | _read(inspection, some.points, some.inward, 30.0)


def _around_deepest(run: SpillRun) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    k = int(run.depths.argmax())
    near = np.s_[max(0, k - SPAN) : k + SPAN + 1]
    return run.points[near], run.inward[near]


def _read(
    inspection: Inspection,
    points: NDArray[np.float64],
    inward: NDArray[np.float64],
    reach: float,
) -> dict[str, Any]:
    offsets = np.arange(-OUTSIDE_PX, reach + 1, max(1.0, round(reach / 60)))
    level = np.minimum(read_sites(inspection.levels, points, inward, offsets).rendered, 1.0)
    level = np.sort(level, axis=0)  # NaN last
    known = np.isfinite(level).sum(axis=0)
    median = level[known // 2, np.arange(len(offsets))]
    ev = np.log2(np.maximum(median, 2.0**LOW_EV))
    return {
        "offset_px": offsets.tolist(),
        "ev": [round(float(v), 3) if np.isfinite(v) else None for v in ev],
    }
