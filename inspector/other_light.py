"""By how many stops a light was turned down while other light on the subject stayed as it was.

The room's lamps, which light the subject's dark front, then make it look as if less had been taken
off. Along the outline the backdrop's light mixes with the subject's, and the light that stayed is
in the subject's share. So the darker frame is a straight line in the brighter one, and that line
ends at the backdrop's own light, which the darker frame shows: its slope tells the stops, its
height the light that stayed.
"""

from __future__ import annotations

from math import log2

import numpy as np

from inspector.align import Shift, moved
from inspector.arrays import Floats, Points, grown
from inspector.darker import all_respond
from inspector.levels import Levels
from inspector.zones import Zones

NEAR_PX, OFF_PX, BESIDE_PX = 12, 4, 20
"""So near the backdrop its light mixes with the subject's; so far off the subject, and so near it,
it shows its own, working pixels."""
STEPS = np.geomspace(0.008, 1.5, 24)
"""Steps of light in which the two frames are compared, rendered level of the brighter."""
ENOUGH_IN_STEP, LEAST_STEPS = 25, 4
"""Working pixels that tell a step, and steps that tell a line."""
ROUNDS, OUTLYING, LEAST_OFF = 12, 1.5, 1e-4
"""Of weighing down what does not fit (Huber); from so many deviations on; no less is one."""


def stops_turned_down(levels: Levels, darker: Levels, shift: Shift, zones: Zones) -> float | None:
    """Stops by which the backdrop is darker, other light on the subject left out of account.

    With L the light of a place in the brighter frame, B the backdrop's, S the subject's and A what
    stayed of it, L' = L / 2^d + A (1 - 1 / 2^d) (B - L) / (B - S) in the darker one, d stops down.

    Parameters
    ----------
    levels, darker : Levels
        The brighter frame and the darker.
    shift : Shift
        How far the subject stands elsewhere in the second, working pixels.
    zones : Zones
        Of the brighter.

    Returns
    -------
    float or None
        None where too little of the outline responds in both.
    """
    # Each goes half the way: reading between pixels blurs both alike.
    half = shift.x / 2, shift.y / 2
    own = moved(np.asarray(levels.rendered.mean(axis=2)), *half)
    below = moved(np.asarray(darker.rendered.mean(axis=2)), -half[0], -half[1])
    responds, backdrop, subject = (
        moved(mask.astype(np.float32), *half) > 0.99
        for mask in (all_respond(levels), zones.backdrop, zones.subject)
    )
    mixed = responds & subject & grown(backdrop, NEAR_PX)
    beside = backdrop & grown(subject, BESIDE_PX) & ~grown(subject, OFF_PX)
    steps = _by_steps(own[mixed], below[mixed])
    if len(steps) < LEAST_STEPS or not beside.any():
        return None
    slope, height = _line(steps)
    left = 1 - height / float(np.median(below[beside]))
    return log2(left / slope) if left > 0 and slope > 0 else None


def _by_steps(own: Floats, below: Floats) -> Points:
    """(N, 2) median light of both frames in each step that enough pixels tell, none of it black."""
    step = np.digitize(own, STEPS)
    told = [step == k for k in range(1, len(STEPS)) if (step == k).sum() >= ENOUGH_IN_STEP]
    places = np.array([(np.median(own[k]), np.median(below[k])) for k in told]).reshape(-1, 2)
    return places[places[:, 1] > 0]


def _line(places: Points) -> tuple[float, float]:
    """Slope and height of a line through (N, 2) x, y; each place counts by its part of y.

    Least squares, outliers weighed down (Huber, Annals of Mathematical Statistics 35(1), 1964).
    """
    x, y = places.T
    terms, weight = np.stack([x, np.ones_like(x)], axis=1), np.ones_like(x)
    slope = height = 0.0
    for _ in range(ROUNDS):
        part = np.sqrt(weight) / y
        slope, height = np.linalg.lstsq(terms * part[:, None], y * part)[0]
        off = np.abs(y - slope * x - height) / y
        weight = 1 / np.maximum(1, off / (OUTLYING * (1.4826 * np.median(off) + LEAST_OFF)))
    return float(slope), float(height)
