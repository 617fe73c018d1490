"""`inspector plate`: the empty set, before the talent is called."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from inspector.commands.common import (
    EXIT_STATUS,
    FILE,
    chosen_limits,
    limit_options,
    time_limit_option,
)
from inspector.commands.jobs import (
    check_picture,
    flash_option,
    job_errors,
    json_option,
    name,
    numbers,
    picture_option,
    print_json,
    save_picture,
)

if TYPE_CHECKING:
    from inspector.plate import Plate

NAMED_STRAYS = 4
"""Most things that are named in the terminal."""


@click.command()
@click.argument("frames", nargs=-1, required=True, type=FILE, metavar="FRAME...")
@click.option(
    "--bracket",
    type=FILE,
    metavar="FRAME",
    help="The same empty set stopped down by one to four stops: tells how far over white it is, "
    "without a ceiling.",
)
@click.option(
    "--box",
    callback=numbers(4, int),
    metavar="X0,Y0,X1,Y1",
    help="Where the subject will stand, in pixels of the picture: is it filled?",
)
@flash_option
@picture_option
@json_option
@time_limit_option
@limit_options
def plate(
    frames: tuple[Path, ...],
    bracket: Path | None,
    box: tuple[int, int, int, int] | None,
    flash: bool,
    picture: Path | None,
    as_json: bool,
    time_limit: float,
    limits_file: Path | None,
    **limits: float | None,
) -> None:
    """Judge the empty set before the talent is called.

    Is the background paper white, how even, how far over, what can come off, and is anything in
    the frame that should not be there? The exit status is 0 if the talent can be called, 1 if
    something is to be changed first, 2 on wrong usage, 3 if a frame cannot be read.

    \b
    Examples:
      inspector plate sample_frames/fencing-02-plate-short-corner.dng
      inspector plate --box 300,40,800,660 --picture plate.jpg empty.dng
      inspector plate --bracket empty-two-stops-down.dng empty.dng
    """
    from inspector.batch import InputError
    from inspector.load import load_frames
    from inspector.plate import BoxError, inspect_plate

    ready = []
    with job_errors():
        chosen = chosen_limits(limits_file, limits)
        if len(frames) > 1 and (bracket is not None or picture is not None):
            raise InputError("--bracket and --picture go with one frame; name one at a time")
        check_picture(picture, frames)
        darker = load_frames([bracket], seconds=time_limit)[0] if bracket is not None else None
        for path in frames:
            (frame,) = load_frames([path], seconds=time_limit)
            try:
                found = inspect_plate(frame, bracket=darker, box=box, flash=flash, limits=chosen)
            except BoxError as error:
                raise InputError(f"{path}: {error}") from error
            if as_json:
                print_json(as_record(found))
            else:
                for line in told(found):
                    click.echo(line)
            if picture is not None:
                from inspector.report import platemap

                save_picture(picture, lambda found=found: platemap.draw(found))  # type: ignore[misc]
            ready.append(found.ready)
    sys.exit(EXIT_STATUS["pass" if all(ready) else "warn"])


def told(plate: Plate) -> list[str]:
    """What is said of a plate, line by line, the answer first."""
    from inspector.report.figures import share, signed, stops
    from inspector.strays import what

    lines = [f"{name(plate.inspection.frame.path)}: {plate.advice}"]
    x = plate.inspection.exposure
    if not plate.over_ev or plate.weakest is None or x.white_fraction is None:
        return lines

    def at_least(ev: float) -> str:
        return f"{signed(ev)}{' or more' if plate.at_ceiling(ev) else ''}"

    over, weakest = plate.over_ev, plate.weakest
    lines.append(f"  paper white   {share(x.white_fraction)} of the background")
    lines.append(
        f"  over white    {at_least(over[50])} stops in the middle of its range, "
        f"{at_least(over[1])} at the weakest hundredth, {at_least(over[99])} at the strongest"
    )
    lines.append(
        f"  evenness      {stops(plate.evenness_ev or 0.0)} stops; weakest {weakest.where}, "
        f"{at_least(weakest.ev)}"
    )
    spare = plate.spare_ev or 0.0
    least = "at least " if plate.spare_is == "at_least" else ""
    word = "to spare" if spare >= 0 else "lacking"
    lines.append(f"  {word:<12}  {least}{stops(abs(spare))} stops of background power")
    if plate.stand is not None:
        lines.append(
            f"  box           {share(plate.stand.background)} filled by the background, "
            f"{share(plate.stand.white)} of that paper white"
        )
    lines += [f"  in the frame  {what(stray)}" for stray in plate.strays[:NAMED_STRAYS]]
    if plate.bracket is not None:
        lines.append(f"  bracket       {_bracket(plate)}")
    return lines


def _bracket(plate: Plate) -> str:
    from inspector.report.figures import signed, stops

    used = plate.bracket
    assert used is not None
    how = "as the light says" if used.source == "light" else "as its settings say"
    text = f"{name(used.path)}, {stops(used.stops)} stops darker, {how}"
    if used.light_changed and used.settings_ev is not None:
        text += f"; its settings say {signed(-used.settings_ev)}, so the light was changed too"
    return text


def as_record(plate: Plate) -> dict[str, Any]:
    """The plate for JSON; lengths in viewed pixels, stops over white."""
    x, used, weakest, stand = (
        plate.inspection.exposure,
        plate.bracket,
        plate.weakest,
        plate.stand,
    )
    return {
        "path": plate.inspection.frame.path,
        "ready": plate.ready,
        "advice": plate.advice,
        "white_fraction": x.white_fraction,
        "over_ev": {f"p{p}": ev for p, ev in plate.over_ev.items()},
        "ceiling_ev": plate.ceiling_ev,
        "evenness_ev": plate.evenness_ev,
        "spare_ev": plate.spare_ev,
        "spare_is": plate.spare_is if plate.spare_ev is not None else None,
        "weakest": weakest and {"where": weakest.where, "at": list(weakest.at), "ev": weakest.ev},
        "in_the_frame": [
            {
                "kind": s.kind,
                "where": s.where,
                "box": list(s.box),
                "ev": s.ev,
                "dip_ev": s.dip_ev,
                "matters": s.matters,
            }
            for s in plate.strays
        ],
        "box": stand
        and {
            "box": list(stand.box),
            "background_fraction": stand.background,
            "white_fraction": stand.white,
        },
        "bracket": used
        and {
            "path": used.path,
            "stops": used.stops,
            "source": used.source,
            "settings_ev": used.settings_ev,
        },
    }
