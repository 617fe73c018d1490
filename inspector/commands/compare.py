"""`inspector compare`: what has changed between two frames of the same pose."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from inspector.commands.common import FILE, time_limit_option
from inspector.commands.jobs import (
    check_picture,
    flash_option,
    job_errors,
    json_option,
    name,
    picture_option,
    print_json,
    save_picture,
)

if TYPE_CHECKING:
    from inspector.compare import Comparison


@click.command()
@click.argument("before", type=FILE)
@click.argument("after", type=FILE)
@flash_option
@picture_option
@json_option
@time_limit_option
def compare(
    before: Path, after: Path, flash: bool, picture: Path | None, as_json: bool, time_limit: float
) -> None:
    """Tell what has changed from BEFORE to AFTER, two frames of the same pose.

    Panel in, light moved, power changed: stops gained or lost on the subject's sides, core, rim
    and background, as shot and of the light alone, the difference of the settings taken off. The
    exit status is 0 if they could be compared, 1 if not, 2 on wrong usage, 3 if a frame cannot be
    read.

    \b
    Examples:
      inspector compare panel-out.dng panel-in.dng
      inspector compare --picture panel.jpg panel-out.dng panel-in.dng
    """
    from inspector.compare import compare as compare_frames
    from inspector.load import load_frames

    with job_errors():
        check_picture(picture, (before, after))
        frames = load_frames((before, after), seconds=time_limit)
        found = compare_frames(*frames, flash=flash)
        if as_json:
            print_json(as_record(found))
        else:
            for line in told(found):
                click.echo(line)
        if picture is not None:
            from inspector.report import changemap

            save_picture(picture, lambda: changemap.draw(found))
    sys.exit(0)


def told(found: Comparison) -> list[str]:
    """What is said of a comparison, line by line, the answer first."""
    from inspector.report.changemap import label, value
    from inspector.report.figures import signed

    first, second = found.pair.first.frame.path, found.pair.second.frame.path
    lines = [
        f"{name(first)} to {name(second)}: {found.sentence}",
        f"  {'stops':<12}{'before':>9}{'after':>9}{'as shot':>9}   light alone",
    ]
    for change in found.changes:
        before, after, shot = (
            "–" if ev is None else signed(ev)
            for ev in (change.before_ev, change.after_ev, change.as_shot_ev)
        )
        lines.append(f"  {label(change.part):<12}{before:>9}{after:>9}{shot:>9}   {value(change)}")
    if not found.settings_known:
        lines.append("  the files do not tell aperture, shutter and ISO; taken as alike in both")
    x, y = found.pair.shift
    if abs(x) + abs(y) >= 1:
        lines.append(f"  the subject had moved by {x:.0f}, {y:.0f} pixels; laid on each other")
    return lines


def as_record(found: Comparison) -> dict[str, Any]:
    """The comparison for JSON; stops, pixels of the picture as viewed."""
    return {
        "before": found.pair.first.frame.path,
        "after": found.pair.second.frame.path,
        "sentence": found.sentence,
        "settings_ev": found.settings_ev if found.settings_known else None,
        "shift_px": list(found.pair.shift),
        "changes": [
            {
                "part": c.part,
                "before_ev": c.before_ev,
                "after_ev": c.after_ev,
                "as_shot_ev": c.as_shot_ev,
                "light_ev": c.light_ev,
                "is": c.known,
                "error_ev": c.error_ev,
            }
            for c in found.changes
        ],
    }
