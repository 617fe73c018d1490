"""`inspector check`: frames that lie there."""

from __future__ import annotations

import contextlib
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from inspector.commands.common import (
    EXIT_STATUS,
    FILE,
    FOLDER,
    chosen_limits,
    limit_options,
    look_option,
    plain_errors,
    printer,
    say,
    time_limit_option,
)

if TYPE_CHECKING:
    from inspector.recorder import Recorder


@click.command()
@click.argument("frames", nargs=-1, required=True, type=FILE, metavar="FRAME...")
@click.option("--plate", type=FILE, metavar="FRAME", help="The same set with nobody in it.")
@click.option(
    "--under", type=FILE, metavar="FRAME", help="The same pose, one to three stops darker."
)
@look_option
@click.option(
    "--mask-out", type=FOLDER, help="Write <stem>.zones.png: 0 surround, 1 backdrop, 2 subject."
)
@click.option("--report", type=FOLDER, help="Write clip maps and the record into this folder.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object a line.")
@click.option("-q", "--quiet", is_flag=True, help="Print only the frames that do not pass.")
@time_limit_option
@limit_options
def check(
    frames: tuple[Path, ...],
    plate: Path | None,
    under: Path | None,
    look: str,
    mask_out: Path | None,
    report: Path | None,
    as_json: bool,
    quiet: bool,
    time_limit: float,
    limits_file: Path | None,
    **limits: float | None,
) -> None:
    """Judge raw frames, or the raw frames in folders.

    The exit status is 0 if all pass, 1 if some warn, 2 on wrong usage, 3 if some frame cannot be
    read.

    \b
    Examples:
      inspector check sample_frames/*.dng
      inspector check --plate empty.dng --report report evening/
      inspector check --json --look filled frame.dng
    """
    from inspector.batch import check_names, frames_of, judge_all, load_plate
    from inspector.terminal import Progress
    from inspector.worker import Task, Worker

    verdicts = []
    with plain_errors(), contextlib.ExitStack() as stack:
        task = Task("", look=look, limits=chosen_limits(limits_file, limits), under=_text(under))
        named, companion = frames_of(frames)
        if companion is not None:
            say(f"{companion}: not a raw frame; left alone, as are all of its kind")
        if mask_out is not None:
            check_names(named)
            mask_out.mkdir(parents=True, exist_ok=True)
        recorder = _recorder(report, stack)
        worker = stack.enter_context(Worker(seconds=time_limit))
        worker.start()
        if plate is not None:
            say(load_plate(worker, replace(task, path=str(plate), under=None)))
            task = replace(task, plate=str(plate))
        show = printer(named, as_json=as_json, quiet=quiet)
        progress = Progress(len(named), sys.stderr, time.monotonic)
        for reply in judge_all(
            named, worker=worker, task=task, zone_maps=mask_out, recorder=recorder
        ):
            progress.clear()
            show(reply.record)
            say(reply.trouble)
            say(recorder.flush() if recorder is not None else None)
            verdicts.append(reply.record["verdict"])
            progress.show(len(verdicts))
        progress.clear()
    sys.exit(max(EXIT_STATUS[verdict] for verdict in verdicts))


def _text(path: Path | None) -> str | None:
    return None if path is None else str(path)


def _recorder(report: Path | None, stack: contextlib.ExitStack) -> Recorder | None:
    if report is None:
        return None
    from inspector.recorder import Recorder

    recorder = Recorder(report)
    stack.callback(recorder.close)
    return recorder
