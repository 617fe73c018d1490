"""`inspector export`: the record of a set, printed."""

from __future__ import annotations

from pathlib import Path

import click

from inspector.commands.common import FOLDER, plain_errors


@click.command()
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

    with plain_errors():
        lines = (csv_lines if form == "csv" else json_lines)(read_rows(report))
        for line in lines:
            click.echo(line)
