"""Named frames, judged in the order given: by one process, by several, or on a cluster."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Generator, Iterable, Iterator
from dataclasses import astuple, replace
from pathlib import Path
from typing import Any

from inspector import __version__
from inspector.clip_memory import ClipMemory
from inspector.files import raw_frames_in, safe_name, stamp_of
from inspector.record import MAPS, Row
from inspector.recorder import Recorder
from inspector.worker import Reply, Task, Worker

RULES = "rules"
"""Key of a stored record: a digest of all that its verdict depends on beside the frame."""

Judging = Callable[[Iterable[Task | Reply]], Iterator[Reply]]
"""Judges tasks and hands on replies that are there already, all in the order given.

It may be called again while it has not come to the end of what it judges.
"""


class InputError(ValueError):
    """What was named cannot be judged; the message is one sentence with the remedy."""


class UnreadableError(InputError):
    """A plate or an under frame cannot be read."""


def frames_of(named: Iterable[Path], *, subfolders: bool = False) -> tuple[list[Path], Path | None]:
    """The frames named, a folder standing for the raw frames inside; and a companion, if any.

    A folder without a raw frame, named beside others, stands for itself: it is no frame, and is
    judged as such, so that the others are judged all the same.

    Raises
    ------
    InputError
        If the only folder named holds no raw frame, or one cannot be listed.
    """
    frames: list[Path] = []
    companion: Path | None = None
    named = tuple(named)
    for path in named:
        if not path.is_dir():
            frames.append(path)
            continue
        count = len(frames)
        for folder in _folders(path) if subfolders else (path,):
            try:
                inside, companions = raw_frames_in(folder)
            except OSError as error:
                raise InputError(f"{folder}: cannot be listed ({error.strerror})") from error
            frames += inside
            companion = companion or next(iter(companions), None)
        if len(frames) == count and len(named) > 1:
            frames.append(path)
        elif len(frames) == count:
            raise InputError(f"{path}: no raw frame in it; name the frames or their folder")
    return frames, companion


def _folders(top: Path) -> Iterator[Path]:
    """A folder and all below it, by name; links are not followed, so that it comes to an end."""

    def stop(error: OSError) -> None:
        raise InputError(f"{error.filename}: cannot be listed ({error.strerror})") from error

    for folder, below, _ in os.walk(top, onerror=stop):
        below.sort()
        yield Path(folder)


def check_names(frames: Iterable[Path]) -> None:
    """Raise InputError if two frames would write the same zone map."""
    taken: dict[str, Path] = {}
    for frame in frames:
        other = taken.setdefault(frame.stem, frame)
        if other.resolve() != frame.resolve():
            raise InputError(
                f"{frame}: has the stem of {other}, and one zone map would overwrite the other; "
                "check them apart"
            )


def check_apart(written: Path, folder: Path, named: Iterable[Path]) -> None:
    """Raise InputError if a ``folder`` to write into holds a named frame or lies in a named folder.

    ``written`` is what would lie there.
    """
    there = folder.resolve()
    for path in named:
        own = path.resolve()
        if there.is_relative_to(own) if own.is_dir() else there == own.parent:
            raise InputError(
                f"{written}: would lie among the frames, where nothing is ever written; "
                "choose another folder"
            )


def load_plate(worker: Worker, task: Task) -> str | None:
    """Have the worker judge and keep the plate; a sentence if it is no good one.

    Raises
    ------
    UnreadableError
        If it cannot be read.
    """
    record = _readable(worker, task, "plate")
    if not record["backdrop"]["found"]:
        return f"{task.path}: no white backdrop is found in this plate; take it of the lit set"
    if not record["plate"]:
        return f"{task.path}: somebody seems to stand in this plate; take it of the empty set"
    return None


def check_under(worker: Worker, task: Task) -> None:
    """Raise UnreadableError if an under frame cannot be read: the frames are not to blame."""
    _readable(worker, task, "under frame")


def _readable(worker: Worker, task: Task, what: str) -> dict[str, Any]:
    record = worker.judge(task).record
    if record["verdict"] == "unreadable":
        reason = record["reasons"][0]
        raise UnreadableError(f"{task.path}: no {what} ({reason['text']}); {reason['advice']}")
    return record


def by_one(worker: Worker) -> Judging:
    """Judge one frame after the other."""

    def judge(items: Iterable[Task | Reply]) -> Iterator[Reply]:
        for item in items:
            yield item if isinstance(item, Reply) else worker.judge(item)

    return judge


def judge_all(
    frames: Iterable[Path],
    *,
    judging: Judging,
    task: Task,
    zone_maps: Path | None = None,
    recorder: Recorder | None = None,
    resume: bool = False,
) -> Generator[Reply, None, None]:
    """Judge frames as `task` says; store the records if there is a recorder.

    A frame is judged again where the frames before it, in the order given, show that its clip
    levels are others. So the number of processes has no part in the records.

    Parameters
    ----------
    task : Task
        Plate, under frame, look and limits for all; its path is not used.
    zone_maps : Path, optional
        Folder that takes ``<stem>.zones.png``.
    resume : bool
        Take what is in the record already, of the same frame under the same rules, from there.
    """
    rules, clips = digest_of_rules(task), ClipMemory()
    keys: list[tuple[Path, Row | None]] = []

    def items() -> Iterator[Task | Reply]:
        for frame in frames:
            stored = _stored(recorder, frame, rules) if resume and recorder else None
            keys.append((frame, stored))
            yield _reply(stored) if stored else _task(task, frame, zone_maps, recorder)

    for reply in judging(items()):
        frame, stored = keys.pop(0)
        if stored is None and clips.moves(reply.record):
            again = replace(_task(task, frame, zone_maps, recorder), clips=clips)
            [reply] = judging([again])
        clips = clips.with_frame(reply.record)
        stamp = stamp_of(frame)
        if recorder is not None and stamp is not None and stored is None:
            name = reply.clip_map and f"{MAPS}/{Path(reply.clip_map).name}"
            recorder.add(Row(str(frame.absolute()), stamp, reply.record | {RULES: rules}, name))
        yield reply


def digest_of_rules(task: Task) -> str:
    """A digest of what a verdict depends on beside its frame: limits, plate, version."""
    others = [(path, path and stamp_of(path)) for path in (task.plate, task.under)]
    text = repr((__version__, task.look, astuple(task.limits), others))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _task(task: Task, frame: Path, zone_maps: Path | None, recorder: Recorder | None) -> Task:
    name = f"{safe_name(frame.absolute(), stamp_of(frame))}.jpg"
    return replace(
        task,
        path=str(frame),
        zone_map=str(zone_maps / f"{frame.stem}.zones.png") if zone_maps else None,
        clip_map=str(recorder.folder / MAPS / name) if recorder else None,
    )


def _stored(recorder: Recorder, frame: Path, rules: str) -> Row | None:
    """The row of a frame as it is now, judged by the same rules; None to judge it again."""
    stamp = stamp_of(frame)
    row = recorder.row(str(frame.absolute()), stamp) if stamp is not None else None
    if row is None or row.verdict == "unreadable" or row.record.get(RULES) != rules:
        return None
    return row


def _reply(row: Row) -> Reply:
    record = {key: value for key, value in row.record.items() if key != RULES}
    return Reply(record, row.clip_map, stored=True)
