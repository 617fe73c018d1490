"""`inspector report`: the report of a set, for the one who retouches."""

from __future__ import annotations

from pathlib import Path

import click

from inspector.commands.common import FOLDER, plain_errors, say


@click.command()
@click.argument("report", type=FOLDER, metavar="REPORT_FOLDER")
@click.option(
    "--sidecars",
    is_flag=True,
    help="Copy the frames into the report folder, each with an XMP sidecar of verdict and reason.",
)
def report(report: Path, sidecars: bool) -> None:
    """Write the report of a set: a page to read or print, a table, and JSON Lines.

    report.html, report.csv and report.jsonl go into the report folder. The page holds all that it
    shows. Nothing is written into the hot folder.

    \b
    Examples:
      inspector report ~/evening-report
      inspector report --sidecars ~/evening-report
    """
    from inspector.report.setreport import write_report
    from inspector.report.sidecars import write_sidecars

    with plain_errors():
        written = write_report(report)
        click.echo(str(written.page))
        if sidecars:
            for sentence in write_sidecars(written.rows, report):
                say(sentence)
