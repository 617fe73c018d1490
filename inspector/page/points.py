"""Points of a frame, read from its original in a process of its own."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import asdict
from functools import lru_cache
from pathlib import Path
from typing import Any

from inspector.clip import Clip
from inspector.decode import DecodeError, decode
from inspector.files import Stamp, stamp_of
from inspector.frame import Frame
from inspector.job import unreadable_reply
from inspector.levels import measure_clip
from inspector.reading import ratio, read_point
from inspector.worker import Judge, Reply, Task, Worker

KEPT = 2
"""Decoded frames that are kept: the newest and a pinned one."""

Point = tuple[float, float]


class PointError(Exception):
    """Points that cannot be read; the message is one sentence."""


class PointReader:
    """Reads points, one request at a time; its process starts with the first."""

    def __init__(self) -> None:
        self._worker = Worker(make_judge=point_judge)
        self._turn = threading.Lock()

    def read(self, path: str, stamp: Stamp, points: Sequence[Point]) -> dict[str, Any]:
        """Readings of the points, and the ratio if there are two, ready for JSON.

        Raises
        ------
        PointError
            If the frame is gone, has changed since it was judged, or cannot be read.
        """
        found = stamp_of(path)
        if found is None:
            raise PointError("the original is no longer where it was")
        if found != stamp:
            raise PointError("the original has changed since it was judged")
        with self._turn:
            reply = self._worker.judge(Task(path, points=tuple(points)))
        if not reply.readings:
            raise PointError(str(reply.record["reasons"][0]["text"]))
        readings = reply.readings
        two = asdict(ratio(*readings)) if len(readings) == 2 else None
        return {"points": [asdict(reading) for reading in readings], "ratio": two}

    def close(self) -> None:
        """End the process."""
        self._worker.interrupt()
        with self._turn:
            self._worker.kill()


def point_judge() -> Judge:
    """Called once in the process."""
    return _read


def _read(task: Task) -> Reply:
    try:
        frame, clip = _open(task.path, stamp_of(task.path))
    except DecodeError as error:
        return unreadable_reply(task.path, error)
    return Reply({}, readings=tuple(read_point(frame, clip, x, y) for x, y in task.points))


@lru_cache(maxsize=KEPT)
def _open(path: str, stamp: Stamp | None) -> tuple[Frame, Clip]:
    frame = decode(Path(path))
    return frame, measure_clip(frame)
