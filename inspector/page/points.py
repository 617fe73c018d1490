"""Points of a frame, read from its original in a process of its own."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from inspector.clip_memory import Levels
from inspector.files import Stamp, stamp_of
from inspector.reading import ratio
from inspector.worker import Judge, Task, Worker, WorkerError

Point = tuple[float, float]


class PointError(Exception):
    """Points that cannot be read; the message is one sentence."""


class PointReader:
    """Reads points, one request at a time; its process starts with the first."""

    def __init__(self) -> None:
        self._worker = Worker(make_judge=point_judge)
        self._turn = threading.Lock()

    def read(
        self, path: str, stamp: Stamp, points: Sequence[Point], levels: Levels | None = None
    ) -> dict[str, Any]:
        """Readings of the points, and the ratio if there are two, ready for JSON.

        ``levels`` are the clip levels by which the frame was judged.

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
        try:
            with self._turn:
                reply = self._worker.judge(Task(path, points=tuple(points), levels=levels))
        except WorkerError as error:
            raise PointError(str(error)) from error
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
    from inspector.page.pointjob import read_points

    return read_points
