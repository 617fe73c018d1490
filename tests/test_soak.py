"""A long evening: memory, open files and the watcher's delay stay as they are.

Ten thousand frames with INSPECTOR_NIGHTLY, a few hundred otherwise.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest
from scripted import ScriptedFolder, follow

from inspector.settle import CLOSED_S
from inspector.simulate import Camera, shoot
from inspector.simulate.dng import write_dng
from inspector.simulate.samples import evening
from inspector.watch import Finished

NIGHTLY = bool(os.environ.get("INSPECTOR_NIGHTLY"))
FRAMES = 10_000 if NIGHTLY else 240
SETTLED = 500 if NIGHTLY else 100
"""Frames after which everything has its size."""
BATCH = 20
SIMULATED = 10_000 if NIGHTLY else 1_000
HOUR_S = 3600.0

linux = pytest.mark.skipif(sys.platform != "linux", reason="needs /proc")


@dataclass(frozen=True)
class Use:
    """What the watching process and its workers hold."""

    memory: int
    files: int
    processes: int


def family(pid: int) -> list[int]:
    """A process and its children, as Linux lists them (proc(5))."""
    found = [pid]
    for task in Path(f"/proc/{pid}/task").iterdir():
        found += map(int, (task / "children").read_text().split())
    return found


def use_of(pid: int) -> Use:
    memory = files = 0
    pids = family(pid)
    for each in pids:
        status = Path(f"/proc/{each}/status").read_text().splitlines()
        memory += next(int(s.split()[1]) for s in status if s.startswith("VmRSS"))
        files += len(list(Path(f"/proc/{each}/fd").iterdir()))
    return Use(memory, files, len(pids))


def frames_of_two_kinds(folder: Path) -> list[bytes]:
    """A clean frame and one that spills."""
    found = []
    for number in (2, 5):
        path = folder / "frame.dng"
        write_dng(path, shoot(evening()[number].scene, camera=Camera(), seed=1, megapixels=0.03))
        found.append(path.read_bytes())
    return found


def soak(hot: Path, kinds: list[bytes]) -> Iterator[Use]:
    """Follow a set with the real program; what it holds after each batch of frames."""
    command = [sys.executable, "-m", "inspector", "watch", str(hot), "--existing"]
    environment = os.environ | {"PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as process:
        assert process.stdout is not None
        try:
            for first in range(0, FRAMES, BATCH):
                for number in range(first, first + BATCH):
                    (hot / f"fencer-{number:05}.dng").write_bytes(kinds[number % 2])
                verdicts = [process.stdout.readline() for _ in range(BATCH)]
                assert all("fencer-" in line for line in verdicts)
                yield use_of(process.pid)
        finally:
            process.terminate()
        tally = process.stdout.read()
    assert process.returncode == 0
    assert f"{FRAMES} frames: " in tally


@linux
def test_memory_and_open_files_stay_flat(tmp_path: Path) -> None:
    kinds = frames_of_two_kinds(tmp_path)
    hot = tmp_path / "hot"
    hot.mkdir()
    uses = list(soak(hot, kinds))
    print(*uses[:: max(1, len(uses) // 40)], sep="\n")  # seen when it fails
    settled, later = uses[: SETTLED // BATCH], uses[SETTLED // BATCH :]
    assert len({use.processes for use in uses}) == 1  # none is left over, none was restarted
    assert max(use.memory for use in later) <= 1.05 * max(use.memory for use in settled)
    # A frame, its clip map and the journal are open now and then.
    assert max(use.files for use in later) <= max(use.files for use in settled) + 4


def test_an_hour_of_frames_in_simulated_time() -> None:
    step = HOUR_S / SIMULATED
    closed = {f"/hot/fencer-{n:05}.dng": n * step for n in range(SIMULATED)}
    script: list[tuple[float, Callable[[ScriptedFolder], None]]] = [
        (when, partial(ScriptedFolder.put, path=path)) for path, when in closed.items()
    ]
    folder = ScriptedFolder(script, until=HOUR_S + 60)
    found = {c.path: (when, c.waiting) for when, c in follow(folder) if isinstance(c, Finished)}
    assert found.keys() == closed.keys()
    for path, (when, waiting) in found.items():
        assert when - closed[path] == pytest.approx(CLOSED_S, abs=1e-6)
        assert waiting == 0
