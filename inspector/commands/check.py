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
    from inspector.batch import Judging
    from inspector.recorder import Recorder
    from inspector.worker import Task


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
@click.option(
    "--resume", is_flag=True, help="Take what --report holds already from there, judge the rest."
)
@click.option("--subfolders", is_flag=True, help="Look into the folders' subfolders.")
@click.option(
    "--jobs",
    type=click.IntRange(min=1),
    metavar="NUMBER",
    help="Frames judged at a time.  [default: as many as there are processors, for many frames]",
)
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Judge on the workers of a Dask scheduler, as tcp://studio:8786, which see the same "
    "folders; needs the optional extra `cluster`. --jobs and --time-limit have no say there.",
)
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
    resume: bool,
    subfolders: bool,
    jobs: int | None,
    cluster: str | None,
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
      inspector check --subfolders --report archive-report --resume archive/
    """
    from inspector.batch import InputError, check_apart, check_names, frames_of, judge_all
    from inspector.terminal import PROGRESS_FROM, Progress, Tally
    from inspector.worker import Task

    begin, tally = time.monotonic(), Tally()
    with plain_errors(), contextlib.ExitStack() as stack:
        if resume and report is None:
            raise InputError("--resume goes on with what --report holds; name that folder")
        task = Task("", look=look, limits=chosen_limits(limits_file, limits), under=_text(under))
        named, companion = frames_of(frames, subfolders=subfolders)
        if companion is not None:
            say(f"{companion}: not a raw frame; left alone, as are all of its kind")
        for folder in (mask_out, report):
            if folder is not None:
                check_apart(folder, folder, frames)
        if mask_out is not None:
            check_names(named)
            mask_out.mkdir(parents=True, exist_ok=True)
        recorder = _recorder(report, stack)
        if plate is not None:
            task = replace(task, plate=str(plate))
        judging = _judging(task, len(named), jobs, cluster, time_limit, stack)
        show = printer(named, as_json=as_json, quiet=quiet)
        progress = Progress(len(named), sys.stderr, time.monotonic)
        replies = judge_all(
            named, judging=judging, task=task, zone_maps=mask_out, recorder=recorder, resume=resume
        )
        for done, reply in enumerate(stack.enter_context(contextlib.closing(replies)), 1):
            progress.clear()
            show(reply.record)
            say(reply.trouble)
            say(recorder.flush() if recorder is not None else None)
            tally.add(reply.record, stored=reply.stored)
            progress.show(done)
        progress.clear()
        if len(named) >= PROGRESS_FROM:
            say(tally.text(time.monotonic() - begin))
    sys.exit(max(EXIT_STATUS[verdict] for verdict in tally.verdicts))


def _judging(
    task: Task,
    frames: int,
    jobs: int | None,
    cluster: str | None,
    seconds: float,
    stack: contextlib.ExitStack,
) -> Judging:
    """One process, several, or a cluster; plate and under frame are looked at before all else."""
    from inspector.batch import by_one, check_under, load_plate
    from inspector.parallel import in_parallel, processes_for
    from inspector.worker import Worker

    count = 1 if cluster is not None else jobs or processes_for(frames)
    workers = [stack.enter_context(Worker(seconds=seconds)) for _ in range(count)]
    if cluster is None:
        for worker in workers:
            worker.start()
    alone = replace(task, plate=None, under=None)
    if task.plate is not None:
        say(load_plate(workers[0], replace(alone, path=task.plate)))
    if task.under is not None:
        check_under(workers[0], replace(alone, path=task.under))
    if cluster is not None:
        from inspector.cluster import on_cluster

        return on_cluster(cluster)
    return by_one(workers[0]) if count == 1 else in_parallel(workers)


def _text(path: Path | None) -> str | None:
    return None if path is None else str(path)


def _recorder(report: Path | None, stack: contextlib.ExitStack) -> Recorder | None:
    if report is None:
        return None
    from inspector.recorder import Recorder

    recorder = Recorder(report)
    stack.callback(recorder.close)
    return recorder
