"""The command line. Commands read options, call one function, print, set the exit status.

Everything beyond click is imported inside the commands, so that help is there at once.
"""

from __future__ import annotations

import sys

import click

from inspector import __version__
from inspector.commands.bench import bench
from inspector.commands.check import check
from inspector.commands.compare import compare
from inspector.commands.drift import drift
from inspector.commands.export import export
from inspector.commands.live import demo, watch
from inspector.commands.plate import plate
from inspector.commands.ratio import ratio
from inspector.commands.report import report
from inspector.commands.room import room


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


for command in (demo, watch, check, report, export, plate, compare, ratio, drift, bench, room):
    main.add_command(command)
