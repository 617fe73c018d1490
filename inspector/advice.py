"""What to change, in the trade's units: thirds of a stop, power, distance, which side to flag."""

from __future__ import annotations

from math import ceil, floor, isfinite

from inspector.exposure import Exposure

SIDE_EV = 0.3
"""One side this much brighter than the other, in stops, is named."""
THIRDS = ("", "⅓", "⅔")


def thirds_up(ev: float) -> float:
    """The least whole number of thirds of a stop, one or more, that is not less than ``ev``."""
    return max(1, ceil(ev * 3 - 0.05)) / 3


def thirds_down(ev: float) -> float:
    """The greatest whole number of thirds of a stop that is not more than ``ev``."""
    return floor(ev * 3 + 0.05) / 3


def thirds_text(ev: float) -> str:
    """A stop value to the nearest third: ``1⅔``, ``⅓``, ``0``."""
    thirds = round(abs(ev) * 3)
    whole, part = divmod(thirds, 3)
    return f"{whole or ''}{THIRDS[part]}" or "0"


def stops_text(ev: float) -> str:
    """A stop value to a tenth, with its unit."""
    return f"{ev:.1f} {'stop' if f'{abs(ev):.1f}' == '1.0' else 'stops'}"


def fraction_text(fraction: float) -> str:
    """A part as a percentage that never rounds up to the whole."""
    percent = 100 * fraction
    return f"{percent:.0f} %" if 10 <= percent < 99 else f"{int(percent * 10) / 10:.1f} %"


def stop_word(ev: float) -> str:
    """``⅔ stop``, ``1 stop``, ``1⅓ stops``."""
    return f"{thirds_text(ev)} {'stop' if abs(ev) < 1.01 else 'stops'}"


def advise_background(x: Exposure, depth_limit: float) -> str:
    """Raise what is short, if edge and subject allow it; else say what must give way."""
    need = thirds_up(x.window.low_ev or 0.0)
    high = x.window.high_ev
    times = 2.0**need
    raise_light = f"Raise the background light by {stop_word(need)} (power × {times:.2g})"
    if x.ev_p50 is not None and x.ev_p50 >= 0 and x.short_regions:
        worst = min(x.short_regions, key=lambda r: r.ev)
        raise_light = (
            f"Turn the light towards {_article(worst.where)}, or raise it by {stop_word(need)}"
        )
    if high is not None and isfinite(high) and high < need:
        return f"{raise_light}; the edge then spills: move the subject further from the background"
    if x.depth_ev is not None and x.depth_ev - need < depth_limit:
        return f"{raise_light}; leave the lens: the subject has no depth to spare"
    if high is not None and isfinite(high) and x.ev_p50 is not None and x.ev_p50 < 0:
        allowed = stop_word(thirds_down(high))
        return f"{raise_light} or open the lens as much; the edge allows {allowed}"
    return raise_light


def advise_edge(x: Exposure) -> str:
    """Close down if the background has the light to spare; else move or flag."""
    low, high = x.window.low_ev, x.window.high_ev
    if high is None or low is None:
        return "Move the subject further from the background, or flag its edges with black"
    need = thirds_up(max(-high, 0.05))
    at_most = x.window.high_is == "at_most"
    if low <= -need:
        least = "at least " if at_most else ""
        keeps = "the background stays white"
        return f"Close down or lower the background light by {least}{stop_word(need)}; {keeps}"
    return (
        "Move the subject further from the background or flag its edges with black: "
        "closing down alone would cost the background its white"
    )


def advise_depth(x: Exposure, depth_limit: float) -> str:
    """Close down if the background has the light to spare, else flag the brighter side."""
    need = thirds_up(depth_limit - (x.depth_ev or 0.0))
    low = x.window.low_ev
    if low is not None and low <= -need:
        return f"Close down by {stop_word(need)}; the background stays white"
    side = x.side_ev
    if side is not None and abs(side) >= SIDE_EV:
        wall = "left" if side > 0 else "right"
        return f"Hang black on the {wall} side: light bounces from there onto the subject"
    return (
        f"Keep {stop_word(need)} of light off the subject's front: flag walls and ceiling "
        "with black, or move away from them"
    )


def _article(where: str) -> str:
    return {"all over": "the middle", "centre": "the middle"}.get(where, f"the {where}")
