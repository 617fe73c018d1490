"""Two frames of the same pose: what a panel, a moved light or other power has changed, and where.

Both ways: as shot, and the light alone, the difference of the settings taken off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inspector.advice import stops_text
from inspector.arrays import Floats, Mask, distance_to
from inspector.exposure import AT_CEILING
from inspector.frame import Frame
from inspector.inspect import Inspection, inspect
from inspector.levels import FLOOR_EV
from inspector.pair import (
    LEAST_PIXELS,
    TOLD_SHARE,
    Pair,
    by_shared_channels,
    lay_on,
    moved,
    responds,
    smooth_within,
)
from inspector.shared_clip import shared_clips
from inspector.sides import find_sides
from inspector.tint import backdrop_stops

EXACT, AT_LEAST, AT_MOST, UNKNOWN = "exact", "at_least", "at_most", "unknown"
RIM = 0.008
"""Depth of the rim, inside what the edge's blur covers, part of the long side."""
SAME_EV = 0.1
"""A smaller change is none worth a word, stops."""
SHADOW_EV = 0.2
"""The darker side is called the shadow side from so many stops."""
WIDE = ("core", "front")
NOISY_EV = 0.06
"""Noise of a working pixel from which light is smoothed before medians are taken, stops."""
SMOOTH = 0.006
"""Width over which the map is smoothed, part of the long side."""


@dataclass(frozen=True)
class Change:
    """How one part changed; None where it cannot be told.

    ``before_ev`` and ``after_ev`` are its median stops relative to white, ``as_shot_ev`` their
    difference, ``light_ev`` that less what the settings did; ``known`` is EXACT, AT_LEAST,
    AT_MOST or UNKNOWN, ``error_ev`` twice the standard error that noise leaves.
    """

    part: str
    before_ev: float | None
    after_ev: float | None
    as_shot_ev: float | None
    light_ev: float | None
    known: str
    error_ev: float | None = None


@dataclass(frozen=True, eq=False)
class Comparison:
    """What has changed from one frame to another.

    Attributes
    ----------
    pair : Pair
    parts : dict of str to ndarray
        (h, w) bool, the parts of the subject by name.
    changes : tuple of Change
        Left, right, top and front of the subject, core, rim, background; parts that are too
        small to be measured are left out.
    change : ndarray, float32
        (h, w) stops that the light alone gained (+) or lost (-); NaN where it cannot be told.
    settings_ev : float
        Stops that the settings of the second frame add; 0 if the files do not tell.
    settings_known : bool
    sentence : str
    """

    pair: Pair
    parts: dict[str, Mask]
    changes: tuple[Change, ...]
    change: Floats
    settings_ev: float
    settings_known: bool
    sentence: str


def compare(before: Frame, after: Frame, *, flash: bool = False) -> Comparison:
    """Compare two frames of the same pose.

    Parameters
    ----------
    flash : bool
        The light is flash alone, so that the shutter time does not change it.

    Raises
    ------
    PairError
        If they do not show the same pose before a white background.
    """
    clips = shared_clips((before, after))
    first, second = (inspect(f, clip=c) for f, c in zip((before, after), clips, strict=True))
    pair = lay_on(first, second, flash=flash)
    settings = pair.settings_ev or 0.0
    parts = _parts(pair)
    changes = [_subject(name, mask, pair, settings) for name, mask in parts.items()]
    told = [c for c in changes if c is not None]
    background = _background(first, second, settings)
    every = (*told, background)
    return Comparison(
        pair=pair,
        parts=parts,
        changes=every,
        change=_map(pair, settings),
        settings_ev=settings,
        settings_known=pair.settings_ev is not None,
        sentence=say(every, settings),
    )


def _parts(pair: Pair) -> dict[str, Mask]:
    """The subject's parts by name, those that both frames show."""
    zones, scale = pair.first.zones, pair.first.levels.scale
    sides = find_sides(zones.subject, pair.core)
    away = distance_to(zones.backdrop)
    blur = away[zones.subject & zones.fringe]
    start = float(np.percentile(blur, 95)) if blur.size else 1.0
    wide = max(3.0, RIM * max(pair.first.frame.size) / scale)
    told = responds(pair.first.levels) & (pair.ev > FLOOR_EV)
    rim = zones.subject & ~zones.fringe & (away <= start + wide) & told & _same_place(pair)
    return {**sides.named(), "core": pair.core, "rim": rim}


def _same_place(pair: Pair) -> Mask:
    """(h, w) True on the subject of the second frame, moved onto the first."""
    scale = pair.first.levels.scale
    move = np.array([[1, 0, pair.shift[0] / scale], [0, 1, pair.shift[1] / scale]], np.float32)
    inner = pair.second.zones.subject & ~pair.second.zones.fringe
    return moved(inner.astype(np.float32), move) > 0.5


def _quiet(ev: Floats, mask: Mask) -> Floats:
    """Stops on a part, strong noise smoothed away: it drags the median of a wide range about."""
    inside = mask[:, 2:] & mask[:, 1:-1] & mask[:, :-2]
    # Second differences: a slope is no noise. Of unit noise they have a spread of root 6.
    bend = np.abs(ev[:, 2:] - 2 * ev[:, 1:-1] + ev[:, :-2])[inside]
    if not bend.size or 1.4826 * float(np.median(bend)) / np.sqrt(6) < NOISY_EV:
        return ev[mask]
    light = smooth_within(np.exp2(ev), mask, 1.0)[mask]
    return np.asarray(np.log2(np.maximum(light, 2.0**FLOOR_EV)), np.float32)


def _subject(part: str, mask: Mask, pair: Pair, settings: float) -> Change | None:
    if mask.sum() < LEAST_PIXELS:
        return None
    both = pair.first.levels.ev, pair.ev
    # Along the outline light falls too steeply to be smoothed.
    before, after = (_quiet(ev, mask) if part in WIDE else ev[mask] for ev in both)
    b, a = float(np.median(before)), float(np.median(after))
    known = UNKNOWN if min(b, a) < FLOOR_EV + 0.5 else EXACT
    error = 2 * np.hypot(_error(before), _error(after))
    return _change(part, b, a, settings, known, float(error))


def _error(ev: Floats) -> float:
    """Standard error of a median, from the spread of the middle half (1.253 sigma / root n)."""
    low, high = np.percentile(ev, (25, 75))
    return float(1.253 * (high - low) / 1.349 / np.sqrt(ev.size))


def _background(first: Inspection, second: Inspection, settings: float) -> Change:
    """By what both frames can tell of it; the background stands still, so nothing is moved."""
    evs = [backdrop_stops(i.levels, i.zones) for i in (first, second)]
    tops = [i.levels.ceiling_ev - AT_CEILING for i in (first, second)]
    clear = [i.zones.backdrop & ~i.zones.fringe for i in (first, second)]
    both = clear[0] & clear[1]
    b, a = (float(np.median(ev[c])) if c.any() else None for ev, c in zip(evs, clear, strict=True))
    difference = by_shared_channels(first.levels, second.levels, both)[both]
    difference = difference[np.isfinite(difference)]
    if difference.size >= max(LEAST_PIXELS, TOLD_SHARE * both.sum()):
        change = float(np.median(difference))
        return Change("background", b, a, change, change - settings, EXACT, 2 * _error(difference))
    if b is None or a is None:
        return Change("background", b, a, None, None, UNKNOWN)
    pinned = b > tops[0], a > tops[1]
    known = {(True, True): UNKNOWN, (True, False): AT_MOST, (False, True): AT_LEAST}
    return _change("background", b, a, settings, known.get(pinned, EXACT))


def _change(
    part: str, before: float, after: float, settings: float, known: str, error: float | None = None
) -> Change:
    if known == UNKNOWN:
        return Change(part, before, after, None, None, known)
    return Change(part, before, after, after - before, after - before - settings, known, error)


def _map(pair: Pair, settings: float) -> Floats:
    """Change of the light alone, smoothed within what both frames tell."""
    first, second = pair.first, pair.second
    subject = pair.core | (first.zones.subject & ~first.zones.fringe & _same_place(pair))
    backdrop = first.zones.backdrop & ~first.zones.fringe
    backdrop &= second.zones.backdrop & ~second.zones.fringe
    # Each zone apart: on the backdrop nothing was moved.
    behind = by_shared_channels(first.levels, second.levels, backdrop)
    backdrop &= np.isfinite(behind)
    result = np.full(first.levels.ev.shape, np.nan, np.float32)
    sigma = max(1.0, SMOOTH * max(result.shape))
    for zone, change in ((subject, pair.ev - first.levels.ev), (backdrop, behind)):
        result[zone] = smooth_within(change, zone, sigma)[zone] - np.float32(settings)
    return result


def say(changes: Sequence[Change], settings: float) -> str:
    """The change in one sentence, the subject's sides first; of the light alone."""
    by_name = {c.part: c for c in changes}
    said = []
    subject = [c for c in changes if c.part != "background" and c.light_ev is not None]
    if subject and _alike(subject):
        core = by_name.get("core", subject[0])
        said.append(f"the whole subject {_moved(core.light_ev)}")
    else:
        left, right = by_name.get("left"), by_name.get("right")
        sides = [c for c in (left, right) if c is not None and c.light_ev is not None]
        sides.sort(key=lambda c: -abs(c.light_ev or 0))
        said += [f"{_side(c, left, right)} {_moved(c.light_ev)}" for c in sides]
        front = by_name.get("front")
        if not sides and front is not None:
            said.append(f"the front {_moved(front.light_ev)}")
    background = by_name.get("background")
    if background is not None:
        said.append(f"the background {_background_words(background)}")
    text = ", ".join(said[:-1]) + f" and {said[-1]}" if len(said) > 1 else said[0]
    text = text[0].upper() + text[1:]
    if abs(settings) < SAME_EV / 2:
        return text
    return f"{text}; the settings {_by_settings(settings)} all of it"


def _alike(changes: Sequence[Change]) -> bool:
    values = [c.light_ev for c in changes if c.light_ev is not None and c.part != "rim"]
    return bool(values) and max(values) - min(values) < SAME_EV


def _side(change: Change, left: Change | None, right: Change | None) -> str:
    name = f"the {change.part} side"
    if left is None or right is None or left.before_ev is None or right.before_ev is None:
        return name
    other = right if change is left else left
    assert change.before_ev is not None
    assert other.before_ev is not None
    darker = change.before_ev < other.before_ev - SHADOW_EV
    return f"the shadow side ({change.part})" if darker else name


def _moved(ev: float | None) -> str:
    if ev is None:
        return "cannot be told"
    if abs(ev) < SAME_EV:
        return "stayed as it was"
    return f"{'came up' if ev > 0 else 'went down'} {stops_text(abs(ev))}"


def _by_settings(ev: float) -> str:
    return f"add {stops_text(ev)} to" if ev > 0 else f"take {stops_text(-ev)} off"


def _background_words(change: Change) -> str:
    if change.known == UNKNOWN or change.light_ev is None:
        return "is over what either frame can tell"
    if change.known == EXACT:
        return _moved(change.light_ev)
    if (change.light_ev > 0) != (change.known == AT_LEAST):
        return "is over what one of the frames can tell"
    way = "came up" if change.known == AT_LEAST else "went down"
    return f"{way} at least {stops_text(abs(change.light_ev))}"
