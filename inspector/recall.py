"""The clip levels of one frame, with what other frames of the set have shown."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from inspector.clip import Clip
from inspector.clip_memory import ClipMemory, Levels, Setting
from inspector.frame import Frame, four_channels, own_channels
from inspector.levels import measure_clip
from inspector.mosaic import channel_histogram
from inspector.stripes import at_once

ABOVE = 0.005
"""Noise carries hardly any site further over its clip than this part of it: four times the spread
of 20 levels of 14 bits."""
STRAY_SITES, STRAY_SHARE = 3.0, 0.00002
"""So many sites, or such a share, may be hot."""


def clip_with_memory(frame: Frame, memory: ClipMemory) -> Clip:
    """Clip levels as `measure_clip` has them, channels without a pile-up by the memory.

    Nothing is taken from the memory where sites of the frame lie above its level.
    """
    own = measure_clip(frame)
    recalled = memory.recalled(setting_of(frame), _four(frame, own.pile_ups))
    taken = np.array(own_channels(frame.channels, recalled), float)
    remembered = ~np.isnan(taken)
    if not remembered.any() or _passed(frame, taken):
        return own
    measured = own.measured & ~remembered
    known = measured | remembered
    level = np.where(remembered, taken, np.where(measured, own.level, frame.stated_clip))
    if not known.all():
        level = _with_scaled(frame, level, known)
    pile_ups = np.array(own.pile_ups, float)
    return Clip(level, measured, remembered=remembered, own=pile_ups)


def setting_of(frame: Frame) -> Setting:
    """The setting of a frame, the same as of its record."""
    width, height = frame.sensor_size
    size = (max(width, height), min(width, height))
    stated = _four(frame, frame.stated_clip.tolist())
    return Setting(frame.shot.camera, frame.shot.iso, size, stated)


def _with_scaled(
    frame: Frame, level: NDArray[np.float64], known: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Levels of the rest: stated, as far off as the known ones, no lower than their sites."""
    stated = frame.stated_clip - frame.black
    off = np.median(((level - frame.black) / stated)[known])
    highest = [np.flatnonzero(channel_histogram(frame, c))[-1] for c in range(level.size)]
    return np.where(known, level, np.maximum(frame.black + stated * off, highest))


def _passed(frame: Frame, taken: NDArray[np.float64]) -> bool:
    """Whether sites of any channel lie above its level (NaN: no such level) by more than noise."""

    def passed(channel: int) -> bool:
        counts = channel_histogram(frame, channel)
        above = counts[round(taken[channel] * (1 + ABOVE)) + 1 :].sum()
        return bool(above > max(STRAY_SITES, STRAY_SHARE * counts.sum()))

    return any(at_once(passed, np.flatnonzero(~np.isnan(taken)).tolist()))


def _four(frame: Frame, values: Levels | list[float]) -> Levels:
    return tuple(four_channels(frame.channels, values).values())
