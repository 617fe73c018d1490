"""The closed loop: take the advice, shoot again, and see whether the frame then passes."""

from __future__ import annotations

from dataclasses import dataclass

from inspector.advice import Kind
from inspector.inspect import inspect
from inspector.simulate.accuracy.shoot import photographed
from inspector.simulate.families import Draw, random_scene
from inspector.simulate.follow import SetUp, follow
from inspector.simulate.render import MEGAPIXELS
from inspector.verdict import Verdict

MOST_STEPS = 4
"""Advice is followed so often before the loop is given up."""


@dataclass(frozen=True)
class Loop:
    """What came of following the advice on a frame that warned.

    ``advice`` are the sentences in order; ``passed`` whether the last frame passes, ``truly``
    whether it should; ``set_aside`` where the advice was to leave the frame out of the set.
    """

    advice: tuple[str, ...]
    passed: bool
    truly: bool
    set_aside: bool = False

    @property
    def steps(self) -> int:
        """How many times the advice was followed."""
        return len(self.advice)


def follow_advice(draw: Draw, verdict: Verdict, *, megapixels: float = MEGAPIXELS) -> Loop | None:
    """Follow the advice on a random scene until it passes; None if it passed at once.

    ``verdict`` is that on the scene as drawn.
    """
    meant = random_scene(draw.seed, defect="none", camera=draw.camera_family).scene
    set_up, truly = SetUp(draw.scene, meant), False
    advice: list[str] = []
    while verdict.word != "pass" and len(advice) < MOST_STEPS:
        advice.append(verdict.advice or "")
        if any(change.kind is Kind.FRAME for change in verdict.changes):
            return Loop(tuple(advice), passed=False, truly=False, set_aside=True)
        set_up = follow(set_up, verdict.changes)
        frame, truth, _ = photographed(
            set_up.scene,
            draw.camera,
            seed=draw.seed + len(advice),
            megapixels=megapixels,
            ev=set_up.ev,
        )
        verdict, truly = inspect(frame, look=truth.look).verdict, truth.verdict() == "pass"
    return Loop(tuple(advice), verdict.word == "pass", truly) if advice else None
