"""The main job on the sample frames: they land in a temporary hot folder, as from a camera."""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from inspector.hotfolder import Inbox
from inspector.lane import Event, Judged, Outbox
from inspector.session import Setup, follow_set
from inspector.watch import Stop

SAMPLES = Path(__file__).parent.parent / "sample_frames"
"""There in a checkout, not in an installed package."""
CHUNKS = 8
"""Pieces in which a frame arrives."""
LOOK_S = 1.6
"""Longer pause between frames, seconds, where somebody looks at each."""


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
    outbox: Outbox | None = None,
    *,
    home: Path | None = None,
    stay: bool = False,
    write_s: float = 0.25,
    pause_s: float = 0.45,
) -> Demo:
    """Make the folders, and be ready to follow the frames into them.

    Parameters
    ----------
    outbox : SimpleQueue, optional
        As `follow_set` takes it.
    home : Path, optional
        An empty folder for everything; a temporary one when left out. It stays.
    stay : bool
        Whether to leave time to look at each frame, and to go on watching after the last one
        until a `Stop` comes.
    write_s, pause_s : float
        Seconds over which a frame is written, and to the next one.
    """
    home = home or Path(tempfile.mkdtemp(prefix="inspector-demo-"))
    hot_folder, report = home / "hot", home / "report"
    hot_folder.mkdir()
    count, samples = sample_frames(home)
    pause_s += LOOK_S if stay else 0
    camera = _Camera(samples, hot_folder, inbox, write_s=write_s, pause_s=pause_s)
    events = follow_set(Setup(hot_folder, report, existing=True), inbox, outbox)
    return Demo(count, hot_folder, report, _follow(events, None if stay else count, camera, inbox))


def sample_frames(home: Path) -> tuple[int, Iterable[Path]]:
    """The sample frames of a checkout and how many they are.

    Elsewhere the same ones, simulated into `home` one after the other.
    """
    found = sorted(SAMPLES.glob("*.dng"))
    if found:
        return len(found), found
    from inspector.simulate.samples import evening, write_samples

    return len(evening()), (path for path, _ in write_samples(home / "sample_frames"))


def _follow(
    events: Iterator[Event], count: int | None, camera: _Camera, inbox: Inbox
) -> Iterator[Event]:
    """The events of the set until so many frames are judged, or a `Stop` comes."""
    camera.start()
    judged = set()
    try:
        for event in events:
            yield event
            if isinstance(event, Judged):
                judged.add(event.row.path)
            if len(judged) == count:
                inbox.put(Stop())
    finally:
        camera.stopped.set()
        camera.join()
    if camera.failure is not None:
        raise camera.failure


class _Camera(threading.Thread):
    """Puts frames into the hot folder, each piece by piece under its final name."""

    def __init__(
        self,
        samples: Iterable[Path],
        hot_folder: Path,
        inbox: Inbox,
        *,
        write_s: float,
        pause_s: float,
    ) -> None:
        super().__init__(daemon=True)
        self.stopped = threading.Event()
        self.failure: OSError | None = None
        self._samples, self._hot_folder, self._inbox = samples, hot_folder, inbox
        self._write_s, self._pause_s = write_s, pause_s

    def run(self) -> None:
        try:
            for sample in self._samples:
                self._transfer(sample.read_bytes(), self._hot_folder / sample.name)
                if self.stopped.wait(self._pause_s):
                    return
        except OSError as error:  # a full disk: the set ends, and the command says why
            self.failure = error
            self._inbox.put(Stop())

    def _transfer(self, data: bytes, target: Path) -> None:
        piece = -(-len(data) // CHUNKS)
        with target.open("wb") as file:
            for begin in range(0, len(data), piece):
                file.write(data[begin : begin + piece])
                file.flush()
                self.stopped.wait(self._write_s / CHUNKS)
