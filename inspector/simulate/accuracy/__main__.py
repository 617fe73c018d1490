"""``python -m inspector.simulate.accuracy``: measure random scenes and write the table."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from inspector.simulate.accuracy.compare import Comparison
from inspector.simulate.accuracy.loop import Loop
from inspector.simulate.accuracy.table import accuracy_table
from inspector.simulate.accuracy.trial import Trial, trial

SEEDS_APART = 100_000
"""Frame k of a run has the number seed x 100,000 + k."""

TOLD_EVERY = 10
"""Frames after which progress is told."""


@click.command(help=__doc__)
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True)
@click.option("--frames", type=click.IntRange(min=1), default=300, show_default=True)
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    default=Path("docs/accuracy.md"),
    show_default=True,
    help="Where the table goes.",
)
@click.option(
    "--keep",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Keep each frame's result in this file of JSON Lines; frames already there are taken "
    "from it, so that a run can be taken up again.",
)
def main(seed: int, frames: int, out: Path, keep: Path | None) -> None:
    """Measure, compare, write."""
    known = {} if keep is None or not keep.exists() else _read(keep)
    trials = []
    for number in range(frames):
        name = seed * SEEDS_APART + number
        result = known.get(name) or trial(name, number)
        trials.append(result)
        if keep is not None and name not in known:
            with keep.open("a", encoding="utf-8") as lines:
                lines.write(json.dumps(asdict(result)) + "\n")
        if len(trials) % TOLD_EVERY == 0:
            click.echo(f"{len(trials)} of {frames} frames", err=True)
    out.write_text(accuracy_table(trials, seed=seed), encoding="utf-8")
    click.echo(f"{out}: {frames} frames compared")


def _read(keep: Path) -> dict[int, Trial]:
    lines = keep.read_text(encoding="utf-8").splitlines()
    return {t.seed: t for t in (_trial(json.loads(line)) for line in lines)}


def _trial(kept: dict[str, Any]) -> Trial:
    for mode in ("alone", "plate", "under"):
        kept[mode] = None if kept[mode] is None else Comparison(**kept[mode])
    loop = kept["loop"]
    if loop is not None:
        kept["loop"] = Loop(**loop | {"advice": tuple(loop["advice"])})
    return Trial(**kept | {"bracket": tuple(kept["bracket"])})


if __name__ == "__main__":
    main()
