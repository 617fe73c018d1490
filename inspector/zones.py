"""Backdrop, subject and surround: which part of the picture is what."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

SURROUND, BACKDROP, SUBJECT = 0, 1, 2
"""Values of a zone map, also of ``--mask-out`` files."""


@dataclass(frozen=True, eq=False)
class Zones:
    """Zones of the working picture, as viewed.

    Attributes
    ----------
    label : ndarray, uint8
        (h, w) SURROUND, BACKDROP or SUBJECT.
    fringe : ndarray, bool
        (h, w) True in the band along every border that is left out of the fractions.
    backdrop_ev : ndarray, float32
        (h, w) stops of the backdrop, continued smoothly behind the subject; NaN if none found.
    outlines : tuple of ndarray
        Each (N, 2) float64, x, y of the border between subject and backdrop in viewed pixels,
        about evenly spaced, the subject on the right hand when walking along it.
    plate_shift : tuple of float, optional
        (dx, dy) viewed pixels by which the plate was moved to fit; None without a plate.
    """

    label: NDArray[np.uint8]
    fringe: NDArray[np.bool_]
    backdrop_ev: NDArray[np.float32]
    outlines: tuple[NDArray[np.float64], ...]
    plate_shift: tuple[float, float] | None = None

    @property
    def backdrop(self) -> NDArray[np.bool_]:
        """(h, w) True on the backdrop, fringe included."""
        return self.label == BACKDROP

    @property
    def subject(self) -> NDArray[np.bool_]:
        """(h, w) True on the subject, fringe included."""
        return self.label == SUBJECT

    @property
    def found(self) -> bool:
        """Whether there is a backdrop at all."""
        return bool((self.label == BACKDROP).any())
