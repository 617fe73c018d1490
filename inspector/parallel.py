"""Several frames at a time, each in a process of its own; the replies in the order given."""

from __future__ import annotations

import os
import queue
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Protocol

from inspector.batch import Judging
from inspector.worker import Reply, Task, Worker

AHEAD = 4
"""Frames that are taken up for each process before the first of them is handed on: a slow frame
holds up the others only after so many, and memory does not grow."""
FRAMES_A_PROCESS = 8
"""Fewer frames than this are not worth starting another process for."""


def processes_for(frames: int) -> int:
    """How many processes so many frames are worth, at most as many as there are processors."""
    return max(1, min(_processors(), frames // FRAMES_A_PROCESS))


def in_parallel(workers: Sequence[Worker]) -> Judging:
    """Judge with several workers, each of them one frame at a time."""

    free: queue.SimpleQueue[Worker] = queue.SimpleQueue()
    for worker in workers:
        free.put(worker)

    def judge(items: Iterable[Task | Reply]) -> Iterator[Reply]:
        def one(task: Task) -> Reply:
            worker = free.get()
            try:
                return worker.judge(task)
            finally:
                free.put(worker)

        pool = ThreadPoolExecutor(len(workers))
        try:
            yield from in_order(items, lambda task: pool.submit(one, task), AHEAD * len(workers))
        except BaseException:
            for worker in workers:
                worker.interrupt()
            raise
        finally:
            pool.shutdown(cancel_futures=True)

    return judge


class Awaited(Protocol):
    """Something that will have a reply."""

    def result(self) -> Reply:
        """Wait for it."""
        ...


def in_order(
    items: Iterable[Task | Reply], submit: Callable[[Task], Awaited], most: int
) -> Iterator[Reply]:
    """Submit tasks, at most so many ahead, and hand on their replies in the order given."""
    waiting: deque[Awaited | Reply] = deque()
    for item in items:
        waiting.append(item if isinstance(item, Reply) else submit(item))
        while len(waiting) >= most or (waiting and isinstance(waiting[0], Reply)):
            yield _result(waiting.popleft())
    while waiting:
        yield _result(waiting.popleft())


def _result(reply: Awaited | Reply) -> Reply:
    return reply if isinstance(reply, Reply) else reply.result()


def _processors() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
