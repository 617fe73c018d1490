"""How the measured figures are put into words: rounded against the frame, never for it."""

from __future__ import annotations

import math

from inspector.exposure import Window

MINUS = "−"
THIRDS = ("", "⅓", "⅔")


def share(fraction: float, *, up: bool = False) -> str:
    """A fraction in per cent, rounded down (``up``: up) to a tenth: 0.9949 is 99.4 %."""
    tenths = fraction * 1000
    whole = math.ceil(tenths - 1e-6) if up else math.floor(tenths + 1e-6)
    return f"{whole / 10:.1f} %" if whole % 1000 else f"{whole // 10} %"


def stops(ev: float) -> str:
    """Stops to a tenth with a true minus sign: −0.7."""
    text = f"{abs(ev):.1f}"
    return (MINUS if ev < 0 and text != "0.0" else "") + text


def signed(ev: float) -> str:
    """An exposure change: +0.7, −0.3, 0.0."""
    text = stops(ev)
    return text if text == "0.0" or ev < 0 else "+" + text


def thirds(ev: float) -> str:
    """Stops to the nearest third: −⅓, −1⅔, +2."""
    n = round(abs(ev) * 3)
    if n == 0:
        return "0"
    whole, part = divmod(n, 3)
    return ("+" if ev > 0 else MINUS) + (str(whole) if whole else "") + THIRDS[part]


def depth(ev: float) -> str:
    """Depth of the subject in stops, rounded down to a tenth."""
    return stops(math.floor(ev * 10 + 1e-6) / 10)


def window(w: Window) -> str:
    """The exposure window in words: what background, edge and subject all stand."""
    low, shown = _end(w.low_ev, w.low_is), w.shown_high_ev
    high = _end(shown, w.high_is)
    if w.subject_decides and shown is not None:
        high = f"{signed(shown)} (subject)"
    elif w.high_ev is not None and shown is not None and signed(shown) != signed(w.high_ev):
        high = f"{signed(shown)}, at most {signed(w.high_ev)}"
    if w.low_ev is None or shown is None:
        return f"from {low}" if low else f"up to {high}" if high else "not measured"
    narrow = signed(w.low_ev) == signed(shown) and not w.holds_today
    if w.low_ev <= shown and not (narrow and w.low_is == "exact"):
        return f"{low} to {high}"
    if narrow:
        return "none"
    top = "dark" if w.subject_decides else "clean"
    return f"none: {signed(w.low_ev)} white, {signed(shown)} {top}"


def _end(ev: float | None, kind: str | None) -> str:
    beyond = {"at_most": " or less", "at_least": " or more"}.get(kind or "", "")
    return "" if ev is None else signed(ev) + beyond


def shutter(seconds: float) -> str:
    """1/125 s or 0.8 s, as the trade writes it."""
    return f"1/{1 / seconds:.0f} s" if seconds < 0.3 else f"{seconds:g} s"
