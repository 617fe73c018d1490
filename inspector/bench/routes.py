"""The ways from a file to an answer that are compared, each as something that can be timed."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from statistics import median

import numpy as np
import rawpy

from inspector.worker import Task, Worker

NEAR_WHITE = 240
"""A threshold by hand must lie below 255: the stated clip level lies over the true one."""


@dataclass(frozen=True)
class Timed:
    """Seconds of one route over the rounds: the least, which load disturbs least; the middle."""

    least_s: float
    median_s: float


def interleaved(routes: Mapping[str, Callable[[], object]], rounds: int) -> dict[str, Timed]:
    """Time all routes in turn, so often: load from elsewhere falls on all of them alike."""
    seconds: dict[str, list[float]] = {name: [] for name in routes}
    for _ in range(rounds):
        for name, run in routes.items():
            start = time.perf_counter()
            run()
            seconds[name].append(time.perf_counter() - start)
    return {name: Timed(min(s), median(s)) for name, s in seconds.items()}


def unpack(path: Path) -> None:
    """LibRaw's bare unpack, without which nobody has a single level: the floor."""
    with rawpy.RawPy() as raw:
        raw.open_file(str(path))
        raw.unpack()


def develop(path: Path) -> float:
    """The share of paper white in a full development with LibRaw's defaults."""
    with rawpy.imread(str(path)) as raw:
        return _share_of_white(raw.postprocess())


def develop_half(path: Path) -> float:
    """The same at half size: what one would write by hand."""
    with rawpy.imread(str(path)) as raw:
        return _share_of_white(raw.postprocess(half_size=True))


def _share_of_white(rgb: np.typing.NDArray[np.uint8]) -> float:
    return float((rgb >= NEAR_WHITE).all(axis=2).mean())


def copier(size: int) -> Callable[[], None]:
    """Copies so many bytes in memory: what its bandwidth allows."""
    source, target = np.ones(size, np.uint8), np.zeros(size, np.uint8)
    return lambda: np.copyto(target, source)


def whole_frame(worker: Worker, path: Path, clip_map: Path) -> Callable[[], None]:
    """Our own route in the worker's process: decode, inspect, clip map written."""
    task = Task(str(path), clip_map=str(clip_map))

    def judge() -> None:
        reply = worker.judge(task)
        if reply.clip_map is None:
            raise RuntimeError(f"{path}: not judged: {reply.record['reasons']}")

    return judge
