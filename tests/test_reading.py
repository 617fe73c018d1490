"""Stops at a point: against arithmetic done by hand, and against raw data read by tifffile."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import tifffile
from hypothesis import given
from hypothesis import strategies as st
from raw_frames import frame_of

from inspector.clip import Clip
from inspector.decode import decode
from inspector.frame import Frame, as_viewed
from inspector.levels import measure_clip
from inspector.reading import Reading, ratio, read_point

SAMPLES = Path(__file__).parent.parent / "sample_frames"
BLACK, CLIP = 512, 16384.0
SPAN = CLIP - BLACK


def flat(level: float, pattern: str = "RGGB", *, orientation: int = 1) -> Frame:
    """A neutral surface of a rendered level: each channel is lower by its own gain."""
    frame = frame_of(pattern, black=BLACK, clip=CLIP, orientation=orientation)
    tile = BLACK + np.minimum(level / frame.gains, 1) * SPAN
    if pattern == "rgb":
        frame.mosaic[:] = np.rint(tile)
    else:
        h, w = frame.mosaic.shape
        ph, pw = frame.pattern.shape
        sites = np.rint(tile)[frame.pattern]
        frame.mosaic[:] = np.tile(sites, (-(-h // ph), -(-w // pw)))[:h, :w]
    return frame


def read(frame: Frame, x: float = 30.5, y: float = 22.5) -> Reading:
    clip = Clip(np.full(len(frame.channels), CLIP), np.ones(len(frame.channels), bool))
    return read_point(frame, clip, x, y)


@pytest.mark.parametrize("pattern", ["RGGB", "GBRG", "X-Trans", "mono", "rgb"])
@pytest.mark.parametrize(("level", "ev"), [(1 / 8, -3.0), (0.5, -1.0), (0.9, np.log2(0.9))])
def test_a_neutral_surface_reads_its_level(pattern: str, level: float, ev: float) -> None:
    reading = read(flat(level, pattern))
    assert reading.state == "exact"
    assert reading.ev == pytest.approx(ev, abs=0.002)
    for channel in reading.channels:
        assert channel.ev == pytest.approx(ev, abs=0.005)  # 14 bits, rounded


def test_over_white_red_tells_once_green_clips() -> None:
    reading = read(flat(1.7))  # red's gain is 2
    assert reading.by == ("R",)
    assert reading.state == "exact"
    assert reading.ev == pytest.approx(np.log2(1.7), abs=0.002)
    states = {c.name: c.state for c in reading.channels}
    assert states == {"R": "exact", "G1": "at_least", "G2": "at_least", "B": "at_least"}


def test_clipped_throughout_it_is_at_least_the_ceiling() -> None:
    reading = read(flat(4.0))
    assert (reading.by, reading.state) == ((), "at_least")
    assert reading.ev == pytest.approx(1.0, abs=0.03)  # the ceiling, log2 of red's gain


def test_a_signal_under_the_noise_says_so() -> None:
    frame = flat(1 / 1000)
    frame.mosaic[:] = np.random.default_rng(1).normal(BLACK + 4, 8, frame.mosaic.shape).round()
    assert read(frame).state == "in_noise"
    frame.mosaic[:] = np.random.default_rng(1).normal(BLACK + 40, 8, frame.mosaic.shape).round()
    assert read(frame).state == "exact"


def test_an_edge_in_the_patch_is_no_noise() -> None:
    frame = flat(0.02)
    frame.mosaic[:, 34:] = flat(0.5).mosaic[:, 34:]
    assert read(frame).state == "exact"


@pytest.mark.parametrize("orientation", range(1, 9))
def test_points_are_those_of_the_picture_as_viewed(orientation: int) -> None:
    frame = flat(0.01, orientation=orientation)
    bright = flat(0.5).mosaic
    frame.mosaic[4:24, 40:60] = bright[4:24, 40:60]
    seen = as_viewed(frame.mosaic > 3000, orientation)
    y, x = (float(np.median(axis)) + 0.5 for axis in np.nonzero(seen))
    assert read(frame, x, y).ev == pytest.approx(-1, abs=0.01)
    far = (x + frame.size[0] / 2) % frame.size[0]
    assert read(frame, far, y).ev == pytest.approx(np.log2(0.01), abs=0.05)


def test_the_corners_can_be_read_and_outside_cannot() -> None:
    frame = flat(0.5)
    width, height = frame.size
    for x, y in ((0, 0), (width - 0.01, height - 0.01)):
        assert read(frame, x, y).ev == pytest.approx(-1, abs=0.002)
    for x, y in ((-0.1, 5), (width, 5), (5, height), (float("nan"), 5)):
        with pytest.raises(ValueError, match="outside the picture"):
            read(frame, x, y)


@given(st.floats(0.02, 0.9), st.floats(0.02, 0.9))
def test_the_ratio_is_the_levels_own(a: float, b: float) -> None:
    found = ratio(read(flat(a)), read(flat(b)))
    assert found.state == "exact"
    assert found.times == pytest.approx(max(a, b) / min(a, b), rel=0.005)
    assert found.stops == pytest.approx(abs(np.log2(a / b)), abs=0.008)


def test_the_ratio_takes_channels_that_tell_of_both() -> None:
    found = ratio(read(flat(0.25)), read(flat(1.7)))  # only red tells of the second
    assert found.state == "exact"
    assert found.times == pytest.approx(1.7 / 0.25, rel=0.005)


def test_a_clipped_point_makes_the_ratio_at_least() -> None:
    found = ratio(read(flat(8.0)), read(flat(0.25)))
    assert found.state == "at_least"
    assert found.times == pytest.approx(2 / 0.25, rel=0.03)
    assert ratio(read(flat(8.0)), read(flat(8.0))).times is None


def test_a_sample_frame_reads_as_its_raw_data_do() -> None:
    path = SAMPLES / "fencing-12-lit-portrait.dng"
    frame = decode(path)
    assert frame.orientation == 8
    stored = tifffile.imread(path)
    assert stored.shape == frame.mosaic.shape
    width, height = frame.size
    turned = as_viewed(np.indices(stored.shape).transpose(1, 2, 0), frame.orientation)
    for fx, fy in ((0.45, 0.4), (0.55, 0.4), (0.2, 0.8)):
        x, y = int(fx * width) + 0.5, int(fy * height) + 0.5
        row, column = turned[int(y), int(x)]
        top, left = row // 2 * 2 - 4, column // 2 * 2 - 4
        patch = stored[top : top + 10, left : left + 10]  # five cells either way
        reading = read_point(frame, measure_clip(frame), x, y)
        means = {c.name: c.raw for c in reading.channels}
        for name, dy, dx in (("R", 0, 0), ("G1", 0, 1), ("G2", 1, 0), ("B", 1, 1)):
            assert means[name] == pytest.approx(patch[dy::2, dx::2].mean())
