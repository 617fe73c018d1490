"""What a photographer does who follows an advice, brought into the simulated set."""

from __future__ import annotations

from dataclasses import dataclass, replace

from inspector.advice import Change, Kind
from inspector.simulate.backdrop import face
from inspector.simulate.scene import Backdrop, Light, Scene

BLACK_EV = 4.0
"""Stops that black takes from a white wall: reflectance 0.05 in place of 0.8 (common practice:
black foamcore 0.04 to 0.06, white paint 0.8 to 0.9)."""


@dataclass(frozen=True)
class SetUp:
    """A scene and the exposure change, in stops, at which it is photographed.

    ``meant`` is the same set as the photographer means it, with its flash firing.
    """

    scene: Scene
    meant: Scene
    ev: float = 0.0


def follow(set_up: SetUp, changes: tuple[Change, ...]) -> SetUp:
    """The set after the changes."""
    for change in changes:
        set_up = _follow(set_up, change)
    return set_up


def _follow(set_up: SetUp, change: Change) -> SetUp:
    scene, light = set_up.scene, set_up.scene.light
    match change.kind:
        case Kind.EXPOSE:
            return replace(set_up, ev=set_up.ev + change.stops)
        case Kind.TURN:
            return replace(set_up, scene=replace(scene, backdrop=turned(scene, change)))
        case Kind.UNSHADOW:
            return set_up  # no scene has a light that casts one
        case Kind.MOVE:
            return _lit(set_up, moved(light, change.moved_stops))
        case Kind.FLAG:
            return _lit(set_up, flagged(light, change.where))
        case Kind.SHADE:
            return _lit(set_up, dimmed(light, front=change.stops, walls=change.stops))
        case Kind.PANEL:
            return _lit(set_up, dimmed(light, front=0.0, walls=change.moved_stops))
        case Kind.SPOT:
            return _lit(set_up, replace(light, islands=()))
        case Kind.FIRE | Kind.FRAME:
            return replace(set_up, scene=set_up.meant)


def _lit(set_up: SetUp, light: Light) -> SetUp:
    return replace(set_up, scene=replace(set_up.scene, light=light))


def turned(scene: Scene, change: Change) -> Backdrop:
    """The backdrop with more light at the place named, no more than it lacks there.

    A corner gains what it lost. A slope is evened out about its middle, so that the strong side
    loses what the weak one gains; so is the fall-off.
    """
    b, stops = scene.backdrop, change.stops
    if b.corner is not None and b.corner_ev > 0:
        return replace(b, corner_ev=max(0.0, b.corner_ev - stops))
    if any(b.slope_ev):
        points = face(b, scene.extent)
        half = (points.max(axis=0) - points.min(axis=0)) / 2
        x, y = (_nearer_zero(s, stops / h) for s, h in zip(b.slope_ev, half.tolist(), strict=True))
        return replace(b, slope_ev=(x, y))
    return replace(b, falloff_ev=max(0.0, b.falloff_ev - stops))


def _nearer_zero(value: float, by: float) -> float:
    return max(0.0, value - by) if value > 0 else min(0.0, value + by)


def moved(light: Light, stops: float) -> Light:
    """The subject's edge with so many stops less light from the background.

    Spill falls two stops over its ramp, so white ends half a ramp nearer for each stop.
    """
    spills = tuple(
        replace(s, ev=s.ev - stops, depth=s.depth - stops * s.ramp / 2) for s in light.spills
    )
    return replace(light, spills=spills, wrap_ev=light.wrap_ev - stops, rim_ev=light.rim_ev - stops)


def flagged(light: Light, side: str | None) -> Light:
    """One side of the set in black."""
    left = light.left_ev if side != "left" else _less(light.left_ev, BLACK_EV)
    right = light.right_ev if side != "right" else _less(light.right_ev, BLACK_EV)
    return replace(light, left_ev=left, right_ev=right)


def dimmed(light: Light, *, front: float, walls: float) -> Light:
    """So many stops less on the subject's front, and from the sides and above."""
    return replace(
        light,
        front_ev=light.front_ev - front,
        left_ev=_less(light.left_ev, walls),
        right_ev=_less(light.right_ev, walls),
        top_ev=_less(light.top_ev, walls),
    )


def _less(ev: float | None, stops: float) -> float | None:
    return None if ev is None else ev - stops
