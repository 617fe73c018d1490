"""One run of all measurements, and what it found."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from inspector.bench import live, probes, routes
from inspector.bench.frames import Files, make_files
from inspector.bench.routes import Timed
from inspector.worker import Task, Worker

LIVE_FRAMES = 9
SUSTAINED_FRAMES = 14

Say = Callable[[str], None]


@dataclass(frozen=True)
class Result:
    """What was measured with one frame.

    ``routes`` and ``packed`` (the same frame in lossless JPEG; empty where it cannot be written)
    hold the times of ``unpack``, ``whole``, ``half`` and ``development``; ``copy`` that of copying
    the mosaic in memory. ``stages`` are seconds by stage, the least of the rounds, ``peak_bytes``
    is memory above the process with its imports, None where the system does not tell.
    """

    megapixels: float
    width: int
    height: int
    mosaic_bytes: int
    routes: dict[str, Timed]
    packed: dict[str, Timed]
    copy: Timed
    stages: dict[str, float]
    peak_bytes: int | None
    close_to_verdict_s: float
    frames_a_second: float

    @property
    def analysis_s(self) -> float:
        """All stages but the decoding."""
        return sum(s for stage, s in self.stages.items() if stage != "decode")

    @property
    def reading_s(self) -> float:
        """What reading the mosaic once takes if memory is the only limit: half of a copy."""
        return self.copy.least_s / 2

    def times_quicker(self, route: str) -> float:
        """How many of our whole frames go into one run of a route."""
        return self.routes[route].least_s / self.routes["whole"].least_s


@dataclass(frozen=True)
class Bench:
    """One run. ``load`` is the number of waiting processes, before and after; empty if unknown."""

    processors: int
    rounds: int
    load: tuple[float, ...]
    results: tuple[Result, ...]


def measure(megapixels: tuple[float, ...], *, rounds: int, say: Say) -> Bench:
    """Measure with frames of these sizes; ``say`` is told what is being done."""
    before = _load()
    results = []
    for size in megapixels:
        # A folder for each, so that frames do not pile up on a small disk.
        with tempfile.TemporaryDirectory(prefix="inspector-bench-") as folder:
            say(f"{size:g} megapixels: making the frame")
            files = make_files(Path(folder), size)
            results.append(_measure(Path(folder), files, rounds, say))
    return Bench(os.cpu_count() or 1, rounds, (*before, *_load()), tuple(results))


def _measure(folder: Path, files: Files, rounds: int, say: Say) -> Result:
    clip_map = folder / "map.jpg"
    say(f"{files.megapixels:g} megapixels: timing")
    with Worker() as worker, Worker(make_judge=probes.stage_judge) as staged:
        stages: list[dict[str, float]] = []
        task = Task(str(files.plain), clip_map=str(clip_map))
        ways = _ways(worker, files.plain, clip_map)
        worker.judge(task)  # warm, as in the middle of a set
        staged.judge(task)
        ways["stages"] = lambda: stages.append(staged.judge(task).record)
        ways["copy"] = routes.copier(files.mosaic_bytes)
        times = routes.interleaved(ways, rounds)
        packed: dict[str, Timed] = {}
        if files.packed is not None:
            packed = routes.interleaved(_ways(worker, files.packed, clip_map), rounds)
    with Worker(make_judge=probes.memory_judge) as fresh:
        peak = fresh.judge(task).record["bytes"]
    say(f"{files.megapixels:g} megapixels: watching")
    return Result(
        files.megapixels,
        files.width,
        files.height,
        files.mosaic_bytes,
        {name: times[name] for name in ("unpack", "whole", "half", "development")},
        packed,
        times["copy"],
        {stage: min(s[stage] for s in stages) for stage in probes.STAGES},
        peak,
        live.close_to_verdict(folder, files.plain, LIVE_FRAMES),
        live.sustained(folder, files.plain, SUSTAINED_FRAMES),
    )


def _ways(worker: Worker, path: Path, clip_map: Path) -> dict[str, Callable[[], object]]:
    return {
        "unpack": partial(routes.unpack, path),
        "whole": routes.whole_frame(worker, path, clip_map),
        "half": partial(routes.develop_half, path),
        "development": partial(routes.develop, path),
    }


def _load() -> tuple[float, ...]:
    return (os.getloadavg()[0],) if hasattr(os, "getloadavg") else ()
