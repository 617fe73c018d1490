"""The project's own colours: greys for what is right, one colour for each thing that is wrong.

All colours are sRGB, 8 bit, red first. The classes keep apart by a CIEDE2000 difference of at
least 20, also to colour-blind eyes (Machado, Oliveira and Fernandes 2009), and by line style, so
that no meaning hangs on colour alone.
"""

from __future__ import annotations

from dataclasses import dataclass

RGB = tuple[int, int, int]

CANVAS: RGB = (24, 24, 24)
"""Behind everything: neutral, dark enough for a dark studio."""
RULE: RGB = (66, 66, 66)
"""Hairlines and marks of scales."""
QUIET: RGB = (158, 158, 158)
"""Small text, and figures that are right."""
PLAIN: RGB = (214, 214, 214)
"""Text to be read."""
BRIGHT: RGB = (255, 255, 255)
"""The verdict, and figures that are wrong."""
INK: RGB = (20, 20, 20)
"""Text and casings on light ground."""

PROOF_BLACK, PROOF_BRIGHT, PROOF_WHITE = 22, 236, 255
"""Grey proof: no light, just under white, paper white."""

BANDS: tuple[RGB, ...] = (
    (244, 223, 168),
    (235, 200, 120),
    (221, 174, 72),
    (201, 148, 46),
    (174, 124, 34),
    (143, 100, 28),
    (111, 77, 23),
)
"""Short background: up to a third of a stop, up to two thirds, ... ; the last holds all below."""


@dataclass(frozen=True)
class Mark:
    """How one kind of fault looks.

    ``name`` is its word in a legend, ``line`` its line style, ``casing`` the thin rim that keeps
    it clear of the ground it is drawn on.
    """

    name: str
    rgb: RGB
    casing: RGB
    line: str


SHORT = Mark("short of white", BANDS[2], INK, "contour")
SPILL = Mark("spill", (148, 89, 222), BRIGHT, "ticked")
HOT = Mark("hot spot", (75, 196, 192), INK, "ring")
LIGHT = Mark("too light", (27, 127, 112), BRIGHT, "dotted")
MARKS = (SHORT, SPILL, HOT, LIGHT)

MAYBE = Mark("possible", (48, 48, 48), BRIGHT, "dashed")
"""Not sure, does not warn: no colour."""

WARN: RGB = BANDS[2]
"""The verdict's shape, and today's exposure outside the window."""

BY_CODE = {
    "background-short": SHORT,
    "spill": SPILL,
    "hot-spot": HOT,
    "subject-light": LIGHT,
}
"""Which mark a reason's code calls for; a reason without a place in the picture has none."""


CHANGES: tuple[RGB, ...] = (
    (84, 47, 122),
    (94, 62, 128),
    (104, 78, 133),
    (115, 94, 138),
    (126, 111, 143),
    (138, 129, 148),
    (150, 150, 150),
    (168, 163, 147),
    (186, 177, 146),
    (204, 191, 147),
    (222, 206, 151),
    (239, 221, 157),
    (255, 236, 166),
)
"""Light lost and gained, from two stops less to two stops more by thirds; grey is no change.

Lightness rises all the way, so that the sign reads without colour too.
"""


def bgr(colour: RGB) -> tuple[int, int, int]:
    """The colour in OpenCV's order."""
    return colour[2], colour[1], colour[0]


def band(ev: float) -> int:
    """Index into ``BANDS`` of a background ``ev`` stops over (+) or under (-) white."""
    return min(max(int(-ev * 3), 0), len(BANDS) - 1)
