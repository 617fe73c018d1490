"""The fencing club's evening: every sample frame against the truth that was written with it."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from plain import overlap

from inspector.decode import decode
from inspector.inspect import Inspection, inspect, record, zone_mask
from inspector.zones import BACKDROP, SUBJECT

SAMPLES = Path(__file__).parents[1] / "sample_frames"
TRUTH: dict[str, dict[str, Any]] = {
    told["file"]: told for told in json.loads((SAMPLES / "truth.json").read_text())["frames"]
}
LEAST_SATURATED = 0.001
"""Part of a channel's sites at its clip from which its level can be measured."""

frames = pytest.mark.parametrize("name", TRUTH)


@cache
def inspected(name: str) -> Inspection:
    return inspect(decode(SAMPLES / name))


@cache
def found(name: str) -> dict[str, Any]:
    return record(inspected(name))


def true_zones(name: str) -> NDArray[np.uint8]:
    zones = cv2.imread(str(SAMPLES / TRUTH[name]["zones"]), cv2.IMREAD_UNCHANGED)
    assert zones is not None
    return np.asarray(zones, np.uint8)


def test_every_sample_has_its_truth() -> None:
    assert sorted(TRUTH) == sorted(p.name for p in SAMPLES.glob("*.dng"))
    assert len(TRUTH) == 12


@frames
def test_frame(name: str) -> None:
    told = TRUTH[name]["frame"]
    assert {key: found(name)["frame"][key] for key in told} == told


@frames
def test_verdict(name: str) -> None:
    """In the default look, silhouette."""
    assert found(name)["verdict"] == TRUTH[name]["verdict"]
    assert found(name)["plate"] == TRUTH[name]["plate"]


@frames
def test_reasons(name: str) -> None:
    """The figures that miss their limits are those that truly do."""
    figure = {
        "background-short": "backdrop.white_fraction",
        "spill": "edge.spill_fraction",
        "hot-spot": "subject.hot_spots",
        "subject-light": "subject.depth_ev",
        "no-background": "backdrop.found",
        "no-flash": "backdrop.found",
    }
    assert [figure[r["code"]] for r in found(name)["reasons"]] == TRUTH[name]["misses"]


@frames
def test_clip_levels(name: str) -> None:
    """Within 0.2 % of the range, of every channel that saturates."""
    frame, clip = inspected(name).frame, TRUTH[name]["clip"]
    for channel, black in zip(frame.channels, frame.black.tolist(), strict=True):
        if clip["saturated_fraction"][channel] < LEAST_SATURATED:
            continue
        level = clip["levels"][channel]
        assert found(name)["clip"]["levels"][channel] == pytest.approx(
            level, abs=0.002 * (level - black)
        ), channel
    assert found(name)["clip"]["ceiling_ev"] == pytest.approx(clip["ceiling_ev"], abs=1e-3)


@frames
def test_white_fraction(name: str) -> None:
    told = TRUTH[name]["backdrop"]["white_fraction"]
    assert found(name)["backdrop"]["white_fraction"] == (
        None if told is None else pytest.approx(told, abs=0.002)
    )


@frames
@pytest.mark.parametrize("figure", ["ev_p1", "ev_p50", "ev_p99"])
def test_stops_of_the_backdrop(name: str, figure: str) -> None:
    told = TRUTH[name]["backdrop"][figure]
    assert found(name)["backdrop"][figure] == (
        None if told is None else pytest.approx(told, abs=0.1)
    )


@frames
def test_depth(name: str) -> None:
    told = TRUTH[name]["subject"]["depth_ev"]
    assert found(name)["subject"]["depth_ev"] == (
        None if told is None else pytest.approx(told, abs=0.2)
    )


@frames
def test_zones(name: str) -> None:
    truth = true_zones(name)
    mask = zone_mask(inspected(name))
    assert mask.shape == truth.shape
    backdrop, subject = overlap(mask, truth)
    assert backdrop >= 0.97
    assert subject >= 0.97


@frames
def test_spill_fraction(name: str) -> None:
    """To a tenth where there is any; nothing where there is none."""
    told = TRUTH[name]["edge"]["spill_fraction"]
    assert found(name)["edge"]["spill_fraction"] == (
        None if told is None else pytest.approx(told, abs=0.1 if told else 0.01)
    )


@frames
def test_window(name: str) -> None:
    """Within a tenth of a stop where it is said to be exact, up to two stops from the frame."""
    window, told = found(name)["window"], TRUTH[name]["window"]
    for end in ("low", "high"):
        there = told[f"{end}_ev"]
        if window[f"{end}_is"] == "exact" and there is not None and abs(there) <= 2:
            assert window[f"{end}_ev"] == pytest.approx(there, abs=0.1), end


def test_areas() -> None:
    for name, told in TRUTH.items():
        zones = true_zones(name)
        for zone, value in (("backdrop", BACKDROP), ("subject", SUBJECT)):
            assert told[zone]["area_fraction"] == pytest.approx((zones == value).mean(), abs=1e-4)
            assert found(name)[zone]["area_fraction"] == pytest.approx(
                told[zone]["area_fraction"], abs=0.02
            )
