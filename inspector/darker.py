"""By how many stops one frame of a pose is darker than another, read from the light itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.align import Shift, moved
from inspector.arrays import Floats, Mask
from inspector.levels import FLOOR_EV, RESPONDS, Levels
from inspector.surface import slope

DARKEST_EV = -9.5
"""Light under this, in the darker frame, has no say."""
FAINTEST_EV, FAINT_EV = -3.5, -7.5
"""The same where the two are laid on each other, in the brighter frame and in the darker; from the
second on a comparison is good to a tenth of a stop."""
SMOOTHEST = 0.1
"""Steepest light that is compared where it stands, stops per halved working pixel."""
AVERAGED, AROUND = (3, 3), np.ones((5, 5), np.uint8)
"""Halved pixels over which light is averaged, and those that have a say in its slope, too."""
BORDER = 2
"""So near the picture's border nothing is compared, halved pixels."""
ENOUGH_SMOOTH, ENOUGH_LAID_ON = 25, 60
"""Pixels that are enough to compare two frames, smooth halved ones and working ones."""
ROUNDS = 3
"""How often the light that counts is chosen anew by the difference found."""
MOST_SPREAD_EV = 0.3
"""Two frames of one pose differ alike everywhere: the middle half by less than this, stops."""
OUTLINE_EV = (-3.0, -1.0)
"""Light that the outline's own fall passes through, stops of the brighter frame."""


def stops_darker(levels: Levels, darker: Levels, *, darkest_ev: float = DARKEST_EV) -> float | None:
    """Stops by which a frame is darker than another of the same pose; None if it cannot be told.

    The median over the smooth parts, where a small shift does not matter, each pixel counting by
    its light. A channel is compared with itself alone: so a tint does not count for light, and
    above white red or blue still tell when green is gone. Light under ``darkest_ev``, in the
    darker frame, has no say.
    """
    differences, lights = [], []
    for one, other in zip(_channels(levels), _channels(darker), strict=True):
        own, below = (cv2.blur(c.light, AVERAGED) for c in (one, other))
        own_ev, below_ev = (np.log2(np.maximum(c, 2.0**FLOOR_EV)) for c in (own, below))
        told = one.responds & other.responds & (own > 2.0**darkest_ev)
        told &= (slope(own_ev) < SMOOTHEST) & (slope(below_ev) < SMOOTHEST)
        # At the picture's border hardly a slope is seen, and who has moved comes in or goes out.
        inner = np.s_[BORDER:-BORDER, BORDER:-BORDER]
        differences.append((own_ev - below_ev)[inner][told[inner]])
        lights.append(own[inner][told[inner]])
    difference, light = np.concatenate(differences), np.concatenate(lights)
    low = middle = high = 0.0
    for _ in range(ROUNDS):
        # The darker frame's own light must not choose: what noise has lifted would be taken.
        bright = light > 2.0 ** (darkest_ev + middle)
        if np.count_nonzero(bright) < ENOUGH_SMOOTH:
            return None
        low, middle, high = _weighed(difference[bright], light[bright], (0.25, 0.5, 0.75))
    return middle if middle > 0 and high - low < MOST_SPREAD_EV else None


def laid_on(levels: Levels, darker: Levels, shift: Shift) -> float | None:
    """Stops by which a frame is darker where it lies on the other; None if too little is seen.

    A median in which steep places weigh less, since they hang on the shift.
    """
    below = moved(darker.ev, -shift.x, -shift.y)
    told = all_respond(levels) & (levels.ev > FAINTEST_EV) & (below > FAINT_EV)
    if told.sum() < ENOUGH_LAID_ON:
        return None
    return _weighed((levels.ev - below)[told], 1 / (0.03 + slope(below)[told]), (0.5,))[0]


def by_area(ev: Floats, darker_ev: Floats) -> float:
    """Stops by which one picture is darker, roughly: as much of it is brighter than a level.

    Looks at levels that only the outline's own fall passes through where all else is clipped.
    """
    levels = np.arange(*OUTLINE_EV, 0.1)
    count = (ev[..., None] > levels).sum(axis=(0, 1))
    brightest_first = np.sort(darker_ev, axis=None)[::-1]
    return float(np.median(levels - brightest_first[np.maximum(count, 1) - 1]))


@dataclass(frozen=True, eq=False)
class _Channel:
    """Light of a channel on a picture half the size, its noise below black kept, and where it
    responds all around: one clipped site among those averaged would make the mean too low."""

    light: Floats
    responds: Mask


def _channels(levels: Levels) -> list[_Channel]:
    height, width = (side // 2 for side in levels.ev.shape)
    whole = levels.rendered[: 2 * height, : 2 * width]
    halved = cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA)
    return [
        _Channel(np.asarray(light, np.float32), cv2.dilate(light, AROUND) < RESPONDS * top)
        for light, top in zip(cv2.split(halved), levels.top, strict=True)
    ]


def _weighed(values: Floats, weights: NDArray[Any], parts: tuple[float, ...]) -> list[float]:
    """Quantiles of values that count by their weights."""
    order = np.argsort(values)
    total = np.cumsum(weights[order], dtype=np.float64)
    at = np.searchsorted(total, np.multiply(parts, total[-1]))
    return [float(v) for v in values[order][at]]


def all_respond(levels: Levels) -> Mask:
    """(h, w) True where no channel is near its clip, nor beside such a place."""
    clips = np.asarray((levels.rendered >= 0.9 * levels.top).any(axis=-1), np.uint8)
    return np.equal(cv2.dilate(clips, np.ones((3, 3), np.uint8)), 0)
