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
from inspector.recognise import Pair, as_under_frame, confirmed, find_pair, with_row
from inspector.record import MAPS, Row
from inspector.watch import Again, Change, Companion, Finished, Notice, Vanished
from inspector.worker import Task, Worker


@dataclass(frozen=True)
class Revised:
    """A frame judged before, of which ``row`` takes the place of what was stored."""

    row: Row


@dataclass(frozen=True)
class Judged:
    """A frame with the row that is stored of it; ``waiting`` finished frames are behind it.

    ``revised`` is the neighbour that it lies under, or that lies under it.
    """

    row: Row
    waiting: int = 0
    revised: Revised | None = None


@dataclass(frozen=True)
class Said:
    """One line that is not a verdict."""

    text: str


@dataclass(frozen=True)
class PlateTaken(Said):
    """From now on frames are judged against the plate at ``path``."""

    path: str = ""


Event = Judged | Revised | Said


@dataclass(frozen=True)
class UsePlate:
    """Put into the outbox by whoever wants the frames from now on judged against this plate."""

    path: str


Outbox = queue.SimpleQueue[Event | UsePlate | Exception | None]


@dataclass
class Shared:
    """What the lanes have in common.

    ``task`` is the pattern of every task (its plate may change), ``out`` takes the events, an
    exception that ends the set, and None from each lane at its end. Among the frames ``judged``
    last the neighbours of a new one are looked for.
    """

    changes: Iterator[Change]
    inbox: Inbox
    report: Path
    task: Task
    out: Outbox
    judged: tuple[Row, ...] = ()
    aborted: bool = False

    def __post_init__(self) -> None:
        self.turn = threading.Lock()
        self.looking = threading.Lock()
        self.trouble: str | None = None

    def next_change(self) -> Change | None:
        """The next change; None when the watching has ended."""
        with self.turn:
            return next(self.changes, None)

    def pair_with(self, row: Row) -> Pair | None:
        """Take a frame in among those judged; the pair it may make, which no other lane finds."""
        with self.looking:
            pair = find_pair(row, self.judged)
            self.judged = with_row(self.judged, row)
        return pair

    def revise(self, *rows: Row) -> None:
        """Put frames judged anew in the place of what they were."""
        with self.looking:
            for row in rows:
                self.judged = with_row(self.judged, row)


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
            pair = shared.pair_with(row)
            row, revised = (row, None) if pair is None else self._lay_under(row, pair)
            if not shared.aborted:
                shared.out.put(Judged(row, frame.waiting, revised))

    def _lay_under(self, row: Row, pair: Pair) -> tuple[Row, Revised | None]:
        """Judge the brighter frame of a pair again, the darker one laid under it.

        The new frame's row, and what it makes of its neighbour; None if they do not fit.
        """
        shared, bright = self._shared, pair.bright
        if any(stamp_of(each.path) != each.stamp for each in (bright, pair.dark)):
            return row, None
        name = f"{MAPS}/{safe_name(bright.path, bright.stamp)}.jpg"
        target = shared.report / name
        fresh = target.with_suffix(".under.jpg")
        task = replace(shared.task, path=bright.path, under=pair.dark.path, clip_map=str(fresh))
        reply = self._worker.judge(task)
        fall = confirmed(pair, reply.record)
        if fall is None:
            fresh.unlink(missing_ok=True)
            return row, None
        if reply.clip_map is not None:
            fresh.replace(target)
        above = replace(bright, record=reply.record, clip_map=reply.clip_map and name)
        below = replace(pair.dark, record=as_under_frame(pair.dark.record, bright.path, fall))
        shared.revise(above, below)
        if row.path == bright.path:
            return above, Revised(below)
        return below, Revised(above)

    def _say(self, text: str) -> None:
        self._shared.out.put(Said(text))

    def _say_trouble(self, trouble: str | None) -> None:
        """Say a lasting trouble once, not with every frame."""
        if trouble is not None and trouble != self._shared.trouble:
            self._say(trouble)
        self._shared.trouble = trouble
