"""What the jobs beside checking have in common: errors, pictures, JSON."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from inspector.commands.common import EXIT_STATUS, FILE, Command, end, plain_errors

if TYPE_CHECKING:
    from inspector.report.lettering import Canvas

REFUSED = EXIT_STATUS["warn"]
"""The exit status where frames can be read but not be measured against each other."""
PICTURES = (".jpg", ".jpeg", ".png")


def picture_option(command: Command) -> Command:
    """``--picture``."""
    text = "Draw the result into this file, a JPEG or PNG."
    return click.option("--picture", type=FILE, metavar="FILE", help=text)(command)


def json_option(command: Command) -> Command:
    """``--json``."""
    return click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")(command)


def flash_option(command: Command) -> Command:
    """``--flash``."""
    text = "The light is flash alone: the shutter time does not change it."
    return click.option("--flash", is_flag=True, help=text)(command)


def numbers(
    count: int, kind: type[float]
) -> Callable[[click.Context, click.Parameter, str | None], tuple[Any, ...] | None]:
    """A callback that reads so many numbers with commas between them."""

    def read(
        ctx: click.Context, param: click.Parameter, value: str | None
    ) -> tuple[Any, ...] | None:
        if value is None:
            return None
        try:
            found = tuple(kind(part) for part in value.split(","))
        except ValueError:
            found = ()
        if len(found) != count or not all(map(isfinite, found)):
            raise click.BadParameter(f"{value!r}; give {count} numbers with commas between them")
        return found

    return read


@contextlib.contextmanager
def job_errors() -> Iterator[None]:
    """As ``plain_errors``, and for what several frames can have wrong with each other."""
    from inspector.bracket import BracketError
    from inspector.load import LoadError
    from inspector.pair import PairError
    from inspector.room import RoomError

    with plain_errors():
        try:
            yield
        except LoadError as error:
            end(str(error), EXIT_STATUS["unreadable"])
        except (BracketError, PairError, RoomError) as error:
            end(str(error), REFUSED)


def check_picture(picture: Path | None, frames: Iterable[Path]) -> None:
    """Raise InputError if a picture would go among the frames, or cannot be drawn."""
    from inspector.batch import InputError, check_apart

    if picture is None:
        return
    if picture.suffix.lower() not in PICTURES:
        raise InputError(f"{picture}: pictures are {', '.join(PICTURES)}; choose such a name")
    home = picture.absolute().parent
    if not home.is_dir():
        raise InputError(f"{picture}: there is no such folder; make it first")
    check_apart(picture, home, frames)


def save_picture(picture: Path | None, draw: Callable[[], Canvas]) -> None:
    """Draw and write a picture, whole or not at all."""
    if picture is None:
        return
    import cv2

    from inspector.files import write_whole
    from inspector.report.clipmap import QUALITY

    jpeg = picture.suffix.lower() != ".png"
    _, data = cv2.imencode(".jpg" if jpeg else ".png", draw(), QUALITY if jpeg else [])
    write_whole(picture, data.tobytes())


def print_json(found: Mapping[str, Any]) -> None:
    """One object, one line; a figure that is no number must not pass for one."""
    click.echo(json.dumps(found, allow_nan=False))


def name(path: str | os.PathLike[str]) -> str:
    """A frame's name for a terminal."""
    from inspector.terminal import plain

    return plain(Path(path).name)
