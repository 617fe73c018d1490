"""Made-up inspections for the tests of what is shown: arrays drawn here, nothing measured.

The figure stands for one member of a fencing club before a lit white surface. Every scene fills
the dataclasses between the stages directly, so that the drawing is tested on its own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.clip import Clip
from inspector.edge import Edge, HotSpot, SpillRun
from inspector.exposure import Exposure, ShortRegion, Window
from inspector.frame import BAYER, Frame, Shot
from inspector.headroom import Headroom
from inspector.inspect import Inspection
from inspector.levels import WHITE, Levels
from inspector.verdict import Limits, Reason, Verdict
from inspector.zones import BACKDROP, SUBJECT, SURROUND, Zones

GAINS = np.array([1.9, 1.0, 1.0, 1.5])
CEILING = float(np.log2(GAINS.max()))
Field = NDArray[np.float64]

FIGURE = [
    [(0.44, 0.30), (0.56, 0.30), (0.60, 0.40), (0.57, 0.62), (0.43, 0.62), (0.40, 0.40)],
    [(0.43, 0.58), (0.50, 0.60), (0.47, 0.80), (0.45, 1.05), (0.35, 1.05), (0.40, 0.78)],
    [(0.50, 0.60), (0.57, 0.58), (0.62, 0.76), (0.66, 1.05), (0.56, 1.05), (0.53, 0.80)],
    [(0.56, 0.31), (0.66, 0.40), (0.78, 0.42), (0.78, 0.45), (0.64, 0.45), (0.55, 0.38)],
    [(0.44, 0.31), (0.36, 0.42), (0.33, 0.56), (0.36, 0.57), (0.40, 0.45), (0.46, 0.38)],
]
FOIL = ((0.77, 0.435), (0.97, 0.30))


def figure_mask(shape: tuple[int, int]) -> NDArray[np.bool_]:
    """(h, w) True on the fencer, scaled by the picture's short side and centred."""
    h, w = shape
    side = min(h, w)
    left, top = (w - side) / 2, (h - side) / 2 if h > w else 0.0
    mask = np.zeros(shape, np.uint8)

    def at(x: float, y: float) -> tuple[int, int]:
        return round(left + x * side), round(top + y * side)

    for limb in FIGURE:
        cv2.fillPoly(mask, [np.array([at(*p) for p in limb], np.int32)], 1)
    cv2.circle(mask, at(0.50, 0.24), round(0.065 * side), 1, -1)
    cv2.line(mask, at(*FOIL[0]), at(*FOIL[1]), 1, max(1, round(0.006 * side)))
    if h > w:  # legs go on to the lower border
        cv2.rectangle(mask, at(0.35, 1.04), (at(0.47, 0)[0], h), 1, -1)
        cv2.rectangle(mask, at(0.55, 1.04), (at(0.66, 0)[0], h), 1, -1)
    return mask.astype(bool)


def softbox_mask(shape: tuple[int, int]) -> NDArray[np.bool_]:
    """(h, w) True on the lit face of a big softbox behind the figure."""
    h, w = shape
    mask = np.zeros(shape, np.uint8)
    cv2.rectangle(mask, (int(0.12 * w), int(0.03 * h)), (int(0.90 * w), h), 1, -1)
    return mask.astype(bool)


def make(
    *,
    width: int = 6000,
    height: int = 4000,
    scale: int = 4,
    person: bool = True,
    softbox: bool = True,
    backdrop_ev: Callable[[Field, Field], Field] | float = 0.5,
    depth: float = 5.5,
    side_light: float = 0.0,
    path: str = "evening/fencer_0042.dng",
    seed: int = 1,
) -> Inspection:
    """A frame with a backdrop ``backdrop_ev(x, y)`` stops over white, x and y from 0 to 1."""
    w, h = max(1, width // scale), max(1, height // scale)
    y, x = np.mgrid[0:h, 0:w].astype(float)
    x, y = x / w, y / h
    lit = softbox_mask((h, w)) if softbox else np.ones((h, w), bool)
    figure = figure_mask((h, w)) if person else np.zeros((h, w), bool)
    stops = backdrop_ev(x, y) if callable(backdrop_ev) else np.full((h, w), backdrop_ev)
    body = -depth + side_light * (0.5 - x) * 8 + 0.4 * np.sin(25 * x) * np.sin(19 * y)
    ev = np.where(figure, body, np.where(lit, stops, -6.5 - y))
    sharp = np.asarray(cv2.GaussianBlur(2.0**ev, (0, 0), 0.8), float)
    light = sharp * (1 + np.random.default_rng(seed).normal(0, 0.01, sharp.shape))
    rendered = np.minimum(light[..., None], GAINS).astype(np.float32)
    white = (rendered >= WHITE).all(-1).astype(np.float32)
    label = np.where(figure & lit, SUBJECT, np.where(lit, BACKDROP, SURROUND)).astype(np.uint8)
    kernel = np.ones((5, 5), np.uint8)
    border = cv2.dilate(label, kernel) != cv2.erode(label, kernel)
    levels = Levels(
        frame=(frame := _frame(path, width, height)),
        clip=Clip(np.full(4, 15800.0), np.ones(4, bool)),
        ceiling_ev=CEILING,
        top=GAINS,
        scale=scale,
        origin=(0, 0),
        rendered=rendered,
        ev=np.log2(np.clip(light, 1e-4, 2.0**CEILING)).astype(np.float32),
        tint=np.ones(4),
        white=white,
        blown=np.asarray((light[..., None] >= GAINS * WHITE).all(-1), np.float32),
    )
    margin = np.where(label == SUBJECT, -1, 1).astype(np.float32)
    lines = _outlines(label == SUBJECT, scale)
    nowhere = np.zeros(label.shape, bool)
    zones = Zones(label, border, stops.astype(np.float32), margin, nowhere, nowhere, lines)
    edge = _edge(zones, (h, w), figure)
    exposure = _exposure(levels, zones, depth if person else None, (width, height))
    return Inspection(frame, levels, zones, edge, exposure, Verdict("pass"), Limits())


def _frame(path: str, width: int, height: int) -> Frame:
    shot = Shot(iso=100, shutter_s=1 / 125, aperture_f=8, taken_at="2024-05-04T19:42:10")
    return Frame(
        path=path,
        mosaic=np.broadcast_to(np.uint16(0), (height, width)),
        pattern=np.array([[0, 1], [2, 3]], np.uint8),
        channels=BAYER,
        black=np.full(4, 512.0),
        stated_clip=np.full(4, 16383.0),
        gains=GAINS,
        shot=shot,
    )


def _outlines(mask: NDArray[np.bool_], scale: int) -> tuple[Field, ...]:
    found, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    return tuple((c[:, 0].astype(float) + 0.5) * scale for c in found if len(c) > 8)


def _edge(zones: Zones, shape: tuple[int, int], figure: NDArray[np.bool_]) -> Edge:
    core = cv2.erode(figure.astype(np.uint8), np.ones((9, 9), np.uint8)).astype(bool)
    length = float(sum(len(o) for o in zones.outlines))
    if not length:
        return Edge(0.0, None, None, (), (), None, core, np.zeros(core.shape, bool))
    ev = np.full(10, 0.9)
    headroom = Headroom(ev, ev, ev, ev > 0, ev < 0, ev > 0)
    return Edge(length, 3.0, 0.0, (), (), headroom, core, np.zeros(core.shape, bool))


def _exposure(levels: Levels, zones: Zones, depth: float | None, size: tuple[int, int]) -> Exposure:
    inside = (zones.label == BACKDROP) & ~zones.fringe
    if not inside.any():
        return Exposure(0.0)
    ev = np.minimum(levels.ev[inside], CEILING)
    low = -float(np.percentile(ev, 0.5))
    short = inside & (levels.white < 0.5)
    regions = _regions(short, levels, size) if short.mean() > 0.002 else ()
    return Exposure(
        backdrop_area=float(inside.mean()),
        white_fraction=float(levels.white[inside].mean()),
        blown_fraction=float(levels.blown[inside].mean()),
        ev_p1=float(np.percentile(ev, 1)),
        ev_p50=float(np.median(ev)),
        ev_p99=float(np.percentile(ev, 99)),
        short_regions=regions,
        subject_area=float((zones.label == SUBJECT).mean()),
        depth_ev=depth,
        veil_fraction=0.01,
        veil_is="at_most",
        window=Window(low, "exact", 0.9 if depth is not None else None, "at_least"),
    )


def _regions(
    short: NDArray[np.bool_], levels: Levels, size: tuple[int, int]
) -> tuple[ShortRegion, ...]:
    count, label, stats, _ = cv2.connectedComponentsWithStats(short.astype(np.uint8))
    found = []
    for k in range(1, count):
        x, y, w, h, area = (int(v) for v in stats[k])
        if area < 20:
            continue
        s = levels.scale
        middle = (x + w / 2) * s / size[0], (y + h / 2) * s / size[1]
        where = (
            f"{'upper' if middle[1] < 0.5 else 'lower'} {'left' if middle[0] < 0.5 else 'right'}"
        )
        ev = float(np.median(levels.ev[label == k]))
        box = (x * s, y * s, (x + w) * s, (y + h) * s)
        found.append(ShortRegion(where, box, area * s * s, ev, shadow=False))
    return tuple(sorted(found, key=lambda r: -r.area_px))


def run_along(
    inspection: Inspection, start: float, stop: float, *, depth: float, sure: bool = True
) -> SpillRun:
    """A spill run along the longest outline from fraction ``start`` to ``stop`` of its length."""
    outline = max(inspection.zones.outlines, key=len)
    a, b = int(start * len(outline)), int(stop * len(outline))
    points = outline[a:b]
    tangent = np.gradient(cv2.GaussianBlur(points, (1, 0), 3, sigmaY=6), axis=0)
    normal = np.stack((tangent[:, 1], -tangent[:, 0]), axis=1)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
    inside = inspection.zones.subject
    probe = ((points + 6 * inspection.levels.scale * normal) / inspection.levels.scale).astype(int)
    h, w = inside.shape
    hits = inside[probe[:, 1].clip(0, h - 1), probe[:, 0].clip(0, w - 1)]
    inward = normal if hits.mean() > 0.5 else -normal
    depths = depth * np.sin(np.linspace(0.3, np.pi - 0.3, len(points)))
    box = (*points.min(0).astype(int), *(points.max(0) + 1).astype(int))
    length = float(len(points) * inspection.levels.scale)
    return SpillRun(
        "2 o'clock", _box(box), length, depth, sure, points, depths, inward, slice(0, len(points))
    )


def _box(box: tuple[int, ...]) -> tuple[int, int, int, int]:
    x0, y0, x1, y1 = (int(v) for v in box)
    return x0, y0, x1, y1


def warned(inspection: Inspection, *reasons: Reason, **verdict: object) -> Inspection:
    """The same frame, judged to warn for ``reasons``."""
    judged = replace(inspection.verdict, word="warn", reasons=reasons, **verdict)  # type: ignore[arg-type]
    return replace(inspection, verdict=judged)


def with_spill(inspection: Inspection, *runs: SpillRun, fraction: float) -> Inspection:
    """The same frame with spill runs along its edge."""
    return replace(inspection, edge=replace(inspection.edge, spill=runs, spill_fraction=fraction))


def _corner(x: Field, y: Field) -> Field:
    return np.asarray(0.55 - 1.9 * np.clip((0.42 - x) + (y - 0.55), 0, None))


def _falloff(x: Field, y: Field) -> Field:
    return np.asarray(0.5 - 3.2 * ((x - 0.5) ** 2 + 0.7 * (y - 0.4) ** 2))


SHORT = "Open the background light {} of a stop, or move it a little further to the lower left."
SPILL = (
    "Turn the background down by a third of a stop, or flag its right side: "
    "the white background has two thirds of a stop to spare."
)


def clean() -> Inspection:
    return make()


def portrait() -> Inspection:
    return make(width=4000, height=6000, softbox=False)


def plate() -> Inspection:
    empty = make(person=False)
    return replace(empty, verdict=Verdict("pass", is_plate=True))


def plate_short_corner() -> Inspection:
    empty = make(person=False, softbox=False, backdrop_ev=_corner, path="evening/plate_0003.dng")
    reason = Reason("background-short", "", SHORT.format("two thirds"))
    return warned(empty, reason, is_plate=True)


def wall_falloff() -> Inspection:
    dim = make(softbox=False, backdrop_ev=_falloff, width=4000, height=6000)
    return warned(dim, Reason("background-short", "", SHORT.format("a third")))


def spill() -> Inspection:
    base = make(backdrop_ev=1.3)
    runs = (
        run_along(base, 0.80, 0.90, depth=60),
        run_along(base, 0.08, 0.13, depth=34),
        run_along(base, 0.45, 0.50, depth=12, sure=False),
    )
    base = with_spill(base, *runs, fraction=0.052)
    exposure = replace(base.exposure, window=Window(-0.66, "exact", -0.33, "exact"))
    return warned(replace(base, exposure=exposure), Reason("spill", "", SPILL))


def possible_spill() -> Inspection:
    base = make()
    return with_spill(base, run_along(base, 0.45, 0.50, depth=9, sure=False), fraction=0.0)


def hot_islands() -> Inspection:
    base = make()
    for x, y, w, h in ((692, 385, 18, 10), (801, 500, 14, 25), (976, 416, 2, 2)):
        cv2.ellipse(base.levels.rendered, (x, y), (w, h), 0, 0, 360, (1.1, 1, 1, 1.1), -1)
        cv2.ellipse(base.levels.white, (x, y), (w, h), 0, 0, 360, 1, -1)
    spots = (
        HotSpot((2700, 1500, 2840, 1580), 9000, True, True),
        HotSpot((3150, 1900, 3260, 2100), 7000, True, True),
        HotSpot((3900, 1660, 3912, 1672), 100, False, True),
    )
    base = replace(base, edge=replace(base.edge, hot_spots=spots))
    advice = "Flag the side light or dull the mask: two islands on the jacket have gone white."
    return warned(base, Reason("hot-spot", "", advice))


def filled_flat() -> Inspection:
    base = make(depth=1.4, side_light=0.15)
    advice = "Move the white panel from 1.5 to 2.1 m from the subject to gain a stop of depth."
    return warned(base, Reason("subject-light", "", advice), look="filled")


def misfire() -> Inspection:
    dark = make(backdrop_ev=-5.5, depth=7.5)
    return _unfound(dark, "The flash did not fire: check the trigger and take it again.")


def lit_portrait() -> Inspection:
    base = make(softbox=False, backdrop_ev=lambda x, y: -2.5 + x - 2 * (y - 0.3) ** 2, depth=3)
    return _unfound(base, "No lit white background in this frame: it is not judged.")


def _unfound(inspection: Inspection, advice: str) -> Inspection:
    nothing = np.full_like(inspection.zones.label, SURROUND)
    unknown, nowhere = np.full(nothing.shape, np.nan, np.float32), nothing.astype(bool)
    zones = Zones(nothing, nowhere, unknown, unknown, nowhere, nowhere, ())
    edge = Edge(0.0, None, None, (), (), None, nothing.astype(bool), nothing.astype(bool))
    brightest = float(np.percentile(inspection.levels.ev, 99))
    bare = replace(
        inspection, zones=zones, edge=edge, exposure=Exposure(0.0, brightest_ev=brightest)
    )
    return warned(bare, Reason("no-background", "No white background found in this frame", advice))


def evenly_short() -> Inspection:
    dim = make(backdrop_ev=-0.6)
    return warned(dim, Reason("background-short", "", SHORT.format("two thirds")))


def over_white() -> Inspection:
    bright = make(backdrop_ev=2.6)
    window = Window(-CEILING, "at_most", 0.4, "exact")
    return replace(bright, exposure=replace(bright.exposure, window=window))


def everything() -> Inspection:
    """All classes in one frame: short background, spill, islands, a light subject."""
    base = make(softbox=False, backdrop_ev=_corner, depth=2.6, side_light=0.2)
    base = with_spill(
        base,
        run_along(base, 0.80, 0.90, depth=60),
        run_along(base, 0.45, 0.50, depth=12, sure=False),
        fraction=0.04,
    )
    spot = HotSpot((2700, 1500, 2840, 1580), 9000, True, True)
    base = replace(base, edge=replace(base.edge, hot_spots=(spot,)))
    return warned(
        base,
        Reason("background-short", "", SHORT.format("two thirds")),
        Reason("spill", "", SPILL),
        Reason("hot-spot", "", "Flag the side light."),
        Reason("subject-light", "", "Move the panel away."),
    )


SCENES: dict[str, Callable[[], Inspection]] = {
    f.__name__: f
    for f in (
        clean,
        portrait,
        plate,
        plate_short_corner,
        wall_falloff,
        spill,
        possible_spill,
        hot_islands,
        filled_flat,
        misfire,
        lit_portrait,
        evenly_short,
        over_white,
        everything,
    )
}
