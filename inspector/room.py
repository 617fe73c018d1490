"""Spill in a small white room: how much of the light on the subject each surface sends.

Light adds. A frame with one surface hung with black lacks just what that surface sent, so the
difference of two frames of a pose, in linear levels, is that surface's light.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import log2

import numpy as np

from inspector.advice import stops_text
from inspector.arrays import Floats, Mask
from inspector.exposure import Window
from inspector.frame import Frame
from inspector.inspect import Inspection, inspect
from inspector.pair import LEAST_PIXELS, Pair, background_change, green_light, lay_on
from inspector.shared_clip import shared_clips
from inspector.sides import find_sides

ALL = "all"
"""The subject's whole core."""
PARTS = ("left", "right", "top", "front", ALL)
STEADY_EV = 0.25
"""A background that differs by more, the settings taken off, was lit otherwise, stops."""
SETTINGS_ERR = 0.05
"""What lenses' markings leave open where the background cannot tell, stops."""
COVERAGE = 2.0
"""Standard errors that the stated uncertainty spans."""
FLOOR = 2.0**-12


class RoomError(ValueError):
    """Why frames are no audit of a room, as a sentence with the remedy."""


@dataclass(frozen=True)
class Share:
    """One surface's part of the light on one part of the subject.

    ``fraction`` 0 to 1, ``error`` twice its standard error, ``win_ev`` the stops by which that
    part darkens with the surface flagged.
    """

    fraction: float
    error: float
    win_ev: float


@dataclass(frozen=True)
class Surface:
    """What one flag did.

    Attributes
    ----------
    name : str
    shares : dict of str to Share
        By part of the subject, those of PARTS that can be measured.
    settings_ev : float
        Stops by which the frame's settings make it brighter than the open one.
    light_ev : float or None
        Stops by which its background is brighter beyond that; None where it cannot be told.
    depth_ev : float or None
        The subject's depth with this flag, at the open frame's exposure.
    window : Window
        The exposure window with this flag, as changes of the open frame's exposure.
    """

    name: str
    shares: dict[str, Share]
    settings_ev: float
    light_ev: float | None
    depth_ev: float | None
    window: Window


@dataclass(frozen=True, eq=False)
class Audit:
    """The surfaces of a room, the largest share first.

    ``open`` is the inspection of the frame without flags, ``parts`` the (h, w) masks of the
    subject's parts that were measured, ``rest`` the fraction of the light on
    each part that no flag took away, ``depth_ev`` the depth with all of the flags, ``tied`` how
    many of the first surfaces cannot be told apart, ``sentence`` what to do first.
    """

    open: Inspection
    parts: dict[str, Mask]
    surfaces: tuple[Surface, ...]
    rest: dict[str, float]
    depth_ev: float | None
    tied: int
    sentence: str


def audit(open_frame: Frame, flagged: Mapping[str, Frame], *, flash: bool = False) -> Audit:
    """Measure each flagged surface's share of the light on the subject.

    Parameters
    ----------
    open_frame : Frame
        No surface flagged.
    flagged : mapping of str to Frame
        The same pose with one surface flagged black, by the surface's name.
    flash : bool
        The light is flash alone, so that the shutter time does not change it.

    Raises
    ------
    PairError
        If the frames do not show the same pose.
    RoomError
        If the light was changed between them, or too little of the subject is seen.
    """
    frames = (open_frame, *flagged.values())
    seen = [inspect(f, clip=c) for f, c in zip(frames, shared_clips(frames), strict=True)]
    first = seen[0]
    pairs = {
        name: lay_on(first, other, flash=flash)
        for name, other in zip(flagged, seen[1:], strict=True)
    }
    core = np.logical_and.reduce([pair.core for pair in pairs.values()])
    if core.sum() < LEAST_PIXELS:
        raise RoomError(
            f"{open_frame.path}: too little of the subject is seen in all of the frames; use a "
            "larger stand-in or a grey ball"
        )
    parts = find_sides(first.zones.subject, core).named() | {ALL: core}
    parts = {name: mask for name, mask in parts.items() if mask.sum() >= LEAST_PIXELS}
    light = green_light(first.levels)
    steps = {name: _step(pair) for name, pair in pairs.items()}
    lights = {n: np.asarray(p.light / 2.0 ** steps[n].total, np.float32) for n, p in pairs.items()}
    surfaces = [
        Surface(
            name=name,
            shares={
                part: _share(light, lights[name], mask, steps[name]) for part, mask in parts.items()
            },
            settings_ev=steps[name].settings_ev,
            light_ev=steps[name].light_ev,
            depth_ev=_depth_with(first, light, lights[name], core),
            window=_window_at_open(pair.second.exposure.window, steps[name].total),
        )
        for name, pair in pairs.items()
    ]
    surfaces.sort(key=lambda s: -s.shares[ALL].fraction)
    everything = np.asarray(light - sum(light - each for each in lights.values()), np.float32)
    rest = {part: 1 - sum(surface.shares[part].fraction for surface in surfaces) for part in parts}
    tied = _tied(surfaces)
    depth = _depth_with(first, light, everything, core)
    return Audit(first, parts, tuple(surfaces), rest, depth, tied, say(first, surfaces, tied))


@dataclass(frozen=True)
class Step:
    """By what the whole of a frame is brighter than the open one, beside its flag.

    ``settings_ev`` by its settings, ``light_ev`` by its background beyond that (None: unknown),
    ``error_ev`` what stays open.
    """

    settings_ev: float
    light_ev: float | None
    error_ev: float

    @property
    def total(self) -> float:
        """Stops to take off the frame."""
        return self.settings_ev + (self.light_ev or 0.0)


def _step(pair: Pair) -> Step:
    """The background, which no flag touches, tells how far flash and lens have strayed."""
    settings = pair.settings_ev or 0.0
    change = background_change(pair.first, pair.second)
    if change is None:
        return Step(settings, None, SETTINGS_ERR if abs(settings) > 0.01 else 0.0)
    strayed = change - settings
    if abs(strayed) > STEADY_EV:
        raise RoomError(
            f"{pair.second.frame.path}: the background is {stops_text(abs(strayed))} "
            f"{'over' if strayed > 0 else 'under'} that of the open frame, the settings taken "
            "off; leave the lights as they are and take it again"
        )
    # A wall is lit a little by what the flag took away: half of the stray may be that.
    return Step(settings, strayed, abs(strayed) / 2)


def _share(light: Floats, flagged: Floats, mask: Mask, step: Step) -> Share:
    total, left = float(light[mask].mean()), float(flagged[mask].mean())
    if total <= 0:
        return Share(0.0, 1.0, 0.0)
    part = left / total
    noise = np.hypot(_mean_error(light, mask) / total, _mean_error(flagged, mask) / max(left, 1e-9))
    error = part * float(np.hypot(COVERAGE * noise, step.error_ev * np.log(2)))
    return Share(1 - part, error, -log2(max(part, FLOOR)))


def _mean_error(light: Floats, mask: Mask) -> float:
    """Standard error of a mean by noise, from differences of neighbours two pixels apart."""
    pairs = mask[:, 2:] & mask[:, :-2]
    if not pairs.any():
        return 0.0
    step = np.abs(light[:, 2:] - light[:, :-2])[pairs]
    return float(1.4826 * np.median(step) / np.sqrt(2) / np.sqrt(mask.sum()))


def _depth_with(first: Inspection, light: Floats, then: Floats, core: Mask) -> float | None:
    """The open frame's depth, and what its core darkens by."""
    depth = first.exposure.depth_ev
    if depth is None:
        return None
    middles = (float(np.median(np.maximum(each[core], FLOOR))) for each in (light, then))
    before, after = (log2(middle) for middle in middles)
    return depth + before - after


def _window_at_open(window: Window, step: float) -> Window:
    """A window as changes of the open frame's exposure, the frame being ``step`` brighter."""

    def moved(ev: float | None) -> float | None:
        return None if ev is None else ev + step

    return Window(
        moved(window.low_ev),
        window.low_is,
        moved(window.high_ev),
        window.high_is,
        moved(window.safe_high_ev),
        moved(window.subject_high_ev),
    )


def _tied(surfaces: list[Surface]) -> int:
    """How many surfaces could be the largest, as far as the uncertainty tells."""
    first = surfaces[0].shares[ALL]
    return sum(
        first.fraction - s.shares[ALL].fraction
        <= float(np.hypot(first.error, s.shares[ALL].error) if s is not surfaces[0] else 0.0)
        for s in surfaces
    )


def say(first: Inspection, surfaces: list[Surface], tied: int) -> str:
    """Which flag to set first, and what it wins."""
    best = surfaces[0]
    share = best.shares[ALL]
    if share.fraction <= share.error:
        return "No flag takes away more light than the noise leaves open; the room is not the cause"
    names = " or ".join(s.name for s in surfaces[:tied])
    head = f"Flag {names} first"
    if tied > 1:
        head += ", which the frames cannot tell apart"
    wins = f"it sends {100 * share.fraction:.0f} % of the light on the subject"
    if best.depth_ev is None or first.exposure.depth_ev is None:
        return f"{head}: {wins}, and a flag wins {stops_text(share.win_ev)}"
    return (
        f"{head}: {wins}, and with a flag the subject comes from "
        f"{first.exposure.depth_ev:.1f} to {best.depth_ev:.1f} stops under white"
    )
