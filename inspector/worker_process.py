"""What runs in the worker's process: silent, limited in memory, gone with its parent."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

READY = "ready"
TAKEN = "taken"
"""What the process says once it has loaded, and when it takes a task up."""


def serve(
    pipe: Connection, make_judge: Callable[[], Callable[[Any], Any]], memory_mb: int, parent: int
) -> None:
    """Judge what comes through the pipe until its other end is closed.

    ``make_judge`` loads the core, ``memory_mb`` is what a frame may take beyond that, ``parent``
    the process with which this one ends.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides when to end
    _die_with(parent)
    _silence()
    _keep_freed_memory()
    judge = make_judge()
    _limit_memory(memory_mb)
    with contextlib.suppress(EOFError, OSError):  # the parent has closed the pipe or is gone
        pipe.send(READY)
        while True:
            task = pipe.recv()
            pipe.send(TAKEN)
            pipe.send(judge(task))


def _silence() -> None:
    """LibRaw and its relatives write warnings straight to the terminal; ours are in the record."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):
        os.dup2(nowhere, stream)
    os.close(nowhere)


def _die_with(parent: int) -> None:
    """End when the parent ends, also in the middle of a frame."""
    process = multiprocessing.parent_process()
    assert process is not None

    def follow() -> None:
        process.join()
        os._exit(0)

    threading.Thread(target=follow, daemon=True).start()
    if sys.platform == "linux":
        # The thread above cannot run while a library hangs with the interpreter's lock held.
        import ctypes

        pr_set_pdeathsig = 1  # prctl(2)
        ctypes.CDLL(None).prctl(pr_set_pdeathsig, signal.SIGKILL)
        if os.getppid() != parent:
            os._exit(0)


def _keep_freed_memory() -> None:
    """Have the C library keep what a frame has freed for the next one, where it is glibc.

    Else it gives every large block back, and the system clears each of its pages again: a tenth
    of the time of a frame.
    """
    if sys.platform != "linux":
        return
    import ctypes

    m_trim_threshold, m_mmap_max = -1, -4  # mallopt(3)
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is not None:
        mallopt(m_trim_threshold, 2**31 - 1)
        mallopt(m_mmap_max, 0)


def _limit_memory(memory_mb: int) -> None:
    """Limit writable memory to what is in use now and `memory_mb` more, where the system can.

    Linux counts private writable mappings against RLIMIT_DATA since 4.7 (setrlimit(2)); unlike
    the address space it does not grow with the number of threads' reserved heaps.
    """
    if sys.platform != "linux":
        return
    import resource

    status = Path("/proc/self/status").read_text()
    used = next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmData"))
    limit = (used << 10) + (memory_mb << 20)
    resource.setrlimit(resource.RLIMIT_DATA, (limit, limit))
