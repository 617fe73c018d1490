"""One lane of a live set: takes the newest finished frame and has its worker judge it.

Lanes take turns at one stream of changes, so one bad file holds up one lane only.
"""

from __future__ import annotations

import os
import queue
import threading
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from inspector.files import safe_name, stamp_of
from inspector.hotfolder import Inbox
from inspector.record import MAPS, Row
from inspector.watch import Again, Change, Companion, Finished, Notice, Vanished
from inspector.worker import Task, Worker


@dataclass(frozen=True)
class Judged:
    """A frame with the row that is stored of it; ``waiting`` finished frames are behind it."""

    row: Row
    waiting: int = 0


@dataclass(frozen=True)
class Said:
    """One line that is not a verdict."""

    text: str


@dataclass(frozen=True)
class PlateTaken(Said):
    """From now on frames are judged against the plate at ``path``."""

    path: str = ""


Event = Judged | Said


@dataclass(frozen=True)
class UsePlate:
    """Put into the outbox by whoever wants the frames from now on judged against this plate."""

    path: str


Outbox = queue.SimpleQueue[Event | UsePlate | Exception | None]


@dataclass
class Shared:
    """What the lanes have in common.

    ``task`` is the pattern of every task (its plate may change), ``out`` takes the events, an
    exception that ends the set, and None from each lane at its end.
    """

    changes: Iterator[Change]
    inbox: Inbox
    report: Path
    task: Task
    out: Outbox
    aborted: bool = False

    def __post_init__(self) -> None:
        self.turn = threading.Lock()
        self.trouble: str | None = None

    def next_change(self) -> Change | None:
        """The next change; None when the watching has ended."""
        with self.turn:
            return next(self.changes, None)


class Lane(threading.Thread):
    """Works until the changes end or the set is aborted."""

    def __init__(self, worker: Worker, shared: Shared) -> None:
        super().__init__(daemon=True)
        self._worker, self._shared = worker, shared

    def run(self) -> None:
        """The thread's body."""
        shared = self._shared
        try:
            with self._worker as worker:
                worker.start()
                while not shared.aborted and (change := shared.next_change()) is not None:
                    self._handle(change)
        except Exception as error:
            shared.out.put(error)
        finally:
            shared.out.put(None)

    def _handle(self, change: Change) -> None:
        match change:
            case Finished():
                self._judge(change)
            case Vanished(path):
                self._say(f"{path}: gone before it was finished; nothing was judged")
            case Companion(path):
                self._say(f"{path}: not a raw frame; left alone, as are all of its kind")
            case Notice(text):
                self._say(text)

    def _judge(self, frame: Finished) -> None:
        shared = self._shared
        clip_map = f"{MAPS}/{safe_name(frame.path, frame.stamp)}.jpg"
        target = os.fspath(shared.report / clip_map)
        reply = self._worker.judge(replace(shared.task, path=frame.path, clip_map=target))
        if shared.aborted:
            return
        unreadable = reply.record["verdict"] == "unreadable"
        stamp = stamp_of(frame.path)
        if stamp is None and unreadable:
            self._say(f"{frame.path}: gone before it could be read; nothing was judged")
        elif stamp is not None and stamp != frame.stamp:
            # Written to while it was read: the watcher offers it again as it is now.
            if reply.clip_map is not None:
                Path(target).unlink(missing_ok=True)
        elif unreadable and reply.retry and not frame.last:
            shared.inbox.put(Again(frame.path, frame.stamp))
        else:
            self._say_trouble(reply.trouble)
            row = Row(frame.path, frame.stamp, reply.record, reply.clip_map and clip_map)
            shared.out.put(Judged(row, frame.waiting))

    def _say(self, text: str) -> None:
        self._shared.out.put(Said(text))

    def _say_trouble(self, trouble: str | None) -> None:
        """Say a lasting trouble once, not with every frame."""
        if trouble is not None and trouble != self._shared.trouble:
            self._say(trouble)
        self._shared.trouble = trouble
