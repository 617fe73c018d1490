"""The limits, and what a photographer should do about a frame that misses one."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Limits:
    """What a frame must reach to pass. Depths are common practice, the rest our choice."""

    white_fraction: float = 0.995
    spill_fraction: float = 0.01
    hot_spot_area: float = 0.0002
    silhouette_depth_ev: float = 4.0
    filled_depth_ev: float = 2.0


@dataclass(frozen=True)
class Reason:
    """Why a frame warns: ``code`` is a kebab-case word, ``advice`` what to change."""

    code: str
    text: str
    advice: str | None = None


@dataclass(frozen=True)
class Verdict:
    """``word`` is ``pass`` or ``warn``; ``reasons`` the most useful first, empty on a pass."""

    word: str
    reasons: tuple[Reason, ...] = ()
    look: str = "silhouette"
    is_plate: bool = False

    @property
    def advice(self) -> str | None:
        """The one thing to change first."""
        return next((r.advice for r in self.reasons if r.advice), None)
