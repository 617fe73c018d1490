"""`inspector ratio`: the lighting ratio between two points."""

from __future__ import annotations

import sys
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from inspector.commands.common import EXIT_STATUS, FILE, say, time_limit_option
from inspector.commands.jobs import (
    check_picture,
    job_errors,
    json_option,
    name,
    numbers,
    picture_option,
    print_json,
    save_picture,
)

if TYPE_CHECKING:
    from inspector.clip import Clip
    from inspector.frame import Frame
    from inspector.ratio import LightingRatio

Point = tuple[float, float]


class Points(NamedTuple):
    """The two points, the side of their patches, and whether a face gave them surely."""

    lit: Point
    shadow: Point
    size: float | None
    face: str | None


@click.command()
@click.argument("frame", type=FILE)
@click.option(
    "--lit", callback=numbers(2, float), metavar="X,Y", help="A point on the lit side, in pixels."
)
@click.option(
    "--shadow", callback=numbers(2, float), metavar="X,Y", help="A point on the shadow side."
)
@click.option(
    "--size",
    type=click.FloatRange(min=1),
    metavar="PIXELS",
    help="Side of the patch that is read around each point.  [default: 1 % of the long side]",
)
@click.option(
    "--face",
    is_flag=True,
    help="Find the face and propose both cheeks; needs the optional extra `face`.",
)
@picture_option
@json_option
@time_limit_option
def ratio(
    frame: Path,
    lit: Point | None,
    shadow: Point | None,
    size: float | None,
    face: bool,
    picture: Path | None,
    as_json: bool,
    time_limit: float,
) -> None:
    """Tell the lighting ratio between the lit and the shadow side, from the raw levels.

    In stops and as n:1, with its uncertainty. The exit status is 0, or 1 if a point is clipped or
    in the noise or a face is not sure, 2 on wrong usage, 3 if the frame cannot be read.

    \b
    Examples:
      inspector ratio --lit 400,300 --shadow 300,310 portrait.dng
      inspector ratio --face portrait.dng
    """
    from inspector.batch import InputError
    from inspector.levels import measure_clip
    from inspector.load import load_frames
    from inspector.ratio import lighting_ratio

    with job_errors():
        if face == (lit is not None and shadow is not None) or (lit is None) != (shadow is None):
            raise InputError("give --lit X,Y and --shadow X,Y, or --face alone")
        check_picture(picture, [frame])
        (decoded,) = load_frames([frame], seconds=time_limit)
        clip = measure_clip(decoded)
        if lit is not None and shadow is not None:
            points = Points(lit, shadow, size, None)
        else:
            points = _from_face(decoded, clip, size)
        try:
            found = lighting_ratio(
                decoded, clip, lit=points.lit, shadow=points.shadow, size=points.size
            )
        except ValueError as error:
            raise InputError(f"{frame}: {error}") from error
        if as_json:
            print_json(as_record(found, decoded.path, points))
        else:
            click.echo(f"{name(frame)}: {told(found)}")
        if picture is not None:
            from inspector.levels import measure_levels
            from inspector.report import ratiomap

            seen = measure_levels(decoded, clip=clip)
            save_picture(picture, lambda: ratiomap.draw(found, seen))
        warnings = [*found.warnings, *([points.face] if points.face else [])]
        for warning in warnings:
            say(f"{frame}: {warning}")
    sys.exit(EXIT_STATUS["warn" if warnings else "pass"])


def _from_face(frame: Frame, clip: Clip, size: float | None) -> Points:
    """Both cheeks, the brighter one as the lit."""
    from inspector.batch import InputError
    from inspector.cheeks import NoDetectorError, find_cheeks
    from inspector.levels import measure_levels
    from inspector.reading import read_point

    try:
        cheeks = find_cheeks(measure_levels(frame, clip=clip))
    except NoDetectorError as error:
        raise InputError(str(error)) from error
    if cheeks is None:
        raise InputError(f"{frame.path}: no face is found; give --lit X,Y and --shadow X,Y")
    side = size or max(1.0, cheeks.size)
    both = sorted(
        (cheeks.left, cheeks.right),
        key=lambda at: -read_point(frame, clip, *at, size=side).ev,
    )
    x0, y0, x1, y1 = cheeks.face
    doubt = None
    if not cheeks.sure:
        doubt = (
            f"the face at {x0},{y0} to {x1},{y1} is not sure; check it, or give --lit and --shadow"
        )
    return Points(both[0], both[1], side, doubt)


def told(found: LightingRatio) -> str:
    """The ratio in one line."""
    from inspector.report.figures import signed, stops
    from inspector.report.ratiomap import times

    ends = f"lit {signed(found.lit.ev)}, shadow {signed(found.shadow.ev)}"
    if found.stops is None or found.times is None:
        return f"no ratio ({ends}): both points are clipped"
    least = "at least " if found.state == "at_least" else ""
    text = f"{least}{times(found.times)}, {least}{stops(found.stops)} stops"
    if found.error_ev is not None:
        text += f" ± {max(ceil(found.error_ev * 100), 1) / 100:.2f}"
    if found.key_over_fill_ev is not None and found.key_over_fill_ev >= 0:
        text += f"; key {signed(found.key_over_fill_ev)} stops over a fill that lights both sides"
    return f"{text} ({ends} stops from white)"


def as_record(found: LightingRatio, path: str, points: Points) -> dict[str, Any]:
    """The ratio for JSON."""
    return {
        "path": path,
        "stops": found.stops,
        "times": found.times,
        "error_ev": found.error_ev,
        "is": found.state,
        "key_over_fill_ev": found.key_over_fill_ev,
        "lit": {"at": list(points.lit), "ev": found.lit.ev, "is": found.lit.state},
        "shadow": {"at": list(points.shadow), "ev": found.shadow.ev, "is": found.shadow.state},
        "warnings": list(found.warnings) + ([points.face] if points.face else []),
    }
