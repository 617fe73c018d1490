"""What to change, and how to say it: thirds of a stop, power, distance, which side to flag."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from math import ceil, floor, inf, isfinite

from inspector.apex import distance_factor, distance_stops, power_fraction

THIRDS = ("", "⅓", "⅔")


class Kind(Enum):
    """What can be changed on the set."""

    EXPOSE = "expose"
    """Lens or power: all light by so many stops, up (+) or down (−)."""
    TURN = "turn"
    """The background light towards a place that lacks so many stops."""
    UNSHADOW = "unshadow"
    """What casts the subject's shadow on the background, there."""
    MOVE = "move"
    """The subject, away from the background, until so many stops less fall on its edge."""
    FLAG = "flag"
    """A side that throws light onto the subject, with black."""
    SHADE = "shade"
    """The subject's front: so many stops less from walls and ceiling."""
    PANEL = "panel"
    """A white panel, away from the subject, until it gives so many stops less."""
    SPOT = "spot"
    """What throws light onto places inside the subject, with black."""
    FIRE = "fire"
    """The flash."""
    FRAME = "frame"
    """The picture."""


@dataclass(frozen=True)
class Change:
    """One thing to change on the set.

    ``stops`` as its kind says; ``where`` a side or place in the picture; ``most`` the exposure
    change up to which the rest of the frame would stay right, infinite where nothing limits it.
    """

    kind: Kind
    stops: float = 0.0
    where: str | None = None
    most: float = inf

    @property
    def times_as_far(self) -> float:
        """What the distance is multiplied by to lose the stops, by the inverse-square law."""
        return max(1.1, ceil(10 * distance_factor(self.stops) - 0.05) / 10)

    @property
    def moved_stops(self) -> float:
        """Stops that are lost at that distance."""
        return distance_stops(1.0, self.times_as_far)


def say(changes: Sequence[Change]) -> str:
    """The changes as one sentence, without its full stop."""
    said = [_words(change) for change in changes]
    text = said[0]
    if len(changes) > 1:
        raised = changes[0].kind is Kind.EXPOSE and changes[0].stops > 0
        spills = raised and changes[1].kind is Kind.MOVE
        text += "; the edge then spills, so " if spills else ", and "
        text += ", and ".join(said[1:])
    elif changes[0].kind is Kind.EXPOSE:
        text += _allowance(changes[0])
    elif changes[0].kind is Kind.UNSHADOW:
        text += ", or move the subject further from it"
    return text[:1].upper() + text[1:]


def _words(change: Change) -> str:
    match change.kind:
        case Kind.EXPOSE:
            return _expose(change)
        case Kind.TURN:
            return _turn(change)
        case Kind.UNSHADOW:
            return _unshadow(change)
        case Kind.MOVE:
            return _move(change)
        case Kind.FLAG:
            return (
                f"hang black on the {change.where} side: light bounces from there onto the subject"
            )
        case Kind.SHADE:
            return _shade(change)
        case Kind.PANEL:
            return _panel(change)
        case Kind.SPOT:
            return "find what throws light onto the subject there and flag it"
        case Kind.FIRE:
            return "check that the flash fired: trigger, battery, recycling; then shoot again"
        case Kind.FRAME:
            return "frame the lit background behind the subject, or leave this frame out of the set"


def _expose(change: Change) -> str:
    power = f"(power × {power_fraction(change.stops):.2g})"
    if change.stops < 0:
        return f"close down or lower the background light by {stop_word(change.stops)} {power}"
    if change.where:
        turned = f"turn the background light towards {_article(change.where)}"
        return f"{turned} or raise it by {stop_word(change.stops)} {power}"
    return (
        f"raise the background light by {stop_word(change.stops)} {power} or open the lens as much"
    )


def _allowance(change: Change) -> str:
    """What an exposure change does to the other end of the window."""
    if change.stops < 0:
        return "; the background stays white"
    most = thirds_down(change.most) if isfinite(change.most) else 0.0
    return f"; edge and subject allow {stop_word(most)}" if most > change.stops else ""


def _turn(change: Change) -> str:
    return (
        f"turn the background light towards {_article(change.where)}, "
        f"where {stop_word(change.stops)} {'is' if change.stops < 1.01 else 'are'} missing"
    )


def _unshadow(change: Change) -> str:
    return (
        f"flag or turn away the light that casts the subject's shadow on {_article(change.where)} "
        "of the background"
    )


def _move(change: Change) -> str:
    return (
        f"move the subject {_times(change.times_as_far)} as far from the background "
        "or flag its edges with black"
    )


def _shade(change: Change) -> str:
    return (
        f"keep {stop_word(change.stops)} of light off the subject's front: flag walls and ceiling "
        "with black, or move away from them"
    )


def _panel(change: Change) -> str:
    panel = f"the white panel on the {change.where}" if change.where else "the white panels"
    return f"move {panel} {_times(change.times_as_far)} as far from the subject"


def _times(factor: float) -> str:
    return "twice" if factor == 2 else f"{factor:g} times"


def thirds_up(ev: float) -> float:
    """The least whole number of thirds of a stop, one or more, that is not less than ``ev``."""
    return max(1, ceil(ev * 3 - 0.05)) / 3


def thirds_down(ev: float) -> float:
    """The greatest whole number of thirds of a stop that is not more than ``ev``."""
    return floor(ev * 3 + 0.05) / 3


def thirds_text(ev: float) -> str:
    """A stop value to the nearest third: ``1⅔``, ``⅓``, ``0``."""
    thirds = round(abs(ev) * 3)
    whole, part = divmod(thirds, 3)
    return f"{whole or ''}{THIRDS[part]}" or "0"


def stops_text(ev: float) -> str:
    """A stop value to a tenth, with its unit."""
    return f"{ev:.1f} {'stop' if f'{abs(ev):.1f}' == '1.0' else 'stops'}"


def fraction_text(fraction: float) -> str:
    """A part as a percentage that never rounds up to the whole."""
    percent = 100 * fraction
    return f"{percent:.0f} %" if 10 <= percent < 99 else f"{int(percent * 10) / 10:.1f} %"


def stop_word(ev: float) -> str:
    """``⅔ stop``, ``1 stop``, ``1⅓ stops``; what is no third to a tenth: ``0.5 stop``."""
    size = abs(ev)
    is_third = abs(3 * size - round(3 * size)) < 0.01
    unit = "stop" if size < 1.01 else "stops"
    return f"{thirds_text(size) if is_third else f'{size:.1f}'} {unit}"


def _article(where: str | None) -> str:
    named = where not in (None, "all over", "centre")
    return f"the {where}" if named else "the middle"
