"""From raw levels to stops: clip levels, the ceiling, and the working picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from inspector.frame import Frame

WHITE = 0.98
"""Rendered level from which a channel develops to 255 (contract: paper white)."""


@dataclass(frozen=True, eq=False)
class Clip:
    """Where each channel stops responding.

    ``level`` (C,) raw level before black subtraction; ``measured`` (C,) True where it comes
    from a pile-up in this frame, False where the metadata stands.
    """

    level: NDArray[np.float64]
    measured: NDArray[np.bool_]

    @property
    def source(self) -> str:
        """``measured``, ``metadata`` or ``mixed``."""
        if self.measured.all():
            return "measured"
        return "mixed" if self.measured.any() else "metadata"


@dataclass(frozen=True, eq=False)
class Levels:
    """The working picture, as viewed: block averages of the mosaic in units of white.

    Attributes
    ----------
    frame : Frame
        Kept for the places that need single photosites (outline, profiles).
    clip : Clip
    ceiling_ev : float
        Highest stop the frame can tell, log2 of the largest gain.
    scale : int
        Sensor pixels per working pixel, along both axes.
    origin : tuple of int
        (x, y) of the working picture's top left corner in the picture as viewed, pixels.
    rendered : ndarray, float32
        (h, w, C) mean rendered level r_c, 1 at the white point.
    ev : ndarray, float32
        (h, w) stops over (+) or under (-) white of a neutral surface, read from the channels
        that still respond; ``ceiling_ev`` where none does.
    white, blown, part : ndarray, float32
        (h, w) fraction of each working pixel's cells that are paper white, blown, part clipped.
    """

    frame: Frame
    clip: Clip
    ceiling_ev: float
    scale: int
    origin: tuple[int, int]
    rendered: NDArray[np.float32]
    ev: NDArray[np.float32]
    white: NDArray[np.float32]
    blown: NDArray[np.float32]
    part: NDArray[np.float32]

    def to_view(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Working-picture x, y (continuous, pixel i spans [i, i + 1)) to viewed pixels."""
        return points * self.scale + np.asarray(self.origin, float)
