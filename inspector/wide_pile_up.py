"""Pile-ups as wide as shot noise: what else the frame shows tells them from a lit surface.

Twenty levels of noise at saturation are 0.6 % of the range of a 12-bit file, and a surface that
does not clip may be spread by as little. But what clips is flat, but for that noise, even where
the other channels show that its light is not; or all channels stop at much the same raw level,
though their gains say that a neutral surface sets them apart.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask
from inspector.clip import Peak
from inspector.frame import Frame
from inspector.mosaic import block_means, tile_sizes

WITHIN = 0.03
"""A wide peak lies within this part of its level below the highest sites."""
MOST_WIDE = 0.0075
"""No pile-up is wider: 20 levels of noise, and what a normal peak's tails add, in 3,000."""
CELLS = 8
"""Blocks of so many cells a side are compared."""
LEAST_BLOCKS = 12
"""Fewer blocks in the peak tell nothing."""
FLAT = 1.5
"""Blocks that clip differ by no more than so many times what their sites' noise explains. Where
light slopes, those within one spread of the peak differ by five times as much, on a crest by 2.5
(the tenths of a uniform variable and of the square of one, with 64 sites)."""
VARIES = 0.01
"""Light is seen to vary where a channel's blocks differ by more than this part of their level."""
APART, ALIKE = 1.3, 0.05
"""Gains differ by such a factor, and yet the peaks by no more than this part of the range."""
TENTHS = 2.563
"""Standard deviations of a normal distribution between its tenth and its ninetieth percentile."""


def wide_pile_ups(
    frame: Frame, peaks: list[Peak | None], measured: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Centres of the peaks that are pile-ups, for all their width; NaN for the other channels.

    Parameters
    ----------
    frame : Frame
    peaks : list of Peak or None
        The peak of each channel, None where it has none or its pile-up is told by itself.
    measured : ndarray, float64
        (C,) those pile-ups, NaN where there is none.
    """
    black = frame.black
    level, found = measured.copy(), np.full(len(peaks), np.nan)
    wide = [
        (c, peak)
        for c, peak in enumerate(peaks)
        if peak and peak.spread < MOST_WIDE * (peak.centre - black[c])
    ]
    if not wide:
        return found
    scale = CELLS * tile_sizes(frame)[1]
    height, width = (n // scale for n in frame.mosaic.shape[:2])
    light = block_means(frame, scale, (width, height)) - black[:, None, None]
    flat = {}
    for c, peak in wide:
        blocks = _blocks_in(light[c], peak, black[c], _sites(frame, c))
        if blocks is not None:
            flat[c], level[c] = blocks, peak.centre
    respond = light[np.isnan(level)]
    for c, blocks in flat.items():
        if any(_varies(other[blocks]) for other in respond) or _coincides(c, level, frame):
            found[c] = level[c]
    return found


def _sites(frame: Frame, channel: int) -> int:
    """Sites of a channel in a block."""
    return CELLS**2 * max(1, int((frame.pattern == channel).sum()))


def _blocks_in(light: Floats, peak: Peak, black: float, sites: int) -> Mask | None:
    """(h, w) the blocks in a peak, by the light (h, w) of its channel; None where it slopes."""
    off = light - (peak.centre - black)
    blocks = np.abs(off) < peak.spread
    if np.count_nonzero(blocks) < LEAST_BLOCKS:
        return None
    return blocks if _spread(off[blocks]) < FLAT * peak.spread / np.sqrt(sites) else None


def _varies(light: Floats) -> bool:
    return _spread(light) > VARIES * float(np.median(light))


def _coincides(channel: int, level: NDArray[np.float64], frame: Frame) -> bool:
    """Whether another channel, of quite another gain, stops at much the same raw level (C,)."""
    gains, top = frame.gains, level - frame.black
    apart = np.abs(np.log(gains / gains[channel])) > np.log(APART)
    return bool((apart & (np.abs(top - top[channel]) < ALIKE * top[channel])).any())


def _spread(values: Floats) -> float:
    """Standard deviation, by its tenths: blocks that clip in part do not count."""
    return float(np.subtract(*np.percentile(values, (90, 10)))) / TENTHS
