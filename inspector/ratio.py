"""The lighting ratio between the lit and the shadow side, from raw levels at two points."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, log2

from inspector.clip import Clip
from inspector.frame import Frame
from inspector.reading import AT_LEAST, IN_NOISE, Reading, ratio, read_point

PATCH = 0.01
"""Side of the patch that is read unless it is given, part of the long side."""
LEAST_PX = 9.0
COVERAGE = 2.0
"""Standard errors that the stated uncertainty spans: 95 % of cases."""


@dataclass(frozen=True)
class LightingRatio:
    """How much brighter the lit side is.

    Attributes
    ----------
    lit, shadow : Reading
    lit_at, shadow_at : tuple of float
        x, y in viewed pixels.
    size : float
        Side of the patches, viewed pixels.
    stops, times : float or None
        From the shadow to the lit side, and as n of n:1; negative and under 1 if the point called
        lit is the darker. None where both clip.
    error_ev : float or None
        Twice the standard error that noise leaves, stops.
    state : str
        ``exact``, ``at_least`` (the lit point clips), ``in_noise``.
    key_over_fill_ev : float or None
        Stops by which a key light outshines a fill that lights both sides: log2(n - 1).
    warnings : tuple of str
        What is wrong with a point, each with its remedy.
    """

    lit: Reading
    shadow: Reading
    lit_at: tuple[float, float]
    shadow_at: tuple[float, float]
    size: float
    stops: float | None
    times: float | None
    error_ev: float | None
    state: str
    key_over_fill_ev: float | None
    warnings: tuple[str, ...]


def lighting_ratio(
    frame: Frame,
    clip: Clip,
    *,
    lit: tuple[float, float],
    shadow: tuple[float, float],
    size: float | None = None,
) -> LightingRatio:
    """Read two points and the ratio between them.

    Parameters
    ----------
    lit, shadow : tuple of float
        x, y in viewed pixels.
    size : float, optional
        Side of the patches in viewed pixels; a hundredth of the long side if left out.

    Raises
    ------
    ValueError
        If a point lies outside the picture.
    """
    side = size or max(LEAST_PX, PATCH * max(frame.size))
    a, b = (read_point(frame, clip, *point, size=side) for point in (lit, shadow))
    found = ratio(a, b)
    stops = found.stops
    if stops is not None and a.ev < b.ev:
        stops = -stops
    times = None if stops is None else 2.0**stops
    error = None if found.state == AT_LEAST else COVERAGE * hypot(a.error_ev, b.error_ev)
    over = None if times is None or times <= 1.0 else log2(times - 1)
    return LightingRatio(
        lit=a,
        shadow=b,
        lit_at=lit,
        shadow_at=shadow,
        size=side,
        stops=stops,
        times=times,
        error_ev=error,
        state=found.state,
        key_over_fill_ev=over,
        warnings=_warnings(a, b, found.state),
    )


def _warnings(lit: Reading, shadow: Reading, state: str) -> tuple[str, ...]:
    said = []
    for name, reading in (("lit", lit), ("shadow", shadow)):
        if reading.state == AT_LEAST:
            said.append(f"the {name} point is clipped in every channel; close down or move it")
        elif state == AT_LEAST and any(c.state == AT_LEAST for c in reading.channels):
            said.append(f"the {name} point is clipped in part; close down or move it")
        if reading.state == IN_NOISE:
            said.append(f"the {name} point lies in the noise; open up or add light")
    if not said and lit.ev < shadow.ev:
        said.append("the point called lit is the darker one; are they the wrong way round?")
    return tuple(said)
