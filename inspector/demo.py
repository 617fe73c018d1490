"""The main job on the sample frames: they land in a temporary hot folder, as from a camera."""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from inspector.hotfolder import Inbox
from inspector.lane import Event, Judged
from inspector.session import Setup, follow_set
from inspector.watch import Stop

SAMPLES = Path(__file__).parent.parent / "sample_frames"
"""There in a checkout, not in an installed package."""
CHUNKS = 8
"""Pieces in which a frame arrives."""


@dataclass(frozen=True)
class Demo:
    """A demonstration under way: iterate over ``events`` to see it.

    ``frames`` is how many land in ``hot_folder``.
    """

    frames: int
    hot_folder: Path
    report: Path
    events: Iterator[Event]


def run_demo(
    inbox: Inbox,
    *,
    home: Path | None = None,
    write_s: float = 0.25,
    pause_s: float = 0.45,
) -> Demo:
    """Make the folders, and be ready to follow the frames into them.

    Parameters
    ----------
    home : Path, optional
        An empty folder for everything; a temporary one when left out. It stays.
    write_s, pause_s : float
        Seconds over which a frame is written, and to the next one.
    """
    home = home or Path(tempfile.mkdtemp(prefix="inspector-demo-"))
    hot_folder, report = home / "hot", home / "report"
    hot_folder.mkdir()
    samples = sample_frames(home)
    events = follow_set(Setup(hot_folder, report, existing=True), inbox)
    stopped = threading.Event()

    def shoot() -> None:
        for sample in samples:
            _transfer(sample, hot_folder / sample.name, lambda: stopped.wait(write_s / CHUNKS))
            if stopped.wait(pause_s):
                return

    def follow() -> Iterator[Event]:
        camera = threading.Thread(target=shoot, daemon=True)
        camera.start()
        left = {sample.name for sample in samples}
        try:
            for event in events:
                yield event
                if isinstance(event, Judged):
                    left.discard(Path(event.row.path).name)
                if not left:
                    inbox.put(Stop())
        finally:
            stopped.set()
            camera.join()

    return Demo(len(samples), hot_folder, report, follow())


def sample_frames(home: Path) -> list[Path]:
    """The sample frames of a checkout; elsewhere the same ones, simulated into `home`."""
    found = sorted(SAMPLES.glob("*.dng"))
    if not found:
        from inspector.simulate.samples import write_samples

        found = sorted(path for path, _ in write_samples(home / "sample_frames"))
    return found


def _transfer(source: Path, target: Path, wait: Callable[[], object]) -> None:
    """Write a frame piece by piece, under its final name from the start, as cameras do."""
    data = source.read_bytes()
    piece = -(-len(data) // CHUNKS)
    with target.open("wb") as file:
        for begin in range(0, len(data), piece):
            file.write(data[begin : begin + piece])
            file.flush()
            wait()
