"""What runs in the process that reads points; the parent never loads the decoder."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from inspector.clip import Clip
from inspector.decode import DecodeError, decode
from inspector.files import Stamp, stamp_of
from inspector.frame import Frame
from inspector.job import unreadable_reply
from inspector.levels import measure_clip
from inspector.reading import read_point
from inspector.worker import Reply, Task

KEPT = 2
"""Decoded frames that are kept: the newest and a pinned one."""


def read_points(task: Task) -> Reply:
    """Read the task's points; a frame that cannot be decoded becomes a record that says so."""
    try:
        frame, clip = _open(task.path, stamp_of(task.path))
    except DecodeError as error:
        return unreadable_reply(task.path, error)
    return Reply({}, readings=tuple(read_point(frame, clip, x, y) for x, y in task.points))


@lru_cache(maxsize=KEPT)
def _open(path: str, stamp: Stamp | None) -> tuple[Frame, Clip]:
    frame = decode(Path(path))
    return frame, measure_clip(frame)
