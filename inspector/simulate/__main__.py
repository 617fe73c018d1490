"""``python -m inspector.simulate OUT_FOLDER``: write the sample frames and their truth."""

from __future__ import annotations

from pathlib import Path

import click

from inspector.simulate.samples import MEGAPIXELS, write_samples


@click.command(help=__doc__)
@click.argument("out_folder", type=click.Path(file_okay=False, path_type=Path))
@click.option(
    "--megapixels",
    type=click.FloatRange(0.05, 100),
    default=MEGAPIXELS,
    show_default=True,
    help="Size of each frame.",
)
def main(out_folder: Path, megapixels: float) -> None:
    """Write the evening and name each frame's verdict."""
    for path, truth in write_samples(out_folder, megapixels=megapixels):
        missed = ", ".join(truth.misses("silhouette"))
        click.echo(f"{path.name}: {truth.verdict('silhouette')} {missed}".rstrip())


if __name__ == "__main__":
    main()
