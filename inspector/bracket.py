"""A stopped-down frame of an empty set tells how far over white it is, without a ceiling."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from inspector.advice import stops_text
from inspector.cast import read_through
from inspector.darker import FAINT_EV, stops_darker
from inspector.levels import RESPONDS, Levels
from inspector.pair import settings_ev

LEAST_DARKER, MOST_DARKER = 0.3, 6.0
"""A bracket is darker by between so many stops."""
WELL_LIT_EV = -5.5
"""Light in the bracket from which a comparison is good to a hundredth of a stop: half a raw level
in 14 bits is 0.2 % of it, and noise that hides what is darker still has no say."""
SETTINGS_ERR = 0.2
"""Settings and light that differ by more, in stops: the light was changed too."""


class BracketError(ValueError):
    """Why a frame is no bracket of a plate, as a sentence with the remedy."""


@dataclass(frozen=True)
class Bracket:
    """How a stopped-down frame of the set was used.

    ``stops`` is by how much it is darker; ``source`` ``light``, as read where both frames can
    tell, or ``settings``; ``settings_ev`` what the exposure tags say, None if nothing.
    """

    path: str
    stops: float
    source: str
    settings_ev: float | None

    @property
    def light_changed(self) -> bool:
        """Whether the light differs by other than what the settings say."""
        return self.settings_ev is not None and abs(self.settings_ev - self.stops) > SETTINGS_ERR


def lay_bracket(levels: Levels, darker: Levels, *, flash: bool = False) -> tuple[Levels, Bracket]:
    """Fill in what a plate has lost from a darker frame of the same set.

    By how much it is darker is read from the light where both frames can tell it well, else taken
    from the exposure tags.

    Parameters
    ----------
    levels, darker : Levels
        Of the plate and the bracket, by the same clip levels.
    flash : bool
        The light is flash alone, so that the shutter time does not change it.
    """
    path = darker.frame.path
    if darker.ev.shape != levels.ev.shape:
        raise BracketError(
            f"{path}: has another size than the plate; use the same camera and orientation"
        )
    told = settings_ev(darker.frame.shot, levels.frame.shot, flash=flash)
    difference, source = _difference(levels, darker, told)
    if difference is None:
        raise BracketError(
            f"{path}: neither the light nor the exposure tags say how much darker it is; take it "
            "two stops darker"
        )
    if not LEAST_DARKER <= difference <= MOST_DARKER:
        raise BracketError(
            f"{path}: is {stops_text(difference)} darker than the plate; take it one to four stops "
            "darker"
        )
    lost = levels.rendered >= RESPONDS * levels.frame.gains
    carried = darker.rendered * np.float32(2.0**difference)
    rendered = np.where(lost, carried, levels.rendered).astype(np.float32)
    joined = read_through(replace(levels, rendered=rendered, top=darker.top * 2.0**difference))
    return joined, Bracket(path, difference, source, told)


def _difference(levels: Levels, darker: Levels, told: float | None) -> tuple[float | None, str]:
    """Stops by which the bracket is darker, and whether the light or the settings say so."""
    well_seen = stops_darker(levels, darker, darkest_ev=WELL_LIT_EV)
    if well_seen is not None:
        return well_seen, "light"
    seen = stops_darker(levels, darker, darkest_ev=FAINT_EV)
    if told is not None and (seen is None or abs(seen - told) < SETTINGS_ERR):
        return told, "settings"
    return seen, "light"
