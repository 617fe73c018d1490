"""Light with a plain cast: a wall that falls off through white in green alone, in closed form."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from plain import NOISY, blurred, disc, frame_of_light
from scipy import ndimage

from inspector.arrays import Floats
from inspector.bracket import lay_bracket
from inspector.cast import with_cast
from inspector.inspect import Inspection, inspect
from inspector.levels import WHITE, measure_levels
from inspector.tint import backdrop_stops

SIZE = (600, 400)
BODY = disc(SIZE, (220, 330), 110)
LEFT_EV, RIGHT_EV = 0.6, -0.6
"""Green's stops over white along the wall."""


def wall(cast: tuple[float, float], *, ev: float = 0.0) -> Floats:
    """(H, W, 3) light before which somebody stands, red and blue ``cast`` stops over green."""
    across = np.linspace(LEFT_EV, RIGHT_EV, SIZE[0])[None, :] + np.zeros(SIZE[1])[:, None] + ev
    light = np.stack([2.0 ** (across + c) for c in (cast[0], 0.0, cast[1])], axis=-1)
    light = np.where(BODY[..., None], 2.0**-6, light)
    return np.asarray(ndimage.gaussian_filter(light, (0.9, 0.9, 0)), np.float32)


def seen(cast: tuple[float, float]) -> Inspection:
    return inspect(frame_of_light(wall(cast), NOISY))


@pytest.mark.parametrize("cast", [(0.5, 0.5), (1.0, 0.9), (1.5, 0.3), (-0.4, -0.3), (0.4, -0.5)])
def test_a_wall_in_coloured_light_does_not_end_where_green_clips(cast: tuple[float, float]) -> None:
    """White is what is white in all three (contract); the part of the wall that is, by its fall."""
    backdrop = ~BODY & ~ndimage.binary_dilation(BODY, iterations=6)
    expected = float((wall(cast).min(axis=-1) >= WHITE)[backdrop].mean())
    found = seen(cast)
    assert found.exposure.backdrop_area == pytest.approx(float((~BODY).mean()), abs=0.01)
    assert found.exposure.white_fraction == pytest.approx(expected, abs=0.015)
    assert found.verdict.word == "warn"


def test_stops_go_on_where_green_clips() -> None:
    """Blue, one stop over green, tells green's stops up to its own clip."""
    levels = with_cast(measure_levels(frame_of_light(wall((1.0, 0.3)), NOISY)))
    ev = np.median(levels.ev[:40], axis=0)
    x = (np.arange(ev.size) + 0.5) * SIZE[0] / ev.size
    true = np.interp(x, np.arange(SIZE[0]), np.linspace(LEFT_EV, RIGHT_EV, SIZE[0]))
    assert levels.ceiling_ev == pytest.approx(np.log2(1.5) - 0.3, abs=0.02)
    np.testing.assert_allclose(ev, np.minimum(true, levels.ceiling_ev), atol=0.06)


def test_white_is_never_read_as_short_of_it() -> None:
    """The cast is a stop at the right, where green clips, and none at the left."""
    cast = np.linspace(0, 1, SIZE[0])[None, :]
    green = wall((0.0, 0.0))[..., 1]
    light = np.stack([green * 2.0**cast, green, green * 2.0**cast], axis=-1)
    levels = with_cast(measure_levels(frame_of_light(light, NOISY)))
    assert (levels.tint != 1).any()
    assert (levels.ev[levels.white > 0.5] >= 0).all()
    brightest = inspect(levels.frame).exposure.ev_p99
    assert brightest is not None
    assert brightest >= 0


def test_light_that_is_nearly_neutral_is_left_as_it_is() -> None:
    levels = measure_levels(frame_of_light(wall((0.05, -0.05)), NOISY))
    assert with_cast(levels) is levels


@pytest.mark.parametrize("level", [0.82, 0.86, 0.9, 0.93])
def test_a_coloured_jacket_before_a_white_wall_is_no_cast(level: float) -> None:
    """It nowhere goes over into what has clipped, but for the blur of its outline."""
    light = np.where(BODY[..., None], np.array([1.1, 1.0, 0.4]) * level, 1.4)
    light = np.stack([blurred(light[..., c]) for c in range(3)], axis=-1)
    levels = measure_levels(frame_of_light(light, NOISY))
    assert with_cast(levels) is levels


def test_the_backdrops_own_stops_end_at_the_ceiling_of_the_cast() -> None:
    """As a plate and a comparison of two frames read them."""
    found = seen((1.0, 0.9))
    assert found.levels.ceiling_ev < 0.2
    assert backdrop_stops(found.levels, found.zones).max() <= found.levels.ceiling_ev + 1e-6


def test_without_green_no_cast_is_told() -> None:
    levels = measure_levels(frame_of_light(wall((1.0, 0.9)), NOISY))
    red = replace(levels.frame, channels=("R", "C1", "C2", "B"))
    assert with_cast(replace(levels, frame=red)).tint.tolist() == [1, 1, 1, 1]


def test_with_a_darker_frame_the_wall_is_whole_too() -> None:
    cast = (1.0, 0.9)
    darker = frame_of_light(wall(cast, ev=-2), NOISY, seed=2)
    found = inspect(frame_of_light(wall(cast), NOISY), under=darker)
    assert found.exposure.backdrop_area == pytest.approx(float((~BODY).mean()), abs=0.01)
    assert found.exposure.ev_p99 == pytest.approx(LEFT_EV, abs=0.05)


def test_a_bracket_tells_the_walls_stops_beyond_every_clip() -> None:
    """Two stops darker, read by the same cast: no jump where a channel takes over."""
    levels = with_cast(measure_levels(frame_of_light(wall((1.0, 0.9), ev=0.3), NOISY)))
    darker = frame_of_light(wall((1.0, 0.9), ev=-1.7), NOISY, seed=2)
    joined, _ = lay_bracket(levels, measure_levels(darker, clip=levels.clip))
    ev = np.median(joined.ev[:40], axis=0)
    x = (np.arange(ev.size) + 0.5) * SIZE[0] / ev.size
    true = np.interp(x, np.arange(SIZE[0]), np.linspace(LEFT_EV, RIGHT_EV, SIZE[0])) + 0.3
    np.testing.assert_allclose(ev, true, atol=0.06)
    assert joined.ceiling_ev == pytest.approx(2, abs=0.1)  # all three clip at nearly one light
