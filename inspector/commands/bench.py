"""`inspector bench`: how long a frame takes on this machine."""

from __future__ import annotations

import click

from inspector.commands.common import plain_errors, say


@click.command()
@click.option(
    "--megapixels",
    multiple=True,
    type=click.FloatRange(min=0.2, max=200),
    default=(24.0, 33.0, 45.0, 61.0),
    metavar="NUMBER",
    help="Size of the frames to measure with; may be given several times.  "
    "[default: 24, 33, 45 and 61]",
)
@click.option(
    "--rounds",
    type=click.IntRange(min=1),
    default=5,
    show_default=True,
    help="How often each way is timed.",
)
@click.option("--json", "as_json", is_flag=True, help="Print all figures as one JSON object.")
def bench(megapixels: tuple[float, ...], rounds: int, as_json: bool) -> None:
    """Measure the speed on this machine, beside LibRaw's own.

    Simulated frames go in turn through LibRaw's bare unpack, the whole of this program, and full
    and half-size development; figures are ratios of these. Several gigabytes of memory and disk
    and some minutes are needed for the largest.

    \b
    Examples:
      inspector bench
      inspector bench --megapixels 33 --json
    """
    import json

    from inspector.bench import table
    from inspector.bench.run import measure

    with plain_errors():
        found = measure(megapixels, rounds=rounds, say=say)
        click.echo(json.dumps(table.as_json(found)) if as_json else table.as_text(found))
