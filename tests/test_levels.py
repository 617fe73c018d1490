"""From raw levels to stops, on arrays small enough to work out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from plain import CAMERA, cells, frame_of_light, stated
from raw_frames import ORDERS

from inspector.clip import Clip
from inspector.frame import BAYER, MONO, RGB, Frame
from inspector.levels import WHITE, Levels, measure_levels, stops
from inspector.simulate.camera import PATTERNS

GAINS = np.array([2.0, 1.0, 1.0, 1.5])
LIGHT = arrays(np.float64, (3, 4), elements=st.floats(0.001, 3, allow_subnormal=False))


def measured(frame: Frame) -> Levels:
    """Levels with the clip that the frame states."""
    return measure_levels(frame, clip=stated(frame))


def bayer(mosaic: list[list[int]]) -> Frame:
    """RGGB; black 100 and clip 1100 in red and blue, black 200 and clip 1000 in green."""
    return Frame(
        path="fencer.dng",
        mosaic=np.array(mosaic, np.uint16),
        pattern=np.array([[0, 1], [2, 3]], np.uint8),
        channels=BAYER,
        black=np.array([100.0, 200.0, 200.0, 100.0]),
        stated_clip=np.array([1100.0, 1000.0, 1000.0, 1100.0]),
        gains=GAINS,
    )


def test_a_cell_by_the_definitions_of_the_contract() -> None:
    """v is 0.4, 0.5, 0.25, 0.6; r is v times the gains."""
    levels = measured(bayer([[500, 600] * 2, [400, 700] * 2]))
    np.testing.assert_allclose(levels.rendered, [[[0.8, 0.5, 0.25, 0.9]] * 2], rtol=1e-6)
    # Green is the reference: the mean of its two.
    np.testing.assert_allclose(levels.ev, np.log2([[0.375] * 2]), rtol=1e-6)
    assert levels.ceiling_ev == 1
    assert (levels.scale, levels.origin) == (2, (0, 0))
    assert levels.white.tolist() == levels.blown.tolist() == [[0, 0]]


def test_paper_white_blown_and_part_clipped_cells() -> None:
    """White: every r at 0.98 or more. Blown: every v. Part clipped: some v, not white."""
    white = [[590, 984], [984, 754]]  # r of 0.98 in all, blue's v 0.654
    short_of_it = [[590, 984], [984, 752]]  # blue's r 0.978: green clips, the cell has a tint
    blown = [[1080, 984], [984, 1080]]
    dark = [[110, 210], [210, 110]]
    mosaic = np.block([[np.array(white), np.array(short_of_it)], [np.array(blown), np.array(dark)]])
    levels = measured(bayer(mosaic.tolist()))
    assert levels.white.tolist() == [[1, 0], [1, 0]]
    assert levels.blown.tolist() == [[0, 0], [1, 0]]


TOP = GAINS


@pytest.mark.parametrize(
    ("rendered", "ev"),
    [
        ([0.5, 0.5, 0.5, 0.5], -1.0),
        ([0.7, 0.5, 0.5, 0.1], -1.0),  # green alone decides while it responds
        ([1.2, 1.0, 1.0, 1.2], 0.263),  # green is gone, red and blue tell 1.2
        ([1.6, 1.0, 1.0, 1.5], 0.678),  # blue is gone too
        ([2.0, 1.0, 1.0, 1.5], 1.0),  # all are: the ceiling
        ([0.0, 0.0, 0.0, 0.0], -12.0),  # under the floor all is noise
        ([-0.01, -0.01, -0.01, -0.01], -12.0),
    ],
)
def test_stops_are_told_by_the_channels_that_respond(rendered: list[float], ev: float) -> None:
    found = stops(np.array(rendered, np.float32), TOP, BAYER)
    assert float(found) == pytest.approx(ev, abs=1e-3)


def test_a_tinted_surface_is_read_through_its_tint() -> None:
    """A wall with a tenth more red than green, 0.8 stop over white: red says 0.8 all the same."""
    tint = np.array([1.1, 1.0, 1.0, 0.9])
    rendered = np.minimum(2.0**0.8 * tint, TOP).astype(np.float32)
    assert float(stops(rendered, TOP, BAYER, tint=tint)) == pytest.approx(0.8, abs=1e-3)
    assert float(stops(rendered, TOP, BAYER)) == pytest.approx(0.8 + np.log2(1.1), abs=1e-3)


def test_a_frame_without_green_or_colour() -> None:
    assert float(stops(np.array([0.25], np.float32), np.ones(1), MONO)) == -2
    assert float(stops(np.array([0.25, 0.5, 0.5], np.float32), np.ones(3), RGB)) == -1


@given(light=LIGHT)
def test_all_bayer_orders_see_the_same(light: NDArray[np.float64]) -> None:
    pictures = [
        measured(frame_of_light(cells(light), replace(CAMERA, pattern=order))) for order in ORDERS
    ]
    for other in pictures[1:]:
        assert_same(other, pictures[0])


@given(light=LIGHT, orientation=st.integers(1, 8))
def test_all_orientations_see_the_same(light: NDArray[np.float64], orientation: int) -> None:
    upright = measured(frame_of_light(cells(light)))
    turned = measured(frame_of_light(cells(light), replace(CAMERA, orientation=orientation)))
    assert turned.frame.size == upright.frame.size
    assert_same(turned, upright)


def assert_same(one: Levels, other: Levels) -> None:
    """The same but for the rounding to whole raw levels."""
    np.testing.assert_allclose(one.rendered, other.rendered, atol=2 / 14500)
    np.testing.assert_allclose(np.exp2(one.ev), np.exp2(other.ev), atol=2 / 14500)
    np.testing.assert_array_equal(one.white, other.white)
    np.testing.assert_array_equal(one.blown, other.blown)


@given(light=LIGHT, ev=st.floats(0, 4))
def test_raising_an_exposure_never_lowers_any_white(light: NDArray[np.float64], ev: float) -> None:
    before = measured(frame_of_light(cells(light)))
    after = measured(frame_of_light(cells(light * 2**ev)))
    assert (after.white >= before.white).all()
    assert (after.blown >= before.blown).all()
    assert (after.ev >= before.ev).all()


@given(light=LIGHT)
def test_light_that_no_channel_loses_is_read_as_it_is(light: NDArray[np.float64]) -> None:
    levels = measured(frame_of_light(cells(light)))
    told = light < 1.9  # red has a stop over green
    np.testing.assert_allclose(np.exp2(levels.ev)[told], light[told], atol=2 / 14500)
    assert levels.ev.max() <= levels.ceiling_ev


@given(light=LIGHT)
def test_a_cell_is_at_most_one_of_white_and_part_clipped(light: NDArray[np.float64]) -> None:
    tinted = np.stack([light, light * 0.8, light * 1.1], axis=-1)
    rgb = np.stack([cells(tinted[..., c]) for c in range(3)], axis=-1)
    levels = measured(frame_of_light(rgb))
    assert (levels.blown <= levels.white).all()
    assert (levels.blown <= levels.white).all()


@pytest.mark.parametrize("pattern", ["X-Trans", "mono", *ORDERS])
@pytest.mark.parametrize("level", [0.25, 0.9, 0.99, 1.4])
def test_every_filter_array_reads_an_even_light(pattern: str, level: float) -> None:
    camera = replace(CAMERA, pattern=pattern)
    levels = measured(frame_of_light(np.full((24, 36), level), camera))
    # Without colour nothing tells 0.99 from saturation.
    ceiling = 2.0**levels.ceiling_ev
    read = level if level < 0.96 * ceiling else ceiling
    np.testing.assert_allclose(np.exp2(levels.ev), read, rtol=2e-3)
    assert (levels.white == (level >= WHITE)).all()


def test_x_trans_is_averaged_over_blocks_of_three() -> None:
    pattern = np.array(PATTERNS["X-Trans"])
    light = cells([[0.1, 0.4], [0.8, 0.2]], 6)
    levels = measured(frame_of_light(light, replace(CAMERA, pattern="X-Trans")))
    assert levels.scale == 3
    assert levels.ev.shape == (4, 4)
    # Every block of three holds all three colours.
    for y, x in [(0, 0), (0, 3), (3, 0), (3, 3)]:
        assert set(pattern[y : y + 3, x : x + 3].ravel()) == {0, 1, 2}
    np.testing.assert_allclose(np.exp2(levels.ev), cells([[0.1, 0.4], [0.8, 0.2]]), rtol=2e-3)


def test_a_file_that_is_already_rgb() -> None:
    frame = Frame(
        path="small.dng",
        mosaic=np.array([[[100, 500, 200], [1000, 1000, 1000]]], np.uint16),
        pattern=np.zeros((1, 1), np.uint8),
        channels=RGB,
        black=np.zeros(3),
        stated_clip=np.full(3, 1000.0),
        gains=np.ones(3),
    )
    levels = measured(frame)
    assert levels.scale == 1
    assert levels.white.tolist() == [[0, 1]]
    assert levels.ev.tolist() == [[-1, 0]]


@pytest.mark.parametrize("orientation", range(1, 9))
def test_rows_and_columns_that_fill_no_cell_are_left_out(orientation: int) -> None:
    """The last column and row of the sensor, wherever they lie in the picture as viewed."""
    camera = replace(CAMERA, orientation=orientation)
    whole = frame_of_light(cells(np.full((3, 4), 0.5)), camera)
    frame = replace(whole, mosaic=np.pad(whole.mosaic, ((0, 1), (0, 1))))
    levels = measured(frame)
    np.testing.assert_allclose(np.exp2(levels.ev), 0.5, rtol=1e-3)
    x0, y0 = levels.origin
    h, w = levels.ev.shape
    assert x0 in (0, 1)
    assert (x0 + w * 2, y0 + h * 2) == (frame.size[0] - 1 + x0, frame.size[1] - 1 + y0)
    # The rest was padded with black: it is where the working picture does not reach.
    assert x0 == (orientation in (2, 3, 6, 7))
    assert y0 == (orientation in (3, 4, 7, 8))


@given(st.floats(0, 8), st.floats(0, 6))
def test_working_and_viewed_places_are_each_others_inverse(x: float, y: float) -> None:
    levels = measured(frame_of_light(cells(np.full((3, 4), 0.5)), replace(CAMERA, orientation=3)))
    there = levels.from_view(np.array([x, y]))
    assert levels.to_view(there) == pytest.approx([x, y])


def test_a_clip_level_beyond_sixteen_bits_is_reached_by_no_site() -> None:
    frame = bayer([[65535] * 4] * 2)
    levels = measure_levels(frame, clip=Clip(np.full(4, 140_000.0), np.zeros(4, bool)))
    assert levels.white.tolist() == levels.blown.tolist() == [[0, 0]]


def test_a_large_frame_is_averaged_to_a_working_picture() -> None:
    rng = np.random.default_rng(1)
    light = rng.uniform(0.1, 0.6, (4, 3800))
    levels = measured(frame_of_light(light))
    assert levels.scale == 4
    assert levels.ev.shape == (1, 950)
    block = light.reshape(1, 4, 950, 4).mean(axis=(1, 3))
    # Green sees every second site only: the mean of eight of sixteen.
    assert abs(np.exp2(levels.ev) - block).mean() < 0.06


def test_white_cells_of_a_large_x_trans_frame_are_where_the_light_is() -> None:
    """7,728 columns: a working pixel of 9 sites, and cells of 6, do not end together."""
    light = np.full((36, 7728), 0.02)
    light[:, :3870] = 3.0  # 645 cells, 430 working pixels
    levels = measured(frame_of_light(light, replace(CAMERA, pattern="X-Trans")))
    assert levels.scale == 9
    assert (levels.white[:, :430] == 1).all()
    assert (levels.white[:, 430:] == 0).all()


def test_a_given_clip_is_taken() -> None:
    frame = frame_of_light(cells(np.full((2, 2), 0.5)))
    clip = Clip(np.full(4, 7750.0), np.ones(4, bool))
    np.testing.assert_allclose(measure_levels(frame, clip=clip).rendered[..., 1], 1, rtol=1e-3)
