"""The backdrop's level behind what stands before it, foretold from the backdrop around."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from inspector.arrays import Floats, Mask
from inspector.surface import NEAR, REACH, coarsened, continue_smoothly, quadratic_at


@dataclass(frozen=True, eq=False)
class Behind:
    """The level of a surface behind other things.

    Attributes
    ----------
    ev : ndarray, float32
        (h, w) stops on the coarse picture (with a plate: on the working picture).
    surface : ndarray, float32
        (h, w) stops of the surface, carried on everywhere.
    known : ndarray, bool, or None
        (h, w) where the surface is seen; None where a plate has shown all of it.
    distance : ndarray, float32, or None
        (h, w) how far from there, its own pixels.
    factor : int
        Working pixels to a pixel of these pictures.
    """

    ev: Floats
    surface: Floats
    known: Mask | None
    distance: Floats | None
    factor: int

    def at(self, rows: NDArray[np.intp], columns: NDArray[np.intp]) -> tuple[float, ...]:
        """Stops at a patch of working pixels, in each of the ways in which it can be foretold.

        The median of what a normalised convolution carries on, and a quadratic fitted to the
        surface by least squares, its near parts weighted most.
        """
        y, x = self._place(rows, columns)
        carried_on = float(np.median(self.surface[y, x]))
        if self.known is None:
            return (carried_on,)
        size = max(float(np.ptp(y)), float(np.ptp(x)))
        near = NEAR + size / 2
        return carried_on, quadratic_at(self.ev, self.known, float(y.mean()), float(x.mean()), near)

    def away(self, rows: NDArray[np.intp], columns: NDArray[np.intp]) -> float:
        """How far from what is seen a patch lies, median, part of the picture's long side."""
        if self.distance is None:
            return 0.0
        return float(np.median(self.distance[self._place(rows, columns)]) / max(self.ev.shape))

    def _place(
        self, rows: NDArray[np.intp], columns: NDArray[np.intp]
    ) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        height, width = self.surface.shape
        y = np.minimum(rows // self.factor, height - 1)
        return y, np.minimum(columns // self.factor, width - 1)


def behind(ev: Floats, seen: Mask, plate_ev: Floats | None) -> Behind:
    """What is behind, from where the surface is seen, or from a plate that shows all of it.

    Parameters
    ----------
    ev : ndarray, float32
        (h, w) stops of the working picture.
    seen : ndarray, bool
        (h, w) True where the surface is seen.
    plate_ev : ndarray, float32, or None
        (h, w) its stops everywhere.
    """
    if plate_ev is not None:
        return Behind(ev, plate_ev, None, None, 1)
    coarse, factor = coarsened(ev)
    size = coarse.shape[::-1]
    whole = seen[: size[1] * factor, : size[0] * factor].astype(np.float32)
    known = cv2.resize(whole, size, interpolation=cv2.INTER_AREA) > 0.99
    if not known.any():
        return Behind(ev, ev, None, None, 1)
    distance = cv2.distanceTransform((~known).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    surface = continue_smoothly(coarse, known, REACH)
    return Behind(coarse, surface, known, np.asarray(distance, np.float32), factor)
