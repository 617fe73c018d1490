"""One set, live: the hot folder's frames through the lanes into the record."""

from __future__ import annotations

import os
import queue
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

from inspector.batch import InputError, load_plate
from inspector.clip_memory import ClipMemory
from inspector.files import Stamp
from inspector.hotfolder import HotFolder, Inbox
from inspector.lane import Event, Judged, Lane, Outbox, PlateTaken, Said, Shared, UsePlate
from inspector.limits import Limits
from inspector.rawnames import is_raw_name
from inspector.recorder import Recorder
from inspector.watch import Stop, watch
from inspector.worker import TIME_LIMIT_S, Task, Worker

RECALLED = 200
"""Frames of the record from which a new start learns what those before have shown."""
TRY_AGAIN_S = 1.0
"""From one attempt to store what waits to the next, seconds."""


@dataclass(frozen=True)
class Setup:
    """How a set is followed.

    ``last_plate``: the last frame with nobody in it serves as the plate. ``existing``: frames
    that lie there already are judged too. ``poll`` in seconds, None for the system's events.
    ``lanes`` frames are judged at a time.
    """

    folder: Path
    report: Path
    plate: Path | None = None
    last_plate: bool = False
    look: str = "silhouette"
    limits: Limits = field(default_factory=Limits)
    existing: bool = False
    subfolders: bool = False
    follow_links: bool = False
    poll: float | None = None
    time_limit: float = TIME_LIMIT_S
    lanes: int = 2


def default_report(folder: Path) -> Path:
    """The sibling of a hot folder that takes its report."""
    real = folder.resolve()
    return real.with_name(f"{real.name or 'set'}-report")


def check_folders(setup: Setup) -> None:
    """Raise InputError if the hot folder is none, or the report would lie inside it."""
    if not setup.folder.is_dir():
        raise InputError(f"{setup.folder}: not a folder; name the one that the camera fills")
    report = setup.report.resolve()
    for parent in (report, *report.parents):
        if parent.exists() and parent.samefile(setup.folder):
            raise InputError(
                f"{setup.report}: lies in the hot folder {setup.folder}, into which nothing is "
                "ever written; choose a folder outside it with --report"
            )


def follow_set(setup: Setup, inbox: Inbox, outbox: Outbox | None = None) -> Iterator[Event]:
    """Judge what comes into the hot folder until a `Stop` is put into the inbox.

    The frames at hand are finished then; closing the generator leaves them. A `UsePlate` that any
    thread puts into the ``outbox`` changes the plate.

    Raises
    ------
    InputError, LockedError, RecordError
        Before anything is judged.
    """
    check_folders(setup)
    recorder = Recorder(setup.report)
    try:
        hot_folder = HotFolder(
            setup.folder,
            inbox,
            subfolders=setup.subfolders,
            follow_links=setup.follow_links,
            poll=setup.poll,
        )
        with hot_folder:
            out: Outbox = queue.SimpleQueue() if outbox is None else outbox
            yield from _Session(setup, inbox, recorder, hot_folder, out).run()
    finally:
        recorder.close()


class _Session:
    def __init__(
        self,
        setup: Setup,
        inbox: Inbox,
        recorder: Recorder,
        hot_folder: HotFolder,
        out: Outbox,
    ) -> None:
        self.setup, self.inbox = setup, inbox
        self.recorder, self.hot_folder = recorder, hot_folder
        self.out = out
        self.workers = [Worker(seconds=setup.time_limit) for _ in range(setup.lanes)]

    def run(self) -> Iterator[Event]:
        task = Task("", look=self.setup.look, limits=self.setup.limits)
        if self.setup.plate is not None:
            plate = os.fspath(self.setup.plate.resolve())
            yield from _said(load_plate(self.workers[0], replace(task, path=plate)))
            task = replace(task, plate=plate)
        before = self.recorder.latest(RECALLED)
        clips = ClipMemory()
        for row in before:
            clips = clips.with_frame(row.record)
        task = replace(task, clips=clips)
        known, left_alone = self.known_at_start()
        if left_alone:
            yield Said(f"{_frames(left_alone)} lay there, left alone; --existing judges these too")
        changes = watch(self.hot_folder, known=known)
        shared = Shared(changes, self.inbox, self.setup.report, task, self.out, tuple(before))
        yield from self.work(shared)
        yield from self.farewell()

    def known_at_start(self) -> tuple[dict[str, Stamp], int]:
        """What need not be judged: what is in the record, and what lay there before the first
        start; and how many the latter are."""
        folder = self.hot_folder.folder
        judged, earlier = self.recorder.known(folder)
        if self.setup.existing:
            earlier = {}
        elif earlier is None:
            earlier = self.frames_there()
        self.recorder.set_earlier(folder, earlier)
        return earlier | judged, len(earlier.keys() - judged.keys())

    def frames_there(self) -> dict[str, Stamp]:
        files = self.hot_folder.scan() or ()
        return {path: stamp for path, stamp in files if is_raw_name(path)}

    def work(self, shared: Shared) -> Iterator[Event]:
        """Run the lanes; store and pass on what they put out, until all have ended."""
        lanes = [Lane(worker, shared) for worker in self.workers]
        for lane in lanes:
            lane.start()
        try:
            yield from self.collect(shared)
        except BaseException:
            shared.aborted = True
            for worker in self.workers:
                worker.interrupt()
            raise
        finally:
            self.inbox.put(Stop())
            for lane in lanes:
                lane.join()

    def collect(self, shared: Shared) -> Iterator[Event]:
        running = len(self.workers)
        while running:
            yield from _said(self.recorder.flush())
            try:
                event = self.out.get(timeout=self.patience())
            except queue.Empty:
                continue
            if event is None:
                running -= 1
            elif isinstance(event, Exception):
                raise event
            elif isinstance(event, Said):
                yield event
            elif isinstance(event, UsePlate):
                yield _take_plate(event.path, shared)
            elif isinstance(event, Judged):
                self.recorder.add(event.row)
                if event.revised is not None:
                    self.recorder.add(event.revised.row)
                clips = shared.task.clips.with_frame(event.row.record)
                shared.task = replace(shared.task, clips=clips)
                taken = self.last_plate(event, shared)
                yield event
                if event.revised is not None:
                    yield event.revised
                yield from taken

    def patience(self) -> float | None:
        """Seconds to wait for the lanes. Where a signal does not end a wait, a short while."""
        return TRY_AGAIN_S if self.recorder.waiting or sys.platform == "win32" else None

    def last_plate(self, judged: Judged, shared: Shared) -> list[Event]:
        """Take a frame with nobody in it as the plate, if the last one is wanted."""
        if self.setup.last_plate and judged.row.record.get("plate"):
            return [_take_plate(judged.row.path, shared)]
        return []

    def farewell(self) -> Iterator[Event]:
        yield from _said(self.recorder.flush())
        if self.recorder.waiting:
            yield Said(
                f"{_frames(self.recorder.waiting)} judged but not recorded; the next start judges "
                "them again"
            )
        left = self.recorder.missing(self.hot_folder.folder, self.frames_there())
        if left:
            yield Said(f"{_frames(left)} not judged yet; the next start does")


def _take_plate(path: str, shared: Shared) -> PlateTaken:
    shared.task = replace(shared.task, plate=path)
    return PlateTaken(f"{path}: the plate from now on", path)


def _said(text: str | None) -> Iterator[Said]:
    if text is not None:
        yield Said(text)


def _frames(count: int) -> str:
    return f"{count} frame{'' if count == 1 else 's'}"
