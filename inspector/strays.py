"""What is in the frame of an empty set that should not be: a stand, a seam, dust, stray light."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from inspector.advice import stops_text
from inspector.arrays import Floats, Mask, disc
from inspector.levels import Levels
from inspector.place import Box, place_in, view_box
from inspector.zones import Zones

OBJECT, LINE, MARK, LIGHT = "object", "line", "mark", "light"
LEAST_OBJECT = 0.0002
"""Smallest thing before the background that is named, part of the picture."""
LEAST_DIP_EV = 0.04
"""Shallowest seam or mark that is named, stops under its surroundings."""
WIDTH = 0.02
"""Seams and marks are narrower than this, part of the long side."""
BRIDGE = 0.02
"""Pieces so near each other belong together, part of the long side."""
LINE_LENGTH, LINE_ASPECT = 0.06, 4.0
"""A seam is at least so long, part of the long side, and so many times as long as wide."""
STRAY_EV = -2.0
"""Light beside the background from which it is named, stops."""
LEAST_STRAY = 0.0005
"""Smallest patch of it, part of the picture."""
MOST_NAMED = 12


@dataclass(frozen=True)
class Stray:
    """One thing that should not be there.

    ``kind`` is OBJECT (stands before the background), LINE (a seam or fold), MARK (a stain, or
    dust on the sensor) or LIGHT (on floor or wall beside the background). ``ev`` is its median
    light, stops relative to white; ``dip_ev`` how far it lies under the background around it,
    None for LIGHT. ``matters`` says that it will be seen in the picture.
    """

    kind: str
    where: str
    box: Box
    ev: float
    dip_ev: float | None
    matters: bool


def find_strays(levels: Levels, zones: Zones, ev: Floats) -> tuple[Stray, ...]:
    """What stands before, lies on and shines beside the background of an empty set.

    Parameters
    ----------
    ev : ndarray, float32
        (h, w) stops of the background, as far up as they are known. Seams and marks above the
        ceiling cannot be seen, nor will they be in the picture.
    """
    found = (
        *_objects(levels, zones, ev),
        *_dips(levels, zones, ev),
        *_stray_light(levels, zones),
    )
    return tuple(sorted(found, key=lambda s: (not s.matters, -_area(s.box)))[:MOST_NAMED])


def what(stray: Stray) -> str:
    """A stray in words."""
    dip = "" if stray.dip_ev is None else f", {stops_text(stray.dip_ev)} under its surroundings"
    place = at_place(stray.where)
    if stray.kind == OBJECT:
        return f"something stands before the background {place}"
    if stray.kind == LIGHT:
        return f"light beside the background {place}, {stops_text(abs(stray.ev))} under white"
    shown = "will show" if stray.matters else "goes white with the rest"
    name = "a seam or fold" if stray.kind == LINE else "a mark or dust"
    return f"{name} {place}{dip}; {shown}"


def at_place(where: str) -> str:
    """Words for a place, with their preposition."""
    return {"all over": "all over", "centre": "in the middle"}.get(where, f"at the {where}")


def _objects(levels: Levels, zones: Zones, ev: Floats) -> list[Stray]:
    around = zones.backdrop_ev
    found = []
    for part in _parts(zones.subject, LEAST_OBJECT * ev.size):
        own = float(np.median(ev[part]))
        dip = float(np.median((around - ev)[part]))
        found.append(_stray(OBJECT, levels, part, own, dip, matters=True))
    return found


def _dips(levels: Levels, zones: Zones, ev: Floats) -> list[Stray]:
    """Narrow parts of the background that are darker than what lies around them."""
    side = max(ev.shape)
    inner = zones.backdrop & ~zones.fringe
    if not inner.any():
        return []
    dip, clear = _narrow_dips(ev, inner, WIDTH * side)
    noise = _spread(dip, clear)
    deep, some = dip > max(LEAST_DIP_EV, 6 * noise), dip > max(LEAST_DIP_EV / 2, 3 * noise)
    bridge = np.ones((2 * round(BRIDGE * side / 2) + 1,) * 2, np.uint8)
    joined = cv2.morphologyEx(some.astype(np.uint8), cv2.MORPH_CLOSE, bridge) > 0
    found = []
    for region in _parts(joined, 4.0):
        part = region & some
        if not (part & deep).any():
            continue
        own = float(np.median(ev[part]))
        darkest = float(np.percentile(ev[part], 10))
        deepest = float(np.percentile(dip[part], 90))
        kind = LINE if _is_line(region, side) else MARK
        found.append(_stray(kind, levels, part, own, deepest, matters=darkest < 0))
    return found


def _narrow_dips(ev: Floats, inner: Mask, width: float) -> tuple[Floats, Mask]:
    """By how many stops each place lies under what a closing makes of it, and where that tells.

    Closing fills whatever is narrower than its kernel. Along the picture's border nothing is told:
    the background may end just outside it.
    """
    kernel = disc(round(width / 2))
    quiet = np.asarray(cv2.GaussianBlur(ev, (0, 0), 1.5), np.float32)
    closed = cv2.morphologyEx(np.where(inner, quiet, np.float32(-20)), cv2.MORPH_CLOSE, kernel)
    clear = (
        cv2.erode(inner.astype(np.uint8), kernel, borderType=cv2.BORDER_CONSTANT, borderValue=0) > 0
    )
    return np.asarray(np.where(clear, closed - quiet, 0), np.float32), np.asarray(clear, bool)


def _is_line(region: Mask, side: int) -> bool:
    y, x = np.nonzero(region)
    _, (w, h), _ = cv2.minAreaRect(np.column_stack((x, y)).astype(np.float32))
    long, wide = max(w, h) + 1, min(w, h) + 1
    return bool(long >= LINE_LENGTH * side and long >= LINE_ASPECT * wide)


def _stray_light(levels: Levels, zones: Zones) -> list[Stray]:
    kernel = np.ones((9, 9), np.uint8)
    beside = cv2.dilate((zones.backdrop | zones.subject | zones.fringe).astype(np.uint8), kernel)
    bright = (levels.ev > STRAY_EV) & (beside == 0)
    found = []
    for part in _parts(bright, LEAST_STRAY * bright.size):
        own = float(np.median(levels.ev[part]))
        found.append(_stray(LIGHT, levels, part, own, None, matters=True))
    return found


def _spread(dip: Floats, where: Mask) -> float:
    """How deep a place lies by noise alone, stops: the median, since most places hold no dip."""
    return float(np.median(dip[where])) if where.any() else 0.0


def _parts(mask: Mask, least: float) -> list[Mask]:
    """Connected parts of at least so many pixels, largest first."""
    _, label, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    area = stats[:, cv2.CC_STAT_AREA]
    order = [i for i in np.argsort(-area[1:]) + 1 if area[i] >= least]
    return [np.equal(label, i) for i in order[:MOST_NAMED]]


def _stray(
    kind: str, levels: Levels, part: Mask, ev: float, dip: float | None, *, matters: bool
) -> Stray:
    y, x = np.nonzero(part)
    corners = int(x.min()), int(y.min()), int(x.max()) + 1, int(y.max()) + 1
    box = view_box(levels, corners)
    return Stray(kind, place_in(box, levels.frame.size), box, ev, dip, matters)


def _area(box: Box) -> int:
    return (box[2] - box[0]) * (box[3] - box[1])
