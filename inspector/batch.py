"""Named frames, judged in the order given."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from inspector.files import raw_frames_in, safe_name, stamp_of
from inspector.record import MAPS, Row
from inspector.recorder import Recorder
from inspector.worker import Reply, Task, Worker


class InputError(ValueError):
    """What was named cannot be judged; the message is one sentence with the remedy."""


class PlateError(InputError):
    """The plate cannot be read."""


def frames_of(named: Iterable[Path]) -> tuple[list[Path], Path | None]:
    """The frames named, a folder standing for the raw frames inside; and a companion, if any.

    Raises
    ------
    InputError
        If a folder holds no raw frame or cannot be listed.
    """
    frames: list[Path] = []
    companion: Path | None = None
    for path in named:
        if not path.is_dir():
            frames.append(path)
            continue
        try:
            inside, companions = raw_frames_in(path)
        except OSError as error:
            raise InputError(f"{path}: cannot be listed ({error.strerror})") from error
        if not inside:
            raise InputError(f"{path}: no raw frame in it; name the frames or their folder")
        frames += inside
        companion = companion or next(iter(companions), None)
    return frames, companion


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


def load_plate(worker: Worker, task: Task) -> str | None:
    """Have the worker judge and keep the plate; a sentence if it is no good one.

    Raises
    ------
    PlateError
        If it cannot be read.
    """
    record = worker.judge(task).record
    if record["verdict"] == "unreadable":
        reason = record["reasons"][0]
        raise PlateError(f"{task.path}: no plate ({reason['text']}); {reason['advice']}")
    if not record["backdrop"]["found"]:
        return f"{task.path}: no white backdrop is found in this plate; take it of the lit set"
    if not record["plate"]:
        return f"{task.path}: somebody seems to stand in this plate; take it of the empty set"
    return None


def judge_all(
    frames: Iterable[Path],
    *,
    worker: Worker,
    task: Task,
    zone_maps: Path | None = None,
    recorder: Recorder | None = None,
) -> Iterator[Reply]:
    """Judge frames one by one as `task` says; store the records if there is a recorder.

    Parameters
    ----------
    task : Task
        Plate, under frame, look and limits for all; its path is not used.
    zone_maps : Path, optional
        Folder that takes ``<stem>.zones.png``.
    """
    for frame in frames:
        stamp = stamp_of(frame)
        clip_map = f"{MAPS}/{safe_name(frame.absolute(), stamp)}.jpg"
        one = replace(
            task,
            path=str(frame),
            zone_map=str(zone_maps / f"{frame.stem}.zones.png") if zone_maps else None,
            clip_map=str(recorder.folder / clip_map) if recorder else None,
        )
        reply = worker.judge(one)
        if recorder is not None and stamp is not None:
            row = Row(str(frame.absolute()), stamp, reply.record, reply.clip_map and clip_map)
            recorder.add(row)
        yield reply
