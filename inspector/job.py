"""One frame from file to record and clip map; runs in the worker's process."""

from __future__ import annotations

import json
import os
import traceback
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from inspector.decode import DecodeError, decode
from inspector.files import Stamp, stamp_of, write_whole
from inspector.frame import Frame
from inspector.inspect import Inspection, PlateError, Record, inspect, record, zone_mask
from inspector.recall import clip_with_memory
from inspector.report.clipmap import jpeg
from inspector.report.extras import extras
from inspector.under import UnderError
from inspector.worker import Reply, Task, refuse


class FrameJudge:
    """Judges frames; keeps the plate in use, so that it is decoded once."""

    def __init__(self) -> None:
        self._plate: tuple[str, Stamp | None, Inspection] | None = None

    def __call__(self, task: Task) -> Reply:
        """Decode, measure, judge, write. Every failure becomes a record that says so."""
        try:
            return self._judge(task)
        except DecodeError as error:
            return unreadable_reply(task.path, error)
        except MemoryError:
            why, remedy = "needs more memory than its limit", "take or copy the frame again"
            return Reply(refuse(task.path, "out-of-memory", why, remedy))
        except Exception as error:
            # A fault of ours must not stop the set, nor ever look like a pass.
            why = f"could not be measured ({_where(error)})"
            remedy = "keep the file and report it together with this line"
            return Reply(refuse(task.path, "not-measured", why, remedy))

    def _judge(self, task: Task) -> Reply:
        plate, trouble = self._plate_for(task)
        frame = decode(Path(task.path))
        under = decode(Path(task.under)) if task.under is not None else None
        inspection, refused = _inspect(task, frame, plate, under)
        clip_map, clip_trouble = _write(task.clip_map, lambda: jpeg(inspection))
        _, zone_trouble = _write(task.zone_map, lambda: _zones_png(inspection))
        if inspection.verdict.is_plate:
            self._plate = (task.path, stamp_of(task.path), inspection)
        troubles = (trouble, refused, clip_trouble, zone_trouble)
        said = "; ".join(text for text in troubles if text)
        kept = extras(inspection) if task.clip_map is not None else {}
        return Reply(_checked(record(inspection) | kept), clip_map, said or None)

    def _plate_for(self, task: Task) -> tuple[Inspection | None, str | None]:
        """The plate, and why it could not be had."""
        if task.plate is None or _same(task.plate, task.path):
            return None, None
        stamp = stamp_of(task.plate)
        if self._plate is None or self._plate[:2] != (task.plate, stamp):
            self._plate = None
            try:
                frame = decode(Path(task.plate))
            except DecodeError as error:
                return None, f"judged without a plate: {error}"
            self._plate = (task.plate, stamp, inspect(frame, look=task.look, limits=task.limits))
        return self._plate[2], None


def _inspect(
    task: Task, frame: Frame, plate: Inspection | None, under: Frame | None
) -> tuple[Inspection, str | None]:
    """Inspect a frame; without its plate or under frame, and why, where they do not fit it."""
    clip = clip_with_memory(frame, task.clips) if task.clips.seen else None
    try:
        seen = inspect(
            frame, plate=plate, under=under, clip=clip, look=task.look, limits=task.limits
        )
    except PlateError as error:
        seen, more = _inspect(task, frame, None, under)
        why = f"{task.path}: judged without the plate: {error}"
        return seen, f"{why}; {more}" if more else why
    except UnderError as error:
        seen, more = _inspect(task, frame, plate, None)
        why = f"{task.path}: judged without the under frame: {error}"
        return seen, f"{why}; {more}" if more else why
    return seen, None


def unreadable_reply(path: str, error: DecodeError) -> Reply:
    """From the decoder's one sentence, `path: what is wrong; what to do`."""
    text = str(error).removeprefix(f"{path}: ")
    why, _, remedy = text.rpartition("; ")
    record = refuse(path, "unreadable", why or text, remedy if why else "take the frame again")
    return Reply(record, retry=True)


def _checked(record: Record) -> Record:
    """The record, sure to be JSON: a figure that is no number must not pass for one."""
    json.dumps(record, allow_nan=False)
    return record


def _same(a: str, b: str) -> bool:
    return os.path.realpath(a) == os.path.realpath(b)


def _write(target: str | None, encode: Callable[[], bytes]) -> tuple[str | None, str | None]:
    """Write a picture whole; (its name, None), or (None, what went wrong) when the disk refuses."""
    if target is None:
        return None, None
    try:
        write_whole(Path(target), encode())
    except OSError as error:
        folder = Path(target).parent
        return None, f"{folder}: cannot be written ({error.strerror}); its pictures are left out"
    return target, None


def _zones_png(inspection: Inspection) -> bytes:
    mask = zone_mask(inspection)
    _, data = cv2.imencode(".png", np.ascontiguousarray(mask))
    return data.tobytes()


def _where(error: Exception) -> str:
    last = traceback.extract_tb(error.__traceback__)[-1]
    return f"{type(error).__name__}: {error}, {Path(last.filename).name} line {last.lineno}"
