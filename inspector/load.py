"""Frames for the jobs that look at several at once, each decoded in the worker's process."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from inspector.decode import DecodeError, decode
from inspector.frame import Frame
from inspector.job import unreadable_reply
from inspector.worker import TIME_LIMIT_S, Judge, Reply, Task, Worker


class LoadError(Exception):
    """A frame that cannot be read; the message is one sentence with the remedy."""


def load_frames(paths: Iterable[Path], *, seconds: float = TIME_LIMIT_S) -> list[Frame]:
    """Decode frames, in the order given; a crash or a hang of the decoder costs an error only.

    Parameters
    ----------
    seconds : float
        Longest that one frame may take.

    Raises
    ------
    LoadError
        If one cannot be read.
    """
    with Worker(seconds=seconds, make_judge=_decoder) as worker:
        return [_frame(worker.judge(Task(str(path)))) for path in paths]


def _decoder() -> Judge:
    return _decoded


def _decoded(task: Task) -> Reply:
    try:
        return Reply({"frame": decode(Path(task.path))})
    except DecodeError as error:
        return unreadable_reply(task.path, error)


def _frame(reply: Reply) -> Frame:
    found = reply.record["frame"]
    if isinstance(found, Frame):
        return found
    reason = reply.record["reasons"][0]
    raise LoadError(f"{found['path']}: {reason['text']}; {reason['advice']}")
