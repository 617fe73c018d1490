"""The small extras of a frame: level histogram and edge profile."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scenes import make, run_along, with_spill

from inspector.edge import Edge
from inspector.frame import BAYER, MONO, RGB, Frame
from inspector.inspect import Inspection
from inspector.report.extras import LOW_EV, PER_STOP, extras, histogram, profile


def with_mosaic(
    mosaic: NDArray[np.uint16], channels: tuple[str, ...] = BAYER, *, clip: float = 4512.0
) -> Inspection:
    """A made-up inspection whose frame holds these raw levels: black 512, clip 4512."""
    base = make(width=mosaic.shape[1], height=mosaic.shape[0], scale=4)
    pattern = np.array([[0, 1], [2, 3]] if len(channels) == 4 else [[0]], np.uint8)
    count = len(channels)
    frame = replace(
        base.frame,
        mosaic=mosaic,
        pattern=pattern,
        channels=channels,
        black=np.full(count, 512.0),
        stated_clip=np.full(count, 512 + (clip - 512) * 2.0),
        gains=np.array([2.0, 1.0, 1.0, 1.5][:count]),
    )
    level = replace(base.levels.clip, level=np.full(count, clip), measured=np.ones(count, bool))
    return replace(base, frame=frame, levels=replace(base.levels, frame=frame, clip=level))


def bin_of(ev: float) -> int:
    return int((ev - LOW_EV) * PER_STOP + 1e-6)


def test_each_colour_counts_its_own_sites() -> None:
    mosaic = np.full((80, 120), 512, np.uint16)
    mosaic[0::2, 0::2] = 512 + 1000  # red: two stops under its clip
    mosaic[0::2, 1::2] = 512 + 2000  # first green: one stop under
    mosaic[1::2, 0::2] = 4512  # second green clips
    channels = histogram(with_mosaic(mosaic))["channels"]
    assert channels["R"]["millionths"][bin_of(-2)] == 1_000_000
    assert channels["G"]["millionths"][bin_of(-1)] == 500_000
    assert channels["G"]["millionths"][bin_of(0)] == 500_000
    assert channels["B"]["millionths"][0] == 1_000_000  # no light: the lowest bin holds it


def test_the_marks_stand_where_the_levels_are() -> None:
    channels = histogram(with_mosaic(np.full((40, 60), 3000, np.uint16)))["channels"]
    assert channels["R"]["stated_ev"] == pytest.approx(1.0)
    assert channels["R"]["white_ev"] == pytest.approx(-1.0)
    assert channels["G"]["white_ev"] == pytest.approx(0.0)


@pytest.mark.parametrize("channels", [MONO, RGB])
def test_other_sensors_are_counted_too(channels: tuple[str, ...]) -> None:
    shape = (40, 60) if channels == MONO else (40, 60, 3)
    found = histogram(with_mosaic(np.full(shape, 4512, np.uint16), channels))["channels"]
    assert list(found) == [c[0] for c in channels]
    assert all(c["millionths"][bin_of(0)] == 1_000_000 for c in found.values())


def test_a_frame_without_an_edge_has_no_profile() -> None:
    base = make(person=False)
    bare = Edge(0.0, None, None, (), (), None, *(np.zeros((2, 2), bool),) * 2)
    assert profile(replace(base, edge=bare)) is None


def test_the_deepest_sure_run_is_the_worst_spot() -> None:
    base = make(width=600, height=400, scale=1)
    base = replace(base, frame=_real(base.frame), levels=_levels(base))
    sure = replace(run_along(base, 0.1, 0.2, depth=9.0), where="4 o'clock")
    doubtful = run_along(base, 0.5, 0.6, depth=30.0, sure=False)
    found = profile(with_spill(base, doubtful, sure, fraction=0.02))
    assert found is not None
    assert (found["where"], found["sure"]) == ("4 o'clock", True)
    assert len(found["offset_px"]) == len(found["ev"])


def _real(frame: Frame) -> Frame:
    return replace(frame, mosaic=np.ascontiguousarray(frame.mosaic))


def _levels(inspection: Inspection):  # type: ignore[no-untyped-def]
    return replace(inspection.levels, frame=_real(inspection.frame))


def test_extras_are_json_and_small() -> None:
    base = make(width=600, height=400, scale=1)
    text = json.dumps(extras(base), allow_nan=False)
    assert len(text) < 6000
