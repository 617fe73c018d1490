"""Veiling glare by ISO 9358 against the veil that a frame is said to have.

ISO 9358:1994: veiling glare index = irradiance in the image of a black area over that of the
bright field around it. The floor in stops is log2 of it, worked out here.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import sets
from plain import NOISY, blurred, disc, frame_of_light

from inspector.inspect import inspect
from inspector.simulate import Backdrop, Lens, Light

BALL = disc((600, 400), (300, 200), 90)
FLOORS = [(0.005, -7.64), (0.01, -6.64), (0.02, -5.64), (0.03, -5.06), (0.05, -4.32)]


@pytest.mark.parametrize(("index", "floor"), FLOORS)
def test_a_black_subject_lies_as_deep_as_the_glare_lets_it(index: float, floor: float) -> None:
    """A black ball before white at 1, the lens adding `index` of the field everywhere."""
    frame = frame_of_light(blurred(np.where(BALL, 0.0, 1.0) + index), NOISY)
    x = inspect(frame).exposure
    assert x.depth_ev == pytest.approx(-floor, abs=0.05)
    assert x.veil_is == "exact"
    assert x.veil_fraction == pytest.approx(index / (1 + index), rel=0.04)


def test_a_subject_of_two_percent_under_one_percent_of_glare() -> None:
    """-5.64 stops becomes -5.06."""
    depths = [
        inspect(frame_of_light(blurred(np.where(BALL, 0.02, 1.0) + veil), NOISY)).exposure.depth_ev
        for veil in (0.0, 0.01)
    ]
    assert depths == pytest.approx([5.64, 5.06], abs=0.05)


@pytest.mark.parametrize("wall_ev", [1.3, 2.0])
def test_above_the_ceiling_the_veil_is_an_upper_bound(wall_ev: float) -> None:
    index = 0.02
    light = (np.where(BALL, 0.0, 1.0) + index) * 2.0**wall_ev
    x = inspect(frame_of_light(blurred(light), NOISY)).exposure
    assert x.veil_is == "at_most"
    assert x.veil_fraction is not None
    assert x.veil_fraction > index


@pytest.mark.parametrize("veil", [0.005, 0.02, 0.04])
def test_the_simulated_lens_spreads_as_much_as_it_is_told(veil: float) -> None:
    """A black subject in a white room: what the picture shows of it is the lens's own veil."""
    black = Light(front_ev=-14, wrap_ev=-14, rim_ev=-14, folds=0.0)
    scene = replace(
        sets.CLEAN,
        backdrop=Backdrop("wall", ev=0.3, falloff_ev=0),
        light=black,
        lens=Lens(0.9, veil),
    )
    x = sets.seen(scene).exposure
    # The subject itself is dark: a tenth of the field gives no light.
    assert x.veil_fraction == pytest.approx(veil, rel=0.25)
    assert x.veil_fraction is not None
    assert x.veil_fraction < veil * 1.05


def test_glare_depends_on_the_scene() -> None:
    """J. McCann and A. Rizzi, SPIE 2007: the same lens veils less where less is white."""
    black = Light(front_ev=-14, wrap_ev=-14, rim_ev=-14, folds=0.0)
    veils = []
    for size in ((0.9, 0.58), (0.5, 0.58)):
        scene = replace(
            sets.CLEAN,
            backdrop=Backdrop("rectangle", (0.5, 0.33), size, ev=0.3),
            light=black,
            lens=Lens(0.9, 0.03),
        )
        veils.append(sets.seen(scene).exposure.veil_fraction)
    assert veils[1] < veils[0]  # type: ignore[operator]
