"""The command line. Commands read options, call one function, print, set the exit status.

Everything beyond click is imported inside the commands, so that help is there at once.
"""

from __future__ import annotations

import contextlib
import errno
import json
import signal
import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

import click

from inspector import __version__
from inspector.limits import LOOKS, Limits, LimitsError, meanings, read_limits, with_limits

if TYPE_CHECKING:
    from inspector.hotfolder import Inbox
    from inspector.lane import Event
    from inspector.recorder import Recorder

EXIT_STATUS = {"pass": 0, "warn": 1, "unreadable": 3}
WRONG_USAGE = 2

Command = TypeVar("Command", bound=Callable[..., Any])
FILE = click.Path(path_type=Path)
FOLDER = click.Path(path_type=Path, file_okay=False)


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, package_name="inspector")
def main() -> None:
    """Tell whether a raw frame's white background is white, and whether it spills.

    A verdict, a clip map and one piece of advice for every frame of a silhouette or
    white-background set, while it is shot.

    \b
    Examples:
      inspector demo                     see it at work on the sample frames
      inspector watch ~/evening          judge frames as they land in a folder
      inspector check evening/*.dng      judge frames that lie there
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a shape the terminal lacks is no reason to stop


def _limit_options(command: Command) -> Command:
    """One option for each limit, and the file that sets several."""
    for name, (default, meaning) in reversed(meanings().items()):
        option = f"--{name.replace('_', '-')}"
        text = f"Limit: {meaning}.  [default: {default:g}]"
        command = click.option(option, name, type=float, metavar="NUMBER", help=text)(command)
    return click.option(
        "--limits",
        "limits_file",
        type=FILE,
        metavar="FILE",
        help="Take limits from the table [limits] of a TOML file; options go before it.",
    )(command)


def _look_option(command: Command) -> Command:
    return click.option(
        "--look",
        type=click.Choice(LOOKS),
        default=LOOKS[0],
        show_default=True,
        help="How dark the subject is meant to be.",
    )(command)


def _time_limit_option(command: Command) -> Command:
    return click.option(
        "--time-limit",
        type=click.FloatRange(min=0.1),
        default=30.0,
        show_default=True,
        metavar="SECONDS",
        help="Give a frame up after so long.",
    )(command)


@main.command()
@click.argument("frames", nargs=-1, required=True, type=FILE, metavar="FRAME...")
@click.option("--plate", type=FILE, metavar="FRAME", help="The same set with nobody in it.")
@click.option(
    "--under", type=FILE, metavar="FRAME", help="The same pose, one to three stops darker."
)
@_look_option
@click.option(
    "--mask-out", type=FOLDER, help="Write <stem>.zones.png: 0 surround, 1 backdrop, 2 subject."
)
@click.option("--report", type=FOLDER, help="Write clip maps and the record into this folder.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object a line.")
@click.option("-q", "--quiet", is_flag=True, help="Print only the frames that do not pass.")
@_time_limit_option
@_limit_options
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
    from inspector.worker import Task, Worker

    verdicts = []
    with _plain_errors(), contextlib.ExitStack() as stack:
        task = Task("", look=look, limits=_limits(limits_file, limits), under=_text(under))
        named, companion = frames_of(frames)
        if companion is not None:
            _say(f"{companion}: not a raw frame; left alone, as are all of its kind")
        if mask_out is not None:
            check_names(named)
            mask_out.mkdir(parents=True, exist_ok=True)
        recorder = _recorder(report, stack)
        worker = stack.enter_context(Worker(seconds=time_limit))
        worker.start()
        if plate is not None:
            _say(load_plate(worker, replace(task, path=str(plate), under=None)))
            task = replace(task, plate=str(plate))
        show = _printer(named, as_json=as_json, quiet=quiet)
        for reply in judge_all(
            named, worker=worker, task=task, zone_maps=mask_out, recorder=recorder
        ):
            show(reply.record)
            _say(reply.trouble)
            _say(recorder.flush() if recorder is not None else None)
            verdicts.append(reply.record["verdict"])
    sys.exit(max(EXIT_STATUS[verdict] for verdict in verdicts))


@main.command()
@click.argument("folder", type=FILE)
@click.option(
    "--report", type=FOLDER, help="Where clip maps and the record go.  [default: FOLDER-report]"
)
@click.option("--plate", type=FILE, metavar="FRAME", help="The same set with nobody in it.")
@click.option("--last-plate", is_flag=True, help="Take the last frame with nobody in it as plate.")
@_look_option
@click.option("--existing", is_flag=True, help="Judge the frames that lie there already, too.")
@click.option("--subfolders", is_flag=True, help="Look into subfolders.")
@click.option("--follow-links", is_flag=True, help="Follow links that lead out of the folder.")
@click.option(
    "--poll",
    type=click.FloatRange(min=0.05),
    metavar="SECONDS",
    help="Look into the folder every so often, where the system sends no events. By itself on "
    "network shares.",
)
@_time_limit_option
@_limit_options
def watch(
    folder: Path,
    report: Path | None,
    limits_file: Path | None,
    **options: Any,
) -> None:
    """Judge frames as they land in the hot folder. Ctrl-C ends it.

    Nothing is written into the hot folder. After a break, name the same folders again: what came
    meanwhile is judged, what was judged is not judged twice.

    \b
    Examples:
      inspector watch ~/evening
      inspector watch ~/evening --plate ~/evening/empty.dng --report ~/evening-report
      inspector watch /mnt/share/evening --poll 2 --subfolders
    """
    from inspector.session import Setup, default_report, follow_set

    limits = {name: options.pop(name) for name in meanings()}
    with _plain_errors():
        setup = Setup(
            folder,
            report or default_report(folder),
            limits=_limits(limits_file, limits),
            **options,
        )
        with _stoppable() as inbox:
            _say(f"{folder}: watching; clip maps and record go to {setup.report}; Ctrl-C ends")
            show_set(follow_set(setup, inbox))


@main.command()
def demo() -> None:
    """See the main job at work: sample frames land in a temporary hot folder.

    \b
    Example:
      inspector demo
    """
    from inspector.demo import run_demo

    with _plain_errors(), _stoppable() as inbox:
        show = run_demo(inbox)
        _say(f"{show.frames} frames of a fencing club's poster evening land in {show.hot_folder}")
        readable = show_set(show.events)
        click.echo(f"The report folder, with a clip map of every frame: {show.report}")
    sys.exit(0 if readable == show.frames else 1)


@main.command()
@click.argument("report", type=FOLDER)
@click.option(
    "--format",
    "form",
    type=click.Choice(["jsonl", "csv"]),
    default="jsonl",
    show_default=True,
    help="JSON Lines, or a table for a spreadsheet.",
)
def export(report: Path, form: str) -> None:
    """Print the record of a set.

    \b
    Example:
      inspector export ~/evening-report --format csv > evening.csv
    """
    from inspector.export import csv_lines, json_lines
    from inspector.record import read_rows

    with _plain_errors():
        lines = (csv_lines if form == "csv" else json_lines)(read_rows(report))
        for line in lines:
            click.echo(line)


def show_set(events: Iterable[Event]) -> int:
    """Print a live set and, at its end, the tally; how many frames could be read."""
    from inspector import terminal
    from inspector.lane import Judged

    show = _printer((), as_json=False, quiet=False)
    verdicts = []
    for event in events:
        if isinstance(event, Judged):
            show(event.row.record)
            verdicts.append(event.row.verdict)
        else:
            _say(event.text)
    click.echo(terminal.tally(verdicts))
    return len(verdicts) - verdicts.count("unreadable")


def _printer(
    frames: Iterable[Path], *, as_json: bool, quiet: bool
) -> Callable[[dict[str, Any]], None]:
    from inspector import terminal

    colour = terminal.wants_colour(sys.stdout)
    shapes = terminal.has_shapes(sys.stdout)
    width = terminal.name_width(map(str, frames))

    def show(record: dict[str, Any]) -> None:
        if quiet and record["verdict"] == "pass":
            return
        if as_json:
            line = json.dumps(record, allow_nan=False)
        else:
            line = terminal.verdict_line(record, width=width, colour=colour, shapes=shapes)
        click.echo(line, color=colour)

    return show


def _say(text: str | None) -> None:
    """A line beside the verdicts."""
    if text is not None:
        from inspector.terminal import plain

        click.echo(plain(text), err=True)


def _text(path: Path | None) -> str | None:
    return None if path is None else str(path)


def _limits(file: Path | None, options: dict[str, float | None]) -> Limits:
    given = {name: value for name, value in options.items() if value is not None}
    return with_limits(Limits() if file is None else read_limits(file), given)


def _recorder(report: Path | None, stack: contextlib.ExitStack) -> Recorder | None:
    if report is None:
        return None
    from inspector.recorder import Recorder

    recorder = Recorder(report)
    stack.callback(recorder.close)
    return recorder


@contextlib.contextmanager
def _plain_errors() -> Iterator[None]:
    """Turn what a user can mend into one line and an exit status."""
    from inspector.batch import InputError, PlateError
    from inspector.lock import LockedError
    from inspector.record import RecordError

    try:
        yield
    except PlateError as error:
        _end(str(error), EXIT_STATUS["unreadable"])
    except (InputError, LimitsError, LockedError, RecordError) as error:
        _end(str(error), WRONG_USAGE)
    except OSError as error:
        if error.errno == errno.EPIPE:
            raise  # click ends in silence when nobody reads on
        _end(f"{error.filename or 'the system'}: {error.strerror}", WRONG_USAGE)
    except KeyboardInterrupt:
        _end("interrupted", 128 + signal.SIGINT)


def _end(text: str, status: int) -> NoReturn:
    _say(text)
    sys.exit(status)


@contextlib.contextmanager
def _stoppable() -> Iterator[Inbox]:
    """An inbox into which the first Ctrl-C or SIGTERM puts a stop; the second ends at once."""
    import queue

    from inspector.watch import Message, Stop

    inbox: Inbox = queue.SimpleQueue[Message]()
    asked = False

    def stop(number: int, frame: FrameType | None) -> None:
        nonlocal asked
        if asked:
            raise KeyboardInterrupt
        asked = True
        inbox.put(Stop())

    before = {number: signal.signal(number, stop) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield inbox
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
