"""`inspector drift`, and the same in the lines of a set that is being watched."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from inspector.commands.common import EXIT_STATUS, FILE, FOLDER
from inspector.commands.jobs import job_errors, print_json

if TYPE_CHECKING:
    from inspector.lane import Event


@click.command()
@click.argument("report", type=FOLDER, metavar="REPORT_FOLDER")
@click.option(
    "--picture", type=FILE, metavar="FILE.svg", help="Draw the set from frame to frame, an SVG."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object an event.")
def drift(report: Path, picture: Path | None, as_json: bool) -> None:
    """Name the misfires and the drift of a set: flash, battery, a light that was knocked.

    `inspector watch` says the same while the set is shot. The exit status is 0 if nothing
    happened, 1 if something did, 2 on wrong usage.

    \b
    Examples:
      inspector drift ~/evening-report
      inspector drift --picture evening-drift.svg ~/evening-report
    """
    from inspector.batch import InputError, check_apart
    from inspector.drift import events_of
    from inspector.record import read_rows
    from inspector.terminal import plain, word

    with job_errors():
        if picture is not None and picture.suffix.lower() != ".svg":
            raise InputError(f"{picture}: the figure is an SVG; choose a name that ends in .svg")
        rows = list(read_rows(report))
        if picture is not None:
            check_apart(picture, picture.absolute().parent, (Path(row.path) for row in rows))
        records = [row.record for row in rows]
        events = events_of(records)
        for event in events:
            if as_json:
                print_json(asdict(event))
            else:
                click.echo(plain(event.text))
        if not events and not as_json:
            frames = "frame" if len(records) == 1 else "frames"
            click.echo(f"{len(records)} {frames}: no misfire, no drift")
        if picture is not None:
            from inspector.files import write_whole
            from inspector.report import driftchart

            lit = [each for each in records if word(each) != "under"]
            write_whole(picture, driftchart.draw(lit, events).encode())
    sys.exit(EXIT_STATUS["warn" if events else "pass"])


def with_drift(events: Iterable[Event]) -> Iterator[Event]:
    """Pass on a live set, with a line after each frame at which something happened."""
    from inspector.drift import State, follow
    from inspector.lane import Judged, Said

    state = State()
    for event in events:
        yield event
        if isinstance(event, Judged):
            state, found = follow(state, event.row.record)
            yield from (Said(each.text) for each in found)
