"""The same judging on a Dask cluster, for studios with many sets; an optional extra.

Every worker of the cluster must see frames and report folder under the same paths. Dask guards
against a worker that dies: the frame goes to another, and is given up when several have died of it.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from inspector.batch import InputError, Judging
from inspector.job import FrameJudge
from inspector.parallel import AHEAD, in_order
from inspector.worker import Reply, Task, refuse

PATIENCE_S = 10
"""How long a scheduler may take to answer, seconds."""

_thread = threading.local()


def judge_one(task: Task) -> Reply:
    """Judge one frame on a worker; its thread keeps the judge, and the plate in it."""
    if not hasattr(_thread, "judge"):
        _thread.judge = FrameJudge()
    reply: Reply = _thread.judge(task)
    return reply


def on_cluster(address: str) -> Judging:
    """Judge with the workers of a scheduler, as ``tcp://studio:8786``.

    Raises
    ------
    InputError
        While judging: if Dask is not installed, no scheduler answers or it has no worker.
    """

    def judge(items: Iterable[Task | Reply]) -> Iterator[Reply]:
        with _connected(address) as client:
            threads = sum(client.nthreads().values())
            if not threads:
                raise InputError(f"{address}: has no worker; start one with: dask worker {address}")
            most = AHEAD * threads
            yield from in_order(items, lambda task: _Awaited(client, task, address), most)

    return judge


def _connected(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError as error:
        raise InputError(
            "--cluster needs Dask; install it with: pip install 'inspector[cluster]'"
        ) from error
    try:
        return Client(address, timeout=PATIENCE_S, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise InputError(
            f"{address}: no Dask scheduler answers there; start one with: dask scheduler"
        ) from error


class _Awaited:
    """A task on its way, with whole paths, since a worker may run elsewhere."""

    def __init__(self, client: Any, task: Task, address: str) -> None:
        self._task, self._address = task, address
        self._future = client.submit(judge_one, _with_whole_paths(task), pure=False)

    def result(self) -> Reply:
        """The reply, under the path that the frame was named by."""
        from distributed import CancelledError, KilledWorker

        try:
            reply: Reply = self._future.result()
        except KilledWorker:
            why = "the decoder broke down on it, on several workers"
            return Reply(refuse(self._task.path, "crashed", why, "take or copy the frame again"))
        except (CancelledError, OSError) as error:
            raise InputError(
                f"{self._address}: the scheduler is gone; start it, and go on with --resume"
            ) from error
        finally:
            self._future.release()
        frame = reply.record["frame"] | {"path": self._task.path}
        return replace(reply, record=reply.record | {"frame": frame})


def _with_whole_paths(task: Task) -> Task:
    def whole(path: str | None) -> str | None:
        return path and str(Path(path).absolute())

    return replace(
        task,
        path=str(Path(task.path).absolute()),
        plate=whole(task.plate),
        under=whole(task.under),
        clip_map=whole(task.clip_map),
        zone_map=whole(task.zone_map),
    )
