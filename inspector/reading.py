"""The stops at a point of the picture, and between two, from the raw data alone."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from inspector.clip import Clip
from inspector.frame import Frame, to_sensor
from inspector.levels import FLOOR_EV, WHITE
from inspector.mosaic import channel_sites

PATCH_PX = 9
"""Least side of the patch around a point, sensor pixels; whole cells, an odd number of them."""
CLIPPED_SHARE = 0.01
"""A channel with more of its sites at the clip level reads `at_least`."""

EXACT, AT_LEAST, IN_NOISE = "exact", "at_least", "in_noise"


@dataclass(frozen=True)
class Channel:
    """One channel over the patch.

    ``raw`` is the mean raw level before black subtraction, ``ev`` the stops over (+) or under
    (-) white. ``state``: ``exact``, ``at_least`` where it clips, ``in_noise`` where the mean
    signal is no more than the noise of one site (EMVA 1288 puts the threshold at SNR = 1).
    ``error_ev`` is the standard error that the noise of the sites leaves, stops.
    """

    name: str
    raw: float
    ev: float
    state: str
    error_ev: float = 0.0

    @property
    def level(self) -> float:
        """The rendered level, 1 at the white point."""
        return float(2.0**self.ev)


@dataclass(frozen=True)
class Reading:
    """A point read: ``by`` names the channels that ``ev`` comes from, none where all clip."""

    channels: tuple[Channel, ...]
    by: tuple[str, ...]
    ev: float
    state: str

    @property
    def error_ev(self) -> float:
        """Standard error of ``ev`` by noise, stops."""
        errors = [c.error_ev for c in self.channels if c.name in self.by]
        return float(np.sqrt(np.sum(np.square(errors))) / max(len(errors), 1))


@dataclass(frozen=True)
class Ratio:
    """From the darker to the brighter of two points: ``stops``, and ``times`` to 1.

    None where both points clip in every channel.
    """

    stops: float | None
    times: float | None
    state: str


def read_point(frame: Frame, clip: Clip, x: float, y: float, *, size: float = PATCH_PX) -> Reading:
    """Read the patch around a point of the picture as viewed.

    Parameters
    ----------
    clip : Clip
        Clip level of each channel.
    x, y : float
        Continuous pixels: the pixel in column i spans [i, i + 1).
    size : float
        Least side of the patch, pixels.

    Raises
    ------
    ValueError
        If the point lies outside the picture.
    """
    width, height = frame.size
    if not (0 <= x < width and 0 <= y < height):
        raise ValueError(f"({x:g}, {y:g}) lies outside the picture of {width} × {height} pixels")
    cells = _patch(frame, x, y, size)
    channels = tuple(_read(frame, clip, c, cells) for c in range(len(frame.channels)))
    use = _responding(channels)
    if not use:
        ceiling = max(channel.ev for channel in channels)
        return Reading(channels, (), ceiling, AT_LEAST)
    state = IN_NOISE if all(c.state == IN_NOISE for c in use) else EXACT
    return Reading(channels, tuple(c.name for c in use), _ev(_level(use)), state)


def ratio(a: Reading, b: Reading) -> Ratio:
    """How many times brighter the one point is than the other, by channels that tell of both."""
    common = {c.name for c in a.channels if c.state != AT_LEAST}
    common &= {c.name for c in b.channels if c.state != AT_LEAST}
    use_a, use_b = (
        _responding(c for c in reading.channels if c.name in common) for reading in (a, b)
    )
    if use_a:
        noise = any(all(c.state == IN_NOISE for c in use) for use in (use_a, use_b))
        stops = abs(_ev(_level(use_a)) - _ev(_level(use_b)))
        return Ratio(stops, 2.0**stops, IN_NOISE if noise else EXACT)
    if a.by or b.by:  # one of them is clipped throughout
        stops = max(0.0, a.ev - b.ev if b.by else b.ev - a.ev)
        return Ratio(stops, 2.0**stops, AT_LEAST)
    return Ratio(None, None, AT_LEAST)


def _patch(frame: Frame, x: float, y: float, size: float) -> tuple[slice, slice]:
    """Rows and columns of the cells in the patch; it shrinks at the border."""
    cell = frame.pattern.shape[0]
    reach = ceil(size / cell) // 2
    at = to_sensor(np.array([[x, y]]), frame)[0] // cell
    count = np.array(frame.sensor_size) // cell
    column, row = np.clip(at, 0, count - 1).astype(int).tolist()
    return slice(max(0, row - reach), row + reach + 1), slice(
        max(0, column - reach), column + reach + 1
    )


def _read(frame: Frame, clip: Clip, c: int, cells: tuple[slice, slice]) -> Channel:
    views = [view[cells].astype(np.float64) for view in channel_sites(frame, c)]
    sites = np.concatenate([view.ravel() for view in views])
    black, span = frame.black[c], clip.level[c] - frame.black[c]
    mean = float(sites.mean())
    signal = mean - black
    noise = _noise(views)
    if (sites >= black + WHITE * span).mean() > CLIPPED_SHARE:
        state = AT_LEAST
    else:
        state = IN_NOISE if signal <= noise else EXACT
    ev = _ev(signal / span * float(frame.gains[c]))
    error = noise / np.sqrt(sites.size) / max(signal, 1e-6) / np.log(2)
    return Channel(frame.channels[c], mean, ev, state, float(error))


def _noise(views: list[NDArray[np.float64]]) -> float:
    """Standard deviation of a site, from neighbours' differences: an edge in the patch is none."""
    steps = np.concatenate([np.abs(np.diff(view, axis=1)).ravel() for view in views])
    return float(1.4826 * np.median(steps) / np.sqrt(2)) if steps.size else 0.0


def _responding(channels: Iterable[Channel]) -> tuple[Channel, ...]:
    """Green where it tells, else whatever does (as `levels.stops` takes them)."""
    told = tuple(c for c in channels if c.state != AT_LEAST)
    return tuple(c for c in told if c.name[0] in "GL") or told


def _level(channels: tuple[Channel, ...]) -> float:
    return float(np.mean([c.level for c in channels]))


def _ev(level: float) -> float:
    return float(np.log2(max(level, 2.0**FLOOR_EV)))
