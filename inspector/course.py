"""The course of an outline: at each point the likely place, given all the points along it."""

from __future__ import annotations

import numpy as np

from inspector.arrays import Points
from inspector.step_fit import HOP, PLACES

STRAYS_PX = 0.5
"""How far the outline strays from point to point, as seen from the traced one."""
JUMPS = 0.02
"""Chance that it jumps, at a corner."""


def likely_places(evidence: Points) -> Points:
    """(N, P) chance of each place, given all the points of a stretch and that outlines go on.

    Forward and backward: Bishop, Pattern Recognition and Machine Learning, 2006, section 13.2.
    ``evidence`` (N, P) is the logarithm of how well each place explains the light at a point.
    """
    far = (PLACES[:, None] - PLACES[None]) / (STRAYS_PX * np.sqrt(HOP))
    on = np.exp(-(far**2) / 2)
    on = (1 - JUMPS) * on / on.sum(axis=1, keepdims=True) + JUMPS / len(PLACES)
    likely = np.exp(evidence)
    forward = np.empty_like(likely)
    so_far = np.full(len(PLACES), 1 / len(PLACES))
    for i, one in enumerate(likely):
        so_far = (so_far @ on) * one
        so_far /= so_far.sum()
        forward[i] = so_far
    to_come = np.ones(len(PLACES))
    for i in range(len(likely) - 1, -1, -1):
        forward[i] *= to_come
        forward[i] /= forward[i].sum()
        to_come = on @ (to_come * likely[i])
        to_come /= to_come.sum()
    return forward
