"""What the commands have in common: options, printing, and errors in one line."""

from __future__ import annotations

import contextlib
import errno
import json
import signal
import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, NoReturn, TypeVar

import click

from inspector.limits import LOOKS, Limits, LimitsError, meanings, read_limits, with_limits

EXIT_STATUS = {"pass": 0, "warn": 1, "unreadable": 3}
WRONG_USAGE = 2

FILE = click.Path(path_type=Path)
FOLDER = click.Path(path_type=Path, file_okay=False)

Command = TypeVar("Command", bound=Callable[..., Any])


def limit_options(command: Command) -> Command:
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


def look_option(command: Command) -> Command:
    """``--look``."""
    return click.option(
        "--look",
        type=click.Choice(LOOKS),
        default=LOOKS[0],
        show_default=True,
        help="How dark the subject is meant to be.",
    )(command)


def time_limit_option(command: Command) -> Command:
    """``--time-limit``."""
    return click.option(
        "--time-limit",
        type=click.FloatRange(min=0.1),
        default=30.0,
        show_default=True,
        metavar="SECONDS",
        help="Give a frame up after so long.",
    )(command)


def chosen_limits(file: Path | None, options: dict[str, float | None]) -> Limits:
    """Defaults, changed by the file, changed by the options that were given."""
    given = {name: value for name, value in options.items() if value is not None}
    return with_limits(Limits() if file is None else read_limits(file), given)


def printer(
    frames: Iterable[Path], *, as_json: bool, quiet: bool
) -> Callable[[dict[str, Any]], None]:
    """What prints a record to the standard output; ``frames`` set the width of names."""
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


def say(text: str | None) -> None:
    """A line beside the verdicts."""
    if text is not None:
        from inspector.terminal import plain

        click.echo(plain(text), err=True)


@contextlib.contextmanager
def plain_errors() -> Iterator[None]:
    """Turn what a user can mend into one line and an exit status."""
    from inspector.batch import InputError, UnreadableError
    from inspector.lock import LockedError
    from inspector.record import RecordError
    from inspector.worker import WorkerError

    try:
        yield
    except UnreadableError as error:
        end(str(error), EXIT_STATUS["unreadable"])
    except (InputError, LimitsError, LockedError, RecordError, WorkerError) as error:
        end(str(error), WRONG_USAGE)
    except OSError as error:
        if error.errno == errno.EPIPE:
            raise  # click ends in silence when nobody reads on
        end(f"{error.filename or 'the system'}: {error.strerror}", WRONG_USAGE)
    except KeyboardInterrupt:
        end("interrupted", 128 + signal.SIGINT)


def end(text: str, status: int) -> NoReturn:
    """Say a last line and end with an exit status."""
    say(text)
    sys.exit(status)
