"""The clip map of a frame: what is right stays uncoloured, only what is wrong takes colour."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from inspector.files import write_whole
from inspector.inspect import Inspection
from inspector.report import marks, panel, proof
from inspector.report.layout import SIZE, arrange
from inspector.report.lettering import Canvas
from inspector.report.lines import Tags
from inspector.report.palette import CANVAS, HOT, LIGHT, RULE, SHORT, SPILL, bgr

QUALITY = [
    cv2.IMWRITE_JPEG_QUALITY,
    92,
    cv2.IMWRITE_JPEG_SAMPLING_FACTOR,
    cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444,  # thin coloured lines must not smear
]


def picture(inspection: Inspection, size: tuple[int, int]) -> Canvas:
    """The marked proof alone, (h, w, 3) uint8 blue first, for ``size`` (w, h)."""
    levels, zones = inspection.levels, inspection.zones
    wrong = panel.wrong(inspection)
    ground = proof.grey(levels, size, lift_ev=_lift(inspection))
    at = marks.place(inspection, size)
    if SHORT in wrong:
        short = proof.shortfall(levels, zones, size)
        drawn = proof.paint(ground, short)
    else:
        drawn = np.asarray(cv2.cvtColor(ground, cv2.COLOR_GRAY2BGR), np.uint8)
    tags = Tags(drawn)
    marks.outline(drawn, zones.outlines, at)
    if LIGHT in wrong:
        marks.light_subject(drawn, inspection, panel.least_depth(inspection), at)
    if SHORT in wrong:
        marks.contours(drawn, short, tags)
    marks.spill(drawn, inspection, at, tags, warns=SPILL in wrong)
    runs = sum(r.sure for r in inspection.edge.spill) if SPILL in wrong else 0
    first = 1 + min(runs, marks.NUMBERED)
    marks.islands(drawn, inspection, at, tags, first=first, warns=HOT in wrong)
    return drawn


def draw(inspection: Inspection) -> Canvas:
    """The whole clip map, ``SIZE`` pixels, (H, W, 3) uint8 blue first."""
    layout = arrange(*_aspect(inspection))
    canvas = np.full((SIZE[1], SIZE[0], 3), CANVAS[0], np.uint8)  # a neutral grey
    x0, y0, x1, y1 = layout.picture
    canvas[y0:y1, x0:x1] = picture(inspection, layout.picture_size)
    cv2.rectangle(canvas, (x0 - 1, y0 - 1), (x1, y1), bgr(RULE), 1)
    panel.draw(canvas, inspection, layout)
    return canvas


def jpeg(inspection: Inspection) -> bytes:
    """The whole clip map as a JPEG file."""
    _, data = cv2.imencode(".jpg", draw(inspection), QUALITY)
    return data.tobytes()


def write(inspection: Inspection, path: Path) -> None:
    """Draw a clip map and put it at ``path`` (a JPEG): whole, or not at all.

    Raises OSError where the folder cannot be written.
    """
    write_whole(path, jpeg(inspection))


def _aspect(inspection: Inspection) -> tuple[int, int]:
    height, width = inspection.levels.ev.shape
    return width, height


def _lift(inspection: Inspection) -> float:
    """Stops by which a frame without a background is brightened, so that one can see which it is.

    It still looks dark: its brightest part ends three stops under white.
    """
    brightest = inspection.exposure.brightest_ev
    return 0.0 if brightest is None else min(max(-3.0 - brightest, 0.0), 6.0)
