"""Make the pictures of the pages on the jobs beside checking: ``python docs/make_job_pictures.py``.

The frames are those of ``python -m inspector.simulate.jobs`` and the sample frames; each picture
is drawn by the command that its page shows.
"""

from __future__ import annotations

import tempfile
from collections import Counter
from pathlib import Path

import matplotlib as mpl
from matplotlib.figure import Figure

from inspector.cli import main
from inspector.record import read_rows
from inspector.report.charts import GREY, STYLE, as_svg
from inspector.simulate.jobs import WALLS, write_frames

HERE = Path(__file__).parent
PICTURES = HERE / "pictures"
SAMPLES = HERE.parent / "sample_frames"


def run(*arguments: str | Path) -> None:
    """Run a command of the program; its exit status is 0 or 1."""
    try:
        main([str(argument) for argument in arguments])
    except SystemExit as end:
        if end.code not in (0, 1):
            raise


def make() -> list[Path]:
    """Make all of them; their names."""
    with tempfile.TemporaryDirectory() as folder:
        frames = Path(folder) / "job_frames"
        for _ in write_frames(frames):
            pass
        plate, bracket = frames / "plate.dng", frames / "plate-three-stops-down.dng"
        run("plate", "--bracket", bracket, plate, "--picture", PICTURES / "plate-contours.jpg")
        pair = frames / "panel-out.dng", frames / "panel-in.dng"
        run("compare", *pair, "--picture", PICTURES / "compare-panel.jpg")
        flags = [f"--flag={wall}={frames / f'room-{wall}-black.dng'}" for wall in WALLS]
        opened = frames / "room-open.dng"
        run("room", "--open", opened, *flags, "--picture", PICTURES / "room-audit.jpg")
        portrait = SAMPLES / "fencing-12-lit-portrait.dng"
        points = "--lit=430,250", "--shadow=365,290"
        run("ratio", portrait, *points, "--picture", PICTURES / "ratio-portrait.jpg")
        evening, archive = Path(folder) / "evening", Path(folder) / "archive"
        run("check", "--quiet", "--report", evening, frames / "evening")
        run("drift", evening, "--picture", PICTURES / "drift-evening.svg")
        run("check", "--quiet", "--report", archive, SAMPLES)
        reasons = draw_reasons(archive, PICTURES / "batch-reasons.svg")
    names = ("plate-contours", "compare-panel", "room-audit", "ratio-portrait")
    return [*(PICTURES / f"{n}.jpg" for n in names), PICTURES / "drift-evening.svg", reasons]


def draw_reasons(report: Path, target: Path) -> Path:
    """How often each reason occurs in a set, as bars."""
    count: Counter[str] = Counter()
    for row in read_rows(report):
        count.update({reason["code"] for reason in row.record["reasons"]})
    ordered = count.most_common()[::-1]
    with mpl.rc_context(STYLE | {"svg.hashsalt": "reasons"}):
        figure = Figure(figsize=(5.2, 0.5 + 0.32 * len(ordered)), layout="constrained")
        axes = figure.subplots()
        bars = axes.barh([code for code, _ in ordered], [n for _, n in ordered], color=GREY)
        axes.bar_label(bars, padding=4)
        axes.set_xticks([])
        axes.spines["bottom"].set_visible(False)
        axes.set_title("Frames that warn, by reason")
        target.write_text(as_svg(figure))
    return target


if __name__ == "__main__":
    for made in make():
        print(f"{made.relative_to(HERE.parent)}: {made.stat().st_size // 1000} kB")
