"""What runs in the process that reads points; the parent never loads the decoder."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np

from inspector.clip import Clip
from inspector.clip_memory import Levels
from inspector.decode import DecodeError, decode
from inspector.files import Stamp, stamp_of
from inspector.frame import Frame, own_channels
from inspector.job import unreadable_reply
from inspector.levels import measure_clip
from inspector.reading import read_point
from inspector.worker import Reply, Task

KEPT = 2
"""Decoded frames that are kept: the newest and a pinned one."""


def read_points(task: Task) -> Reply:
    """Read the task's points; a frame that cannot be decoded becomes a record that says so."""
    try:
        frame, own = _open(task.path, stamp_of(task.path))
    except DecodeError as error:
        return unreadable_reply(task.path, error)
    clip = own if task.levels is None else _clip(frame, task.levels)
    return Reply({}, readings=tuple(read_point(frame, clip, x, y) for x, y in task.points))


def _clip(frame: Frame, levels: Levels) -> Clip:
    """The levels by which the frame was judged: some may come from other frames of the set."""
    level = np.array(own_channels(frame.channels, levels), float)
    return Clip(level, np.ones(level.size, bool))


@lru_cache(maxsize=KEPT)
def _open(path: str, stamp: Stamp | None) -> tuple[Frame, Clip]:
    frame = decode(Path(path))
    return frame, measure_clip(frame)
