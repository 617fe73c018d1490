"""What belongs to the lit surface of the backdrop: parts that are cut off from the rest."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, frame_of_light, iou

from inspector.inspect import inspect
from inspector.levels import measure_levels
from inspector.soft_fall import past_soft_fall
from inspector.surface import slope
from inspector.zones import dim_panels, find_zones

SIZE = (900, 600)
X, Y = np.meshgrid(np.arange(SIZE[0]) + 0.5, np.arange(SIZE[1]) + 0.5)
WALL, DARK = 2.0**0.5, 2.0**-6
BODY = np.abs(X - 480) < 110 + 30 * np.sin(Y / 40)


def backdrop(light: NDArray[np.floating]) -> NDArray[np.bool_]:
    """(h, w) the backdrop that is found in such light, on the working picture."""
    return find_zones(measure_levels(frame_of_light(blurred(light), NOISY))).backdrop


@pytest.mark.parametrize("lower_ev", [0.9, 1.4, 1.9])
def test_a_side_that_someone_cuts_off_is_backdrop_however_much_it_falls_short(
    lower_ev: float,
) -> None:
    """One of two lamps is turned down; nobody sees where its light ends, behind the subject."""
    light = np.where(BODY, DARK, np.where(X < 480, WALL, WALL * 2.0**-lower_ev))
    seen = inspect(frame_of_light(blurred(light), NOISY))
    assert iou(seen.zones.backdrop, ~BODY[::2, ::2]) > 0.98
    assert [reason.code for reason in seen.verdict.reasons] == ["background-short"]


def test_with_an_under_frame_a_side_that_is_cut_off_may_fall_shorter_yet() -> None:
    """It shows how far the other side is over the ceiling: here 2.3 stops over this one."""
    light = blurred(np.where(BODY, DARK, np.where(X < 480, 2.0**1.9, 2.0**-0.4)))
    under = frame_of_light(light / 4, NOISY, seed=2)
    seen = inspect(frame_of_light(light, NOISY), under=under)
    assert iou(seen.zones.backdrop, ~BODY[::2, ::2]) > 0.98
    assert [reason.code for reason in seen.verdict.reasons] == ["background-short"]


@pytest.mark.parametrize("fade", [30.0, 45.0])
def test_a_subject_over_which_light_falls_as_slowly_as_over_a_wall_is_no_wall(fade: float) -> None:
    """From one side it goes over into the backdrop without an edge."""
    body = np.hypot(X - 450, Y - 300) < 180
    inside = X - (450 - np.sqrt(np.maximum(180**2 - (Y - 300) ** 2, 0)))
    light = np.where(body, DARK + WALL * np.exp(-np.maximum(inside, 0) / fade), WALL)
    seen = inspect(frame_of_light(blurred(light), NOISY))
    assert iou(seen.zones.subject, body[::2, ::2]) > 0.95
    assert seen.verdict.reasons[0].code == "spill"
    assert seen.edge.spill[0].where == "9 o'clock"


@pytest.mark.parametrize("lower_ev", [1.0, 1.4])
def test_a_corner_that_an_arm_cuts_off_is_backdrop_and_no_light_on_the_subject(
    lower_ev: float,
) -> None:
    """Nothing is wider there than a small hot island, but it runs out of the picture."""
    arm = (X + Y > 1300) & (X + Y < 1400)
    corner = X + Y >= 1400
    light = np.where(arm, DARK, np.where(corner, WALL * 2.0**-lower_ev, WALL))
    seen = inspect(frame_of_light(blurred(light), NOISY))
    assert seen.zones.backdrop[corner[::2, ::2]].mean() > 0.9
    assert not seen.zones.islands


@pytest.mark.parametrize("lower_ev", [1.2, 1.8])
def test_a_wall_that_meets_the_backdrop_is_none(lower_ev: float) -> None:
    """The edge between them is in sight; so it is for a floor."""
    wall = X > 700
    light = np.where(BODY, DARK, np.where(wall, WALL * 2.0**-lower_ev, WALL))
    assert backdrop(light)[wall[::2, ::2]].mean() < 0.02


@pytest.mark.parametrize("ev", [-1.9, -2.6])
def test_a_panel_that_the_backdrop_lights_is_none(ev: float) -> None:
    panel = X > 700
    light = np.where(BODY | (np.abs(X - 680) < 20), DARK, np.where(panel, 2.0**ev, WALL))
    assert not backdrop(light)[panel[::2, ::2]].any()


@pytest.mark.parametrize(
    ("dim", "part"),
    [((X > 650) & (Y < 250), 0.95), (np.hypot((X - 130) / 60, (Y - 450) / 24) < 1, 0.85)],
)
def test_what_is_dim_on_the_plate_too_falls_short(dim: NDArray[np.bool_], part: float) -> None:
    """A panel, or a shadow with a narrow penumbra: on an empty set nobody stands before it."""
    empty = np.where(dim, WALL * 2.0**-1.9, WALL)
    plate = inspect(frame_of_light(blurred(empty), NOISY))
    seen = inspect(frame_of_light(blurred(np.where(BODY, DARK, empty)), NOISY), plate=plate)
    assert seen.zones.backdrop[dim[::2, ::2]].mean() > part
    assert [reason.code for reason in seen.verdict.reasons] == ["background-short"]


def test_a_grey_pole_on_the_plate_is_no_backdrop() -> None:
    pole = (np.abs(X - 130) < 5) & (Y > 100)
    plate = inspect(frame_of_light(blurred(np.where(pole, WALL * 2.0**-1.9, WALL)), NOISY))
    assert plate.zones.subject[pole[::2, ::2]].mean() > 0.9
    assert not dim_panels(plate.levels.ev, plate.zones).any()


FACE = (X > 60) & (X < 840) & (Y > 50) & (Y < 520) & (X - 60 + 520 - Y > 120)
"""A softbox whose lower left corner is cut; 45° off, 120 px."""
HEAD = np.hypot(X - 500, Y - 380) < 110


@pytest.mark.parametrize("with_under", [False, True])
@pytest.mark.parametrize(("shadow_ev", "penumbra_px"), [(2.2, 30), (2.6, 50), (3.0, 30)])
def test_a_softbox_goes_on_into_the_shadow_of_a_flag(
    shadow_ev: float, penumbra_px: float, with_under: bool
) -> None:
    """Common practice: a flag beside the lamp shades one end of the softbox; its shadow begins with
    a penumbra, and the softbox ends where it does without."""
    shade = shadow_ev * np.clip((200 - X) / penumbra_px, 0, 1)
    light = blurred(np.where(HEAD | ~FACE, DARK, 2.0 ** (1.5 - shade)))
    under = frame_of_light(light / 4, NOISY, seed=2) if with_under else None
    seen = inspect(frame_of_light(light, NOISY), under=under)
    lit = (FACE & ~HEAD)[::2, ::2]
    assert iou(seen.zones.backdrop, lit) > 0.98
    assert [reason.code for reason in seen.verdict.reasons] == ["background-short"]
    white = float((light[::2, ::2] >= 1)[lit].mean())
    assert seen.exposure.white_fraction == pytest.approx(white, abs=0.01)


@pytest.mark.parametrize(
    ("middle", "fade_px", "goes_on"), [(0, 0, True), (240, 0, False), (0, 12, False)]
)
def test_what_lies_past_a_soft_fall_of_light(middle: int, fade_px: float, goes_on: bool) -> None:
    """A shaded end of a bright surface; a shade amid it, as a body throws one; light that fades."""
    height, width = 320, 480
    x = np.arange(width) + 0.5
    off = np.abs(x - middle) - 60
    level = 1.5 - 2.0 * np.clip(-off / 10, 0, 1)
    level = np.where(
        off < -20, level - np.maximum(-off - 20, 0) / fade_px if fade_px else level, level
    )
    ev = np.full((height, width), -6.0, np.float32)
    ev[40:280, 20:460] = np.tile(level, (height, 1))[40:280, 20:460]
    surface = np.zeros(ev.shape, bool)
    surface[42:278, 22:458] = (off > 2)[22:458]
    found = past_soft_fall(ev, (slope(ev) < 0.35) & (ev > -1.6), surface)
    assert found.any() == goes_on
