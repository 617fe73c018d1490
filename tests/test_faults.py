"""Damaged files by the dozen through the real worker; by the thousand with INSPECTOR_NIGHTLY."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from inspector.simulate import Camera, render
from inspector.simulate.dng import write_dng
from inspector.simulate.samples import evening
from inspector.worker import Task, Worker

COUNT = 3000 if os.environ.get("INSPECTOR_NIGHTLY") else 60
HEADER = 2048
"""Bytes in which the tags of a simulated frame lie."""
FAULTS = {"crashed", "timed-out", "out-of-memory", "not-measured"}


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("whole") / "frame.dng"
    frame, _ = render(evening()[2].scene, camera=Camera(), seed=1, megapixels=0.03)
    write_dng(path, frame)
    return path.read_bytes()


@pytest.fixture(scope="module")
def worker() -> Iterator[Worker]:
    with Worker() as it:
        yield it


def damage(data: bytes, seed: int) -> bytes:
    """Cut it, flip bytes or bits of its header, or write noise over a stretch."""
    rng = np.random.default_rng(seed)
    damaged = bytearray(data)
    match seed % 4:
        case 0:
            del damaged[int(rng.integers(len(data))) :]
        case 1:
            for place in rng.integers(0, HEADER, int(rng.integers(1, 8))):
                damaged[place] = int(rng.integers(256))
        case 2:
            damaged[int(rng.integers(HEADER))] ^= 1 << int(rng.integers(8))
        case _:
            start, length = int(rng.integers(len(data))), int(rng.integers(1, 4096))
            damaged[start : start + length] = rng.bytes(length)
    return bytes(damaged)


def test_every_damaged_frame_gets_a_record(tmp_path: Path, whole: bytes, worker: Worker) -> None:
    path = tmp_path / "frame.dng"
    worker.judge(Task(str(path)))
    pid = worker.pid
    for seed in range(COUNT):
        data = damage(whole, seed)
        path.write_bytes(data)
        path.chmod(0o444)
        before = path.stat()
        record = worker.judge(Task(str(path))).record
        if record["verdict"] == "unreadable":
            assert record["reasons"][0]["code"] not in FAULTS, (seed, record["reasons"])
        assert record["verdict"] == "pass" or record["reasons"], seed
        json.dumps(record, allow_nan=False)
        after = path.stat()
        assert path.read_bytes() == data
        assert (after.st_mtime_ns, after.st_mode) == (before.st_mtime_ns, before.st_mode)
        path.chmod(0o644)
    assert worker.pid == pid  # none of them brought the process down


def test_noise_never_passes(tmp_path: Path, whole: bytes, worker: Worker) -> None:
    path = tmp_path / "noise.dng"
    for seed in range(COUNT // 4):
        rng = np.random.default_rng(seed)
        head = whole[: int(rng.integers(0, 64))]
        path.write_bytes(head + rng.bytes(int(rng.integers(1, len(whole)))))
        assert worker.judge(Task(str(path))).record["verdict"] != "pass", seed


@pytest.mark.parametrize("side", [60_000, 19_999])
def test_a_header_that_claims_too_much(
    tmp_path: Path, whole: bytes, worker: Worker, side: int
) -> None:
    """ImageWidth and ImageLength (tags 256 and 257, TIFF 6.0) of every IFD set to `side`."""
    data = bytearray(whole)
    for tag in (256, 257):
        for kind in (3, 4):
            entry = tag.to_bytes(2, "little") + kind.to_bytes(2, "little") + b"\1\0\0\0"
            place = data.find(entry)
            while place >= 0:
                data[place + 2 : place + 4] = (4).to_bytes(2, "little")
                data[place + 8 : place + 12] = side.to_bytes(4, "little")
                place = data.find(entry, place + 12)
    assert bytes(data) != whole
    path = tmp_path / "bomb.dng"
    path.write_bytes(data)
    record = worker.judge(Task(str(path))).record
    assert record["verdict"] == "unreadable"
    assert record["reasons"][0]["advice"]
