"""The picture of a room's audit: the frame, and each surface's share of the light as a bar."""

from __future__ import annotations

import cv2
import numpy as np

from inspector.report import lines, marks, panel, proof
from inspector.report.layout import SIZE, Rect, arrange
from inspector.report.lettering import Canvas, Type, fit, shorten, width, write
from inspector.report.lines import Tags
from inspector.report.palette import BRIGHT, CANVAS, INK, LIGHT, PLAIN, QUIET, RULE, bgr
from inspector.room import ALL, Audit, Surface

BAR = 20
ROW = 116
TAG = (236, 236, 236)
AREAS = {"left": (-90.0, 0.0), "right": (90.0, 0.0), "top": (0.0, -56.0), "front": (0.0, 0.0)}
"""Where the figure of a part stands beside the place with most room in it, picture pixels."""


def draw(found: Audit) -> Canvas:
    """The whole picture, ``SIZE`` pixels, (H, W, 3) uint8 blue first."""
    height, wide = found.open.levels.ev.shape
    layout = arrange(wide, height)
    canvas = np.full((SIZE[1], SIZE[0], 3), CANVAS[0], np.uint8)
    x0, y0, x1, y1 = layout.picture
    canvas[y0:y1, x0:x1] = picture(found, layout.picture_size)
    cv2.rectangle(canvas, (x0 - 1, y0 - 1), (x1, y1), bgr(RULE), 1)
    left, top, right, bottom = layout.column
    write(canvas, "Light on the subject", left, top + 34, Type(34, 600, BRIGHT))
    y = top + 58
    most = max((bottom - y) // ROW - 1, 1)
    for surface in found.surfaces[:most]:
        first = surface is found.surfaces[0]
        _bar(canvas, surface.name, surface.shares[ALL].fraction, (left, y, right, y + ROW), first)
        _note(canvas, _wins(surface), left, y + 104, right)
        y += ROW
    _bar(canvas, "elsewhere", found.rest[ALL], (left, y, right, y + ROW), False)
    _note(canvas, f"In the picture: what {found.surfaces[0].name} sends", left, y + 120, right)
    panel.advice_text(canvas, found.sentence, layout.advice, BRIGHT)
    panel.frame_name(canvas, found.open.frame, layout.name)
    return canvas


def picture(found: Audit, size: tuple[int, int]) -> Canvas:
    """The open frame, lifted, with the first surface's share on each part of the subject."""
    seen = found.open
    grey = proof.grey(seen.levels, size, lift_ev=1.5)
    drawn = np.asarray(cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR), np.uint8)
    at = marks.place(seen, size)
    marks.outline(drawn, seen.zones.outlines, at)
    tags = Tags(drawn)
    best = found.surfaces[0]
    for part, share in best.shares.items():
        mask = found.parts[part]
        if part == ALL or not mask.any():
            continue
        spot = at(seen.levels.to_view(lines.roomiest(mask)))[0]
        dx, dy = AREAS[part]
        anchors = [(float(spot[0]) + dx, float(spot[1]) + dy + down) for down in (0, 46, -46, 92)]
        tags.add(percent(share.fraction), anchors, Type(28, 600, INK), TAG)
    return drawn


def _bar(canvas: Canvas, name: str, part: float, box: Rect, first: bool) -> None:
    """Name, per cent and a bar as long as the share; the first surface's in colour."""
    x0, y0, x1, _ = box
    lines.solid(canvas, [np.array([[x0, y0 + 0.5], [x1, y0 + 0.5]])], RULE, 1)
    text = percent(part)
    kind = Type(40, 600, BRIGHT if first else PLAIN)
    end = x1 - width(text, kind.size, kind.weight)
    write(canvas, text, end, y0 + 46, kind)
    label = shorten(name, end - x0 - 20, 30, 500)
    write(canvas, label, x0, y0 + 44, Type(30, 500, PLAIN if first else QUIET))
    reach = round((x1 - x0) * min(max(part, 0.0), 1.0))
    cv2.rectangle(canvas, (x0, y0 + 58), (x1 - 1, y0 + 58 + BAR), bgr(RULE), -1)
    if reach:
        colour = LIGHT.rgb if first else (150, 150, 150)
        cv2.rectangle(canvas, (x0, y0 + 58), (x0 + reach, y0 + 58 + BAR), bgr(colour), -1)


def _wins(surface: Surface) -> str:
    wins = f"a flag wins {surface.shares[ALL].win_ev:.1f} stops"
    return wins if surface.depth_ev is None else f"{wins}, then {surface.depth_ev:.1f} under white"


def _note(canvas: Canvas, text: str, x: int, baseline: int, right: int) -> None:
    kind = fit(text, right - x, Type(24, 400, QUIET))
    write(canvas, text, x, baseline, kind)


def percent(part: float) -> str:
    """A share in whole per cent; the light of a surface may come out a little below nought."""
    return f"{100 * part:.0f} %".replace("-0 %", "0 %").replace("-", "−")
