"""Names for the kinds of array that pass between the stages."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Mask = NDArray[np.bool_]
"""True where something is."""
Floats = NDArray[np.float32]
"""A picture: light, stops or fractions."""
Points = NDArray[np.float64]
"""Positions x, y, and figures along a line of them."""
