"""One random scene, measured alone, with a plate, with a darker frame, and after its advice."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil

import numpy as np

from inspector.frame import Frame
from inspector.inspect import inspect
from inspector.plate import PERCENTILES, inspect_plate
from inspector.simulate.accuracy.compare import Comparison, compare
from inspector.simulate.accuracy.loop import Loop, follow_advice
from inspector.simulate.accuracy.shoot import photographed
from inspector.simulate.families import OTHER_SENSORS, Draw, random_scene
from inspector.simulate.faults import between
from inspector.simulate.render import MEGAPIXELS, shoot
from inspector.simulate.truth import Truth
from inspector.under import UnderError
from inspector.zones import BACKDROP

LARGE_EVERY, LARGE_MEGAPIXELS = 16, 8.0
"""Every so many frames one is larger."""
OTHER_EVERY = 20
"""Every so many frames one comes from another kind of sensor."""
PAN = 0.01
"""How far a plate may be shifted, part of the long side."""
STEP = 0.0025
"""How far the subject may have moved in an under frame, part of the long side."""
DARKER_THIRDS = (3, 9)
"""By how many thirds of a stop an under frame is darker: an aperture is set in thirds."""


@dataclass(frozen=True)
class Trial:
    """What came of one scene.

    Attributes
    ----------
    seed : int
        ``families.random_scene(seed)`` draws it again.
    families : dict of str to str
        ``figure``, ``backdrop``, ``defect``, ``camera``.
    alone, plate, under : Comparison
        Of the frame alone, with a plate, with an under frame; None where that does not apply.
    bracket : tuple of float
        Of an empty set with a bracket: how far the percentiles of its stops are off.
    refused : str or None
        Why an under frame was refused.
    loop : Loop or None
        What came of the advice; None where the frame passed at once.
    """

    seed: int
    families: dict[str, str]
    alone: Comparison
    plate: Comparison | None = None
    under: Comparison | None = None
    bracket: tuple[float, ...] = ()
    refused: str | None = None
    loop: Loop | None = None


def trial(seed: int, number: int) -> Trial:
    """Photograph and compare a scene; its place in the run decides its size and sensor."""
    other = number % OTHER_EVERY == OTHER_EVERY - 1
    sensor = OTHER_SENSORS[number // OTHER_EVERY % len(OTHER_SENSORS)] if other else None
    draw = random_scene(seed, camera=sensor)
    large = number % LARGE_EVERY == LARGE_EVERY - 1
    size = LARGE_MEGAPIXELS if large else MEGAPIXELS
    rng = np.random.default_rng((seed, 77))
    frame, truth, near = photographed(draw.scene, draw.camera, seed=seed, megapixels=size)
    seen = inspect(frame, look=truth.look)
    alone = compare(seen, truth, near=near)
    families = {
        "figure": draw.figure,
        "backdrop": draw.backdrop,
        "defect": draw.defect,
        "camera": draw.camera_family,
    }
    result = Trial(seed, families, alone, loop=follow_advice(draw, seen.verdict))
    darker = -int(rng.integers(*DARKER_THIRDS, endpoint=True)) / 3
    if truth.plate:
        return replace(result, bracket=_bracket(draw, frame, truth, darker, size))
    result = replace(result, plate=_with_plate(draw, frame, truth, near, rng, size))
    if not truth.found:
        return result
    return _with_under(result, draw, frame, truth, near, rng, darker, size)


def _with_plate(
    draw: Draw,
    frame: Frame,
    truth: Truth,
    near: bool,
    rng: np.random.Generator,
    megapixels: float,
) -> Comparison | None:
    """The frame with a plate from a camera that was nudged; None where the set has no backdrop."""
    if draw.defect == "no-backdrop":
        return None
    lit = draw.scene
    if draw.defect == "misfire":
        lit = random_scene(draw.seed, camera=draw.camera_family, defect="none").scene
    turn, far = between(rng, 0, 2 * np.pi), between(rng, 0, PAN)
    empty = lit.emptied().panned(far * np.cos(turn), far * np.sin(turn))
    shot = shoot(empty, camera=draw.camera, seed=draw.seed + 1, megapixels=megapixels)
    plate = inspect(shot)
    if not plate.zones.found:
        return None
    return compare(inspect(frame, plate=plate, look=truth.look), truth, near=near)


def _with_under(
    result: Trial,
    draw: Draw,
    frame: Frame,
    truth: Truth,
    near: bool,
    rng: np.random.Generator,
    darker: float,
    megapixels: float,
) -> Trial:
    """The frame with one that is darker, in which the subject stands a little elsewhere."""
    turn, far = between(rng, 0, 2 * np.pi), between(rng, 0, STEP)
    scene = draw.scene.moved(far * np.cos(turn), far * np.sin(turn))
    below = shoot(
        scene, camera=draw.camera, seed=draw.seed + 2, ev=darker, by="aperture",
        megapixels=megapixels,
    )  # fmt: skip
    try:
        seen = inspect(frame, under=below, look=truth.look)
    except UnderError as error:
        return replace(result, refused=str(error))
    raised = seen.levels.ceiling_ev - truth.ceiling_ev if seen.zones.found else 0.0
    return replace(result, under=compare(seen, truth, near=near, raised_ev=raised))


def _bracket(
    draw: Draw, frame: Frame, truth: Truth, darker: float, megapixels: float
) -> tuple[float, ...]:
    """How far the percentiles of an empty set are off with a bracket that clips nowhere."""
    if not truth.found:
        return ()
    unclipped = -ceil(3 * float(truth.backdrop_ev.max()) + 1.5) / 3
    below = shoot(
        draw.scene, camera=draw.camera, seed=draw.seed + 2, ev=min(darker, unclipped),
        by="aperture", megapixels=megapixels,
    )  # fmt: skip
    plate = inspect_plate(frame, bracket=below)
    inner = (truth.zones == BACKDROP) & ~truth.fringe
    true = np.percentile(truth.backdrop_ev[inner], PERCENTILES)
    if not plate.over_ev:
        return ()
    return tuple(abs(plate.over_ev[p] - float(t)) for p, t in zip(PERCENTILES, true, strict=True))
