"""The clip map's colours for the page's style sheet, so that both have them from one place."""

from __future__ import annotations

from inspector.page.view import KINDS
from inspector.report import palette
from inspector.report.palette import MARKS, MAYBE, RGB

PLAIN = ("CANVAS", "RULE", "QUIET", "PLAIN", "BRIGHT", "INK", "WARN")


def palette_css() -> str:
    """Custom properties: ``--canvas``, ``--rule``, ..., and ``--spill`` with its ``-casing``."""
    lines = [f"--{name.lower()}: {_css(getattr(palette, name))};" for name in PLAIN]
    for mark in (*MARKS, MAYBE):
        kind = KINDS[mark.name]
        lines += [f"--{kind}: {_css(mark.rgb)};", f"--{kind}-casing: {_css(mark.casing)};"]
    return ":root {\n" + "\n".join(f"  {line}" for line in lines) + "\n}\n"


def _css(colour: RGB) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)
