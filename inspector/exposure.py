"""How far from white each part is: backdrop, depth of the subject, veil, exposure window."""

from __future__ import annotations

from dataclasses import dataclass

from inspector.edge import Box


@dataclass(frozen=True)
class ShortRegion:
    """A connected part of the backdrop that is not paper white; ``ev`` its median stops."""

    where: str
    box: Box
    area_px: int
    ev: float


@dataclass(frozen=True)
class Window:
    """Least and greatest exposure change, in stops, that still pass (None: there is none).

    ``low_is`` and ``high_is`` are ``exact``, ``at_most`` or ``at_least``.
    """

    low_ev: float | None = None
    low_is: str | None = None
    high_ev: float | None = None
    high_is: str | None = None


@dataclass(frozen=True)
class Exposure:
    """The figures of one frame; None where the frame cannot tell.

    Fractions 0 to 1, stops relative to white. ``veil_is`` is ``exact`` or ``at_most``.
    """

    backdrop_area: float
    white_fraction: float | None = None
    blown_fraction: float | None = None
    ev_p1: float | None = None
    ev_p50: float | None = None
    ev_p99: float | None = None
    short_regions: tuple[ShortRegion, ...] = ()
    subject_area: float = 0.0
    depth_ev: float | None = None
    veil_fraction: float | None = None
    veil_is: str | None = None
    window: Window = Window()
