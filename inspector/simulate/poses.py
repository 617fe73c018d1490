"""All drawings by name, and where loose hair grows."""

from __future__ import annotations

from inspector.simulate.pieces import Drawing
from inspector.simulate.poses_front import AKIMBO, BUST, MASKED, SALUTE, STANDING
from inspector.simulate.poses_side import CHAIR, EN_GARDE, LUNGE, PROFILE

DRAWINGS: dict[str, Drawing] = {
    "standing": STANDING,
    "akimbo": AKIMBO,
    "salute": SALUTE,
    "lunge": LUNGE,
    "en-garde": EN_GARDE,
    "profile": PROFILE,
    "bust": BUST,
    "masked": MASKED,
    "chair": CHAIR,
}

HAIR_ROOTS: dict[str, tuple[float, float, float, float, float]] = {
    "standing": (0.0, -0.945, 0.052, -3.0, -0.15),
    "akimbo": (0.0, -0.945, 0.052, -3.0, -0.15),
    "salute": (0.0, -0.945, 0.052, -3.0, -0.15),
    "bust": (0.0, -0.275, 0.052, -3.3, 0.2),
    "profile": (-0.012, -0.56, 0.055, -3.9, -1.3),
}
"""Where loose hair grows: x, y and radius of the head, and the range of angles (radians)."""
