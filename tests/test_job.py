"""One frame from file to record and clip map, as the worker's process does it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from inspector import job
from inspector.decode import decode
from inspector.inspect import record
from inspector.job import FrameJudge
from inspector.worker import Task, Worker

SAMPLES = Path(__file__).parent.parent / "sample_frames"
PLATE = str(SAMPLES / "fencing-01-empty-plate.dng")
CLEAN = str(SAMPLES / "fencing-03-clean-silhouette.dng")
JUDGED = ("pass", "warn")
KEYS = {
    *("schema", "frame", "clip", "backdrop", "subject", "edge", "flare", "window"),
    *("verdict", "reasons"),
}


def test_record_and_pictures(tmp_path: Path) -> None:
    clip_map, zone_map = str(tmp_path / "map.jpg"), str(tmp_path / "a.zones.png")
    reply = FrameJudge()(Task(CLEAN, clip_map=clip_map, zone_map=zone_map))
    assert reply.record.keys() >= KEYS
    assert reply.record["verdict"] in JUDGED
    assert (reply.clip_map, reply.trouble, reply.retry) == (clip_map, None, False)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.zones.png", "map.jpg"]


def test_pictures_that_cannot_be_written_do_not_cost_the_verdict(tmp_path: Path) -> None:
    reply = FrameJudge()(Task(CLEAN, clip_map=str(tmp_path / "nowhere" / "map.jpg")))
    assert reply.record["verdict"] in JUDGED
    assert reply.clip_map is None
    assert f"{tmp_path / 'nowhere'}: cannot be written" in str(reply.trouble)


def test_the_plate_is_decoded_once_while_it_stays_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plate = tmp_path / "plate.dng"
    plate.write_bytes(Path(PLATE).read_bytes())
    decoded: list[str] = []

    def count(path: Path) -> Any:
        decoded.append(str(path))
        return decode(path)

    monkeypatch.setattr(job, "decode", count)
    judge = FrameJudge()
    for _ in range(3):
        judge(Task(CLEAN, plate=str(plate)))
    assert decoded.count(str(plate)) == 1
    plate.write_bytes(Path(PLATE).read_bytes())  # taken anew
    judge(Task(CLEAN, plate=str(plate)))
    assert decoded.count(str(plate)) == 2
    decoded.clear()
    judge(Task(str(plate), plate=str(plate)))  # no plate of itself
    assert decoded == [str(plate)]


def test_a_plate_that_went_away_is_said(tmp_path: Path) -> None:
    reply = FrameJudge()(Task(CLEAN, plate=str(tmp_path / "gone.dng")))
    assert reply.record["verdict"] in JUDGED
    assert "judged without a plate" in str(reply.trouble)
    assert "gone.dng" in str(reply.trouble)


def test_an_under_frame_that_cannot_be_read_is_no_pass(tmp_path: Path) -> None:
    reply = FrameJudge()(Task(CLEAN, under=str(tmp_path / "gone.dng")))
    assert reply.record["verdict"] == "unreadable"
    assert "gone.dng" in reply.record["reasons"][0]["text"]
    assert reply.record["frame"]["path"] == CLEAN


@pytest.mark.parametrize(
    ("error", "code"), [(ValueError("bad luck"), "not-measured"), (MemoryError(), "out-of-memory")]
)
def test_a_fault_of_ours_is_no_pass(
    monkeypatch: pytest.MonkeyPatch, error: Exception, code: str
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(job, "inspect", fail)
    reply = FrameJudge()(Task(CLEAN))
    assert reply.record["verdict"] == "unreadable"
    assert reply.record["reasons"][0]["code"] == code
    assert not reply.retry


@pytest.mark.parametrize("figure", [float("nan"), float("inf"), object()])
def test_a_figure_that_is_no_number_is_no_pass(
    monkeypatch: pytest.MonkeyPatch, figure: object
) -> None:
    monkeypatch.setattr(job, "record", lambda inspection: record(inspection) | {"figure": figure})
    reply = FrameJudge()(Task(CLEAN))
    assert reply.record["verdict"] == "unreadable"
    json.dumps(reply.record, allow_nan=False)


def test_a_damaged_frame_may_be_tried_again(tmp_path: Path) -> None:
    cut = tmp_path / "cut; short.dng"
    cut.write_bytes(Path(CLEAN).read_bytes()[:200_000])
    reply = FrameJudge()(Task(str(cut)))
    assert reply.retry
    [reason] = reply.record["reasons"]
    assert reason["code"] == "unreadable"
    assert str(cut) not in reason["text"]
    assert reason["advice"] == "copy the file again or take the frame again"


def test_in_the_workers_process() -> None:
    with Worker() as worker:
        assert worker.judge(Task(CLEAN)).record["verdict"] in JUDGED


@pytest.mark.parametrize(
    ("task", "told"),
    [
        (Task(CLEAN, plate=str(SAMPLES / "fencing-04-profile-portrait.dng")), "without the plate"),
        (Task(CLEAN, under=CLEAN), "without the under frame: it is no darker"),
    ],
)
def test_what_does_not_fit_a_frame_is_left_out_and_named(task: Task, told: str) -> None:
    reply = FrameJudge()(task)
    assert reply.record["verdict"] == "pass"
    assert told in str(reply.trouble)
