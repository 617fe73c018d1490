"""`inspector room`: which wall lights the subject, measured with flags or foretold from a plan."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from inspector.commands.common import FILE, Command, time_limit_option
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
    from inspector.plan import Plan
    from inspector.room import Audit

HEADS = {"left": "left side", "right": "right side", "top": "facing up", "front": "front"}


def measure(name: str, default: float, text: str) -> Callable[[Command], Command]:
    """An option of the plan that takes a number."""
    return click.option(
        name, type=float, default=default, show_default=True, metavar="NUMBER", help=f"Plan: {text}"
    )


def metres(
    ctx: click.Context, param: click.Parameter, value: str | None
) -> tuple[float, ...] | None:
    """Read lengths with an x between them."""
    if value is None:
        return None
    count = 3 if param.name == "plan" else 2
    try:
        found = tuple(float(part) for part in value.lower().replace("×", "x").split("x"))
    except ValueError:
        found = ()
    if len(found) != count or not all(0 < length < 1000 for length in found):
        raise click.BadParameter(f"{value!r}; give {count} lengths in metres: {param.metavar}")
    return found


@click.command()
@click.option("--open", "open_frame", type=FILE, metavar="FRAME", help="No surface flagged.")
@click.option(
    "--flag",
    "flags",
    multiple=True,
    metavar="NAME=FRAME",
    help="The same pose with that surface hung with black; once for each surface.",
)
@click.option(
    "--plan",
    callback=metres,
    metavar="WxLxH",
    help="Foretell a room of this width, length and height in metres.",
)
@measure("--wall", 0.85, "reflectance of the walls; white paint 0.8 to 0.9.")
@click.option(
    "--ceiling", type=float, metavar="NUMBER", help="Plan: that of the ceiling.  [default: --wall]"
)
@measure("--floor", 0.3, "that of the floor.")
@measure("--openings", 0.0, "part of the surface that sends nothing back: doors, curtains.")
@click.option(
    "--background",
    callback=metres,
    default="2.7x1.8",
    show_default=True,
    metavar="WxH",
    help="Plan: width and height of the lit background, metres.",
)
@measure("--behind", 0.3, "metres from the wall to the background.")
@measure("--distance", 2.0, "metres from the background to the subject.")
@click.option(
    "--from-left",
    type=float,
    metavar="NUMBER",
    help="Plan: metres from the left wall to the subject.  [default: the middle]",
)
@measure("--height", 1.3, "height of the subject's middle, metres.")
@measure("--subject", 0.36, "reflectance of the subject; light skin 0.36, white cloth 0.8.")
@measure("--over", 0.5, "stops by which the background is over white.")
@flash_option
@picture_option
@json_option
@time_limit_option
def room(
    open_frame: Path | None,
    flags: tuple[str, ...],
    flash: bool,
    picture: Path | None,
    as_json: bool,
    time_limit: float,
    **planned: Any,
) -> None:
    """Tell how much light each surface of a small room throws on the subject.

    Measured: one frame as it is, and one of the same pose (a stand-in or a grey ball will do) for
    each surface hung with black. Foretold: from the room's measures. Or both, side by side. The
    exit status is 0, or 1 if the frames cannot be compared, 2 on wrong usage, 3 if a frame cannot
    be read.

    \b
    Examples:
      inspector room --open open.dng --flag left=left.dng --flag ceiling=ceiling.dng
      inspector room --plan 4x5x2.6 --wall 0.85 --distance 2.5
    """
    from inspector.batch import InputError

    with job_errors():
        if (open_frame is None) != (not flags):
            raise InputError("give --open FRAME and at least one --flag NAME=FRAME together")
        if open_frame is None and planned["plan"] is None:
            raise InputError("give --open and --flag to measure, --plan to foretell, or all three")
        if picture is not None and open_frame is None:
            raise InputError("--picture draws what was measured; give --open and --flag")
        foretold = _plan(planned) if planned["plan"] is not None else None
        measured = None
        if open_frame is not None:
            measured = _audit(open_frame, flags, flash, time_limit, picture)
        if as_json:
            print_json(as_record(measured, foretold))
        else:
            for line in told(measured, foretold):
                click.echo(line)
        if picture is not None and measured is not None:
            from inspector.report import roommap

            save_picture(picture, lambda: roommap.draw(measured))
    sys.exit(0)


def _audit(
    open_frame: Path, flags: tuple[str, ...], flash: bool, seconds: float, picture: Path | None
) -> Audit:
    from inspector.batch import InputError
    from inspector.load import load_frames
    from inspector.room import audit

    paths: dict[str, Path] = {}
    for flag in flags:
        surface, equals, path = flag.partition("=")
        surface = surface.strip()
        if not equals or not surface or not path:
            raise InputError(f"--flag {flag}: give a surface's name and its frame, as left=FRAME")
        if surface in paths:
            raise InputError(f"--flag {flag}: {surface} is named twice; one frame a surface")
        paths[surface] = Path(path)
    check_picture(picture, [open_frame, *paths.values()])
    first, *rest = load_frames([open_frame, *paths.values()], seconds=seconds)
    return audit(first, dict(zip(paths, rest, strict=True)), flash=flash)


def _plan(given: dict[str, Any]) -> Plan:
    from inspector.batch import InputError
    from inspector.plan import PlanError, Room, Setup, plan

    width, length, height = given["plan"]
    ceiling = given["wall"] if given["ceiling"] is None else given["ceiling"]
    try:
        return plan(
            Room(width, length, height, given["wall"], ceiling, given["floor"], given["openings"]),
            Setup(
                given["background"],
                given["behind"],
                given["distance"],
                given["from_left"],
                given["height"],
                given["subject"],
                given["over"],
            ),
        )
    except PlanError as error:
        raise InputError(str(error)) from error


def told(measured: Audit | None, foretold: Plan | None) -> list[str]:
    """What is said of a room, line by line, the answer first."""
    lines = []
    if measured is not None:
        lines += _measured(measured, foretold)
    if foretold is not None:
        lines += _foretold(foretold)
    return lines


def _measured(found: Audit, foretold: Plan | None) -> list[str]:
    from inspector.report.figures import stops, window
    from inspector.report.roommap import percent
    from inspector.room import ALL

    lines = [f"{name(found.open.frame.path)}: {found.sentence}"]
    parts = [part for part in HEADS if part in found.rest]
    head = "".join(f"{HEADS[part]:>12}" for part in parts)
    lines.append(f"  {'light from':<12}{head}{'all of it':>16}   a flag wins")
    for surface in found.surfaces:
        row = "".join(f"{percent(surface.shares[part].fraction):>12}" for part in parts)
        share = surface.shares[ALL]
        whole = f"{percent(share.fraction)} ± {max(100 * share.error, 0.1):.1f}"
        lines.append(
            f"  {surface.name:<12}{row}{whole:>16}   {stops(share.win_ev)} stops, "
            f"{_depth(surface.depth_ev)}, window {window(surface.window)}"
        )
    rest = "".join(f"{percent(found.rest[part]):>12}" for part in parts)
    lines.append(f"  {'elsewhere':<12}{rest}{percent(found.rest[ALL]):>16}")
    if len(found.surfaces) > 1:
        lines.append(f"  with all of these flags {_depth(found.depth_ev)}")
    if foretold is not None:
        by_name = {s.name: s for s in foretold.surfaces}
        both = [s for s in found.surfaces if s.name in by_name and "front" in s.shares]
        lines += [
            f"  {s.name}: measured {percent(s.shares['front'].fraction)} of the front's light, "
            f"foretold {percent(by_name[s.name].shares['front'])}"
            for s in both
        ]
    lines += [
        f"  {s.name}: the light had strayed by {stops(s.light_ev)} stops, taken off"
        for s in found.surfaces
        if s.light_ev is not None and abs(s.light_ev) >= 0.02
    ]
    return lines


def _foretold(found: Plan) -> list[str]:
    from inspector.report.figures import stops
    from inspector.report.roommap import percent

    best = found.surfaces[0]
    lines = [
        f"plan: about {stops(found.depth_ev)} stops under white, "
        f"{stops(found.flagged_depth_ev)} with {best.name} flagged, "
        f"{stops(found.black_depth_ev)} in a room all black; good to half a stop"
    ]
    head = "".join(f"{title:>12}" for title in HEADS.values())
    lines.append(f"  {'light from':<12}{head}   a flag wins on the front")
    for surface in found.surfaces:
        row = "".join(f"{percent(surface.shares[face]):>12}" for face in HEADS)
        lines.append(f"  {surface.name:<12}{row}   {stops(surface.win_ev['front'])} stops")
    under = "".join(f"{stops(found.under_ev[face]):>12}" for face in HEADS)
    lines.append(f"  {'stops under':<12}{under}   the background, on white")
    return lines


def _depth(ev: float | None) -> str:
    return "depth unknown" if ev is None else f"then {ev:.1f} stops under white"


def as_record(measured: Audit | None, foretold: Plan | None) -> dict[str, Any]:
    """The room for JSON; fractions 0 to 1, stops."""
    return {
        "measured": measured
        and {
            "open": measured.open.frame.path,
            "sentence": measured.sentence,
            "depth_ev": measured.open.exposure.depth_ev,
            "depth_all_flagged_ev": measured.depth_ev,
            "cannot_be_told_apart": measured.tied,
            "rest": measured.rest,
            "surfaces": [asdict(surface) for surface in measured.surfaces],
        },
        "foretold": foretold and asdict(foretold),
    }
