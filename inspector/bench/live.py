"""Through the real watcher: from the close of a file to its verdict, and frames a second."""

from __future__ import annotations

import os
import queue
import shutil
import time
from pathlib import Path
from statistics import median

from inspector.hotfolder import Inbox
from inspector.lane import Judged
from inspector.session import Setup, follow_set
from inspector.watch import Stop

WARM = 2
"""Frames that come first and do not count: processes start, caches fill."""


def close_to_verdict(folder: Path, frame: Path, count: int) -> float:
    """Median seconds from the close of a file to its verdict, one frame at a time."""
    hot = folder / "one-by-one"
    hot.mkdir()
    inbox: Inbox = queue.SimpleQueue()
    data = frame.read_bytes()
    closed = _put(hot, 0, data)
    delays: list[float] = []
    for event in follow_set(Setup(hot, folder / "one-by-one-report", existing=True), inbox):
        if not isinstance(event, Judged):
            continue
        delays.append(time.perf_counter() - closed)
        if len(delays) == WARM + count:
            inbox.put(Stop())
        else:
            closed = _put(hot, len(delays), data)
    return median(delays[WARM:])


def _put(hot: Path, number: int, data: bytes) -> float:
    """Write a frame into the hot folder; when it was closed."""
    (hot / f"frame-{number:03}.dng").write_bytes(data)
    return time.perf_counter()


def sustained(folder: Path, frame: Path, count: int) -> float:
    """Frames a second when more lie there than can be judged at once."""
    hot = folder / "all-at-once"
    hot.mkdir()
    for number in range(WARM + count):
        _link(frame, hot / f"frame-{number:03}.dng")
    inbox: Inbox = queue.SimpleQueue()
    times: list[float] = []
    for event in follow_set(Setup(hot, folder / "all-at-once-report", existing=True), inbox):
        if isinstance(event, Judged):
            times.append(time.perf_counter())
            if len(times) == WARM + count:
                inbox.put(Stop())
    return count / (times[-1] - times[WARM - 1])


def _link(frame: Path, name: Path) -> None:
    try:
        os.link(frame, name)
    except OSError:  # a disk without hard links
        shutil.copyfile(frame, name)
