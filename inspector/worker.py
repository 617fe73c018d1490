"""The separate process in which LibRaw runs: its time limit, memory limit and restart.

A crash, a hang or a file that asks for too much memory costs one frame. The process ends with
its parent, however that ends.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from inspector.clip_memory import ClipMemory, Levels
from inspector.files import PART
from inspector.limits import Limits
from inspector.worker_process import READY, TAKEN, serve

if TYPE_CHECKING:
    from inspector.reading import Reading

TIME_LIMIT_S = 30.0
"""Longest that one frame may take, seconds."""
MEMORY_LIMIT_MB = 4096
"""Memory that one frame may take beyond the bare process, MiB."""
START_LIMIT_S = 120.0
"""Longest that the process may take to start, on a slow disk with cold caches, seconds."""
END_LIMIT_S = 5.0

Record = dict[str, Any]


@dataclass(frozen=True)
class Task:
    """One frame to judge, and where its pictures go.

    ``plate`` and ``under`` name frames; ``clip_map`` and ``zone_map`` files to write, of which
    the folder exists. ``points``, x and y in the picture as viewed, are for a judge that only
    reads points, by the clip ``levels`` of R, G1, G2, B where they are known. ``clips`` is what
    other frames of the set have shown of theirs.
    """

    path: str
    plate: str | None = None
    under: str | None = None
    look: str = "silhouette"
    limits: Limits = field(default_factory=Limits)
    clip_map: str | None = None
    zone_map: str | None = None
    points: tuple[tuple[float, float], ...] = ()
    levels: Levels | None = None
    clips: ClipMemory = field(default_factory=ClipMemory)


@dataclass(frozen=True)
class Reply:
    """What became of a task.

    ``clip_map`` names the file if it was written, ``trouble`` is one line on what could not be
    done besides, ``retry`` says that the file may yet become readable,
    ``readings`` answer the task's points, ``stored`` says that it comes from a record of before.
    """

    record: Record
    clip_map: str | None = None
    trouble: str | None = None
    retry: bool = False
    readings: tuple[Reading, ...] = ()
    stored: bool = False


class WorkerError(Exception):
    """The process cannot be started; the message is one sentence with the remedy."""


Judge = Callable[[Task], Reply]


def frame_judge() -> Judge:
    """Load the core; called once in the worker's process."""
    from inspector.job import FrameJudge

    return FrameJudge()


def refuse(path: str, code: str, why: str, remedy: str) -> Record:
    """The record of a frame that was given up, with a reason code of its own."""
    from inspector.inspect import unreadable

    record = unreadable(path, why, remedy)
    record["reasons"][0]["code"] = code
    return record


class Worker:
    """Judges one frame at a time in a process of its own; starts it when first needed."""

    def __init__(
        self,
        *,
        seconds: float = TIME_LIMIT_S,
        memory_mb: int = MEMORY_LIMIT_MB,
        make_judge: Callable[[], Judge] | None = None,
    ) -> None:
        self._seconds = seconds
        self._memory_mb = memory_mb
        self._make_judge = make_judge or frame_judge
        self._process: multiprocessing.process.BaseProcess | None = None
        self._pipe: Connection | None = None
        self._loaded = False
        self._interrupted = False

    def __enter__(self) -> Worker:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None
    ) -> None:
        if kind is None:
            self.close()
        else:
            self.kill()

    @property
    def pid(self) -> int | None:
        """Process id while it runs."""
        return self._process.pid if self._process is not None else None

    def start(self) -> None:
        """Start the process ahead of the first frame; returns before it has loaded."""
        if self._process is not None and self._process.is_alive():
            return
        self.kill()
        # Fork would copy threads' locks and OpenMP's state; spawn starts clean.
        context = multiprocessing.get_context("spawn")
        self._pipe, theirs = context.Pipe()
        arguments = (theirs, self._make_judge, self._memory_mb, os.getpid())
        process = context.Process(target=serve, args=arguments, name="inspector", daemon=True)
        with _interrupts_held():
            process.start()
        theirs.close()
        self._process, self._loaded = process, False

    def judge(self, task: Task) -> Reply:
        """Judge one frame. Whatever happens to the process, there is a reply."""
        # A process found dead before it took the frame up died of something else: the next gets it.
        if not self._hand_over(task) and not self._hand_over(task):
            return self._crashed(task)
        reply = self._receive(self._seconds)
        if reply is None:
            return self._overdue(task)
        return reply if isinstance(reply, Reply) else self._crashed(task)

    def close(self) -> None:
        """Let the process end by itself: it does once its pipe is closed."""
        if self._process is None or self._pipe is None:
            return
        self._pipe.close()
        self._process.join(END_LIMIT_S)
        self.kill()

    def interrupt(self) -> None:
        """End the process for good, from another thread; frames count as crashed from now on."""
        self._interrupted = True
        process = self._process
        if process is not None:
            with contextlib.suppress(ValueError):  # it has just been cleared away
                process.kill()

    def kill(self) -> None:
        """End the process at once, and clear it away."""
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.join()
            process.close()
        if self._pipe is not None:
            self._pipe.close()
            self._pipe = None

    def _hand_over(self, task: Task) -> bool:
        """Whether the process has taken the task up; one that has not is cleared away."""
        if self._interrupted:
            return False
        self.start()
        if not self._loaded:
            self._await_ready()
        assert self._pipe is not None
        with contextlib.suppress(OSError):
            self._pipe.send(task)
            if self._receive(self._seconds) == TAKEN:
                return True
        self.kill()
        return False

    def _await_ready(self) -> None:
        """Raise WorkerError if the process cannot start at all."""
        if self._receive(START_LIMIT_S) != READY:
            self.kill()
            raise WorkerError(
                "the process that decodes frames did not start; on Linux without a desktop install "
                "libgl1 and libglib2.0-0, else inspector and its dependencies again"
            )
        self._loaded = True

    def _receive(self, seconds: float) -> object:
        """What the process sent; None when the time is over, EOFError's class when it died."""
        assert self._pipe is not None
        assert self._process is not None
        if not wait([self._pipe, self._process.sentinel], seconds):
            return None
        try:
            return self._pipe.recv() if self._pipe.poll() else EOFError
        except (EOFError, OSError):
            return EOFError

    def _overdue(self, task: Task) -> Reply:
        self._give_up(task)
        why = f"still not judged after {self._seconds:g} s"
        remedy = "take the frame again; a slow disk needs a longer --time-limit"
        return Reply(refuse(task.path, "timed-out", why, remedy))

    def _crashed(self, task: Task) -> Reply:
        if self._process is not None:
            if self._interrupted:
                self._process.kill()
            self._process.join(END_LIMIT_S)
        how = _exit_text(self._process.exitcode if self._process is not None else None)
        self._give_up(task)
        why = f"the decoder broke down on it ({how})"
        return Reply(refuse(task.path, "crashed", why, "take or copy the frame again"))

    def _give_up(self, task: Task) -> None:
        self.kill()
        for target in (task.clip_map, task.zone_map):
            if target is not None:
                with contextlib.suppress(OSError):
                    Path(target + PART).unlink(missing_ok=True)


def _exit_text(code: int | None) -> str:
    if code is None:
        return "it was ended"
    if code < 0:
        with contextlib.suppress(ValueError):
            return signal.Signals(-code).name
    return f"exit status {code}"


@contextlib.contextmanager
def _interrupts_held() -> Iterator[None]:
    """Ctrl-C reaches the whole process group; the child must not die of it while it starts."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
