"""The subject's own shadow on the backdrop beside it, on light given as numbers."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, disc, frame_of_light, iou
from scipy import ndimage

from inspector.cast_shadow import find_cast_shadow
from inspector.inspect import Inspection, inspect
from inspector.levels import measure_levels
from inspector.zones import find_zones

SIZE = (900, 600)
X, Y = np.meshgrid(np.arange(SIZE[0]) + 0.5, np.arange(SIZE[1]) + 0.5)
WALL, DARK = 2.0**0.4, 2.0**-6
HEAD, BODY = disc(SIZE, (450, 200), 70), (np.abs(X - 450) < 110) & (Y > 250)
FIGURE = HEAD | BODY
PENUMBRA_PX = 8.0


def shadow(aside: float, *, penumbra: float = PENUMBRA_PX) -> NDArray[np.float64]:
    """(H, W) 1 where the figure's shadow falls, so many pixels to the right of it."""
    cast = np.roll(FIGURE, round(aside), axis=1)
    return blurred(cast.astype(np.float64), penumbra).astype(np.float64)


def before(wall: NDArray[np.floating]) -> NDArray[np.float32]:
    return blurred(np.where(FIGURE, DARK, wall), 1.2)


def seen_with_shadow(stops: float, *, plate: bool = False) -> Inspection:
    light = before(WALL * 2.0 ** (-stops * shadow(60.0)))
    empty = inspect(frame_of_light(np.full(X.shape, WALL), NOISY, seed=2)) if plate else None
    return inspect(frame_of_light(light, NOISY), plate=empty)


@pytest.mark.parametrize("plate", [False, True])
@pytest.mark.parametrize("stops", [0.8, 1.3, 1.8, 2.3])
def test_a_shadow_beside_the_subject_is_backdrop_that_falls_short(
    stops: float, plate: bool
) -> None:
    seen = seen_with_shadow(stops, plate=plate)
    assert iou(seen.zones.subject, FIGURE[::2, ::2]) > 0.99
    assert [r.code for r in seen.verdict.reasons] == ["background-short"]
    # Without a plate a shallow one may be the backdrop's own unevenness.
    told = plate or stops > 1.5
    assert [region.shadow for region in seen.exposure.short_regions] == [told]
    assert ("shadow" in (seen.verdict.advice or "")) == told
    assert seen.edge.spill == ()
    wall = ~FIGURE & (blurred(FIGURE.astype(float), 3.0) < 0.05)
    white = (WALL * 2.0 ** (-stops * shadow(60.0)) >= 0.98)[wall].mean()
    assert seen.exposure.white_fraction == pytest.approx(float(white), abs=0.01)


def test_light_between_a_limb_and_its_shadow_is_backdrop() -> None:
    """The shadow of an arm held out ends below it; the wall between the two is white."""
    arm = (np.abs(Y - 330) < 14) & (X > 540) & (X < 860)
    cast = blurred(np.roll(arm, 70, axis=0).astype(np.float64), 5.0) + shadow(30.0, penumbra=5.0)
    wall = WALL * 2.0 ** (-1.5 * np.minimum(cast, 1))
    seen = inspect(frame_of_light(blurred(np.where(FIGURE | arm, DARK, wall), 1.2), NOISY))
    assert iou(seen.zones.subject, (FIGURE | arm)[::2, ::2]) > 0.98
    assert seen.zones.backdrop[185, 320:420].all()
    assert not any(run.sure for run in seen.edge.spill)


def dimmed(light: NDArray[np.floating]) -> NDArray[np.float32]:
    """What is found where all around is backdrop of ``WALL``."""
    ev = measure_levels(frame_of_light(light, NOISY)).ev
    surface = np.full(ev.shape, np.log2(WALL), np.float32)
    return find_cast_shadow(ev, surface, np.ones(ev.shape, bool))


def test_it_dims_by_as_much_as_it_does() -> None:
    found = dimmed(before(WALL * 2.0 ** (-1.5 * shadow(60.0))))
    deepest = (shadow(60.0) > 0.99) & ~FIGURE & (blurred(FIGURE.astype(float), 3.0) < 0.01)
    assert found[deepest[::2, ::2]] == pytest.approx(1.5, abs=0.1)
    assert not found[:, :150].any()


@pytest.mark.parametrize("floor", [3.0, 3.2, 3.6])
@pytest.mark.parametrize("fall", [6.0, 8.0, 12.0])
def test_light_that_fades_to_a_filled_subjects_level_casts_none(fall: float, floor: float) -> None:
    depth = ndimage.distance_transform_edt(FIGURE)
    lit = WALL * np.maximum(2.0 ** (-depth / fall), 2.0**-floor)
    assert not dimmed(blurred(np.where(FIGURE, lit, WALL), 1.2)).any()


@pytest.mark.parametrize("fall", [6.0, 12.0, 18.0])
def test_light_that_fades_into_the_subject_casts_none(fall: float) -> None:
    """Spill is soft towards the wall, too, but ends sharply only at the collar."""
    depth = 70 - np.hypot(X - 450, Y - 200)
    lit = np.where(HEAD, WALL * 2.0 ** (-np.maximum(depth, 0) / fall), WALL)
    light = blurred(np.where(FIGURE & ~HEAD, DARK, np.maximum(lit, DARK)), 1.2)
    assert not dimmed(light).any()


@pytest.mark.parametrize("blur", [1.2, 4.0, 5.0, 6.0])
def test_a_lit_sleeve_casts_none(blur: float) -> None:
    """As bright as a shadow and beside dark cloth, but as sharp towards the wall, too."""
    sleeve = (X > 500) & (X < 620) & (Y > 280)
    light = np.where(sleeve, WALL * 2.0**-1.5, np.where(FIGURE, DARK, WALL))
    assert not dimmed(blurred(light, blur)).any()


def test_a_shadow_without_a_penumbra_is_not_told_from_a_sleeve() -> None:
    assert not dimmed(before(WALL * 2.0 ** (-1.5 * shadow(60.0, penumbra=1.0)))).any()
    zones = find_zones(
        measure_levels(frame_of_light(before(WALL * 2.0 ** (-1.5 * shadow(60.0, penumbra=1.0)))))
    )
    assert zones.subject[250, 300]


@pytest.mark.parametrize(("aside", "told"), [(8.0, False), (20.0, True)])
def test_a_shadow_that_hardly_shows_is_not_told(aside: float, told: bool) -> None:
    """Most of its penumbra lies behind the subject."""
    assert dimmed(before(WALL * 2.0 ** (-1.5 * shadow(aside)))).any() == told


def test_what_lies_free_is_shadow_beside_one_as_dark() -> None:
    """As the shadow of a hand that is held out, cut off by the arm before it."""
    free = blurred(disc(SIZE, (720, 160), 40).astype(np.float64), PENUMBRA_PX)
    beside = shadow(60.0)
    for stops, told in ((1.5, True), (2.2, False)):
        found = dimmed(before(WALL * 2.0 ** (-1.5 * beside - stops * free)))
        assert (found[80, 360] > 1) == told
    assert not dimmed(before(WALL * 2.0 ** (-1.5 * free))).any()
