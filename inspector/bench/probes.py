"""What runs in the worker's process instead of the plain judge: stages timed, memory read."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from inspector.worker import Judge, Reply, Task

T = TypeVar("T")

STAGES = ("decode", "levels", "zones", "edge", "exposure", "verdict", "record", "drawing", "file")


def stage_judge() -> Judge:
    """Made in the worker's process: a judge whose record holds the seconds of each stage."""
    from inspector.decode import decode
    from inspector.edge import measure_edge
    from inspector.exposure import measure_exposure
    from inspector.files import write_whole
    from inspector.inspect import Inspection, record
    from inspector.levels import measure_levels
    from inspector.limits import Limits
    from inspector.report.clipmap import jpeg
    from inspector.report.extras import extras
    from inspector.verdict import judge as judge_figures
    from inspector.zones import find_zones

    def judge(task: Task) -> Reply:
        seconds: dict[str, Any] = {}

        def timed(stage: str, run: Callable[[], T]) -> T:
            start = time.perf_counter()
            result = run()
            seconds[stage] = time.perf_counter() - start
            return result

        limits, target = Limits(), Path(str(task.clip_map))
        frame = timed("decode", lambda: decode(task.path))
        levels = timed("levels", lambda: measure_levels(frame))
        zones = timed("zones", lambda: find_zones(levels))
        edge = timed(
            "edge", lambda: measure_edge(levels, zones, hot_spot_area=limits.hot_spot_area)
        )
        exposure = timed(
            "exposure",
            lambda: measure_exposure(
                levels,
                zones,
                edge,
                white_limit=limits.white_fraction,
                spill_limit=limits.spill_fraction,
                depth_limit=limits.depth_ev(task.look),
            ),
        )
        verdict = timed(
            "verdict",
            lambda: judge_figures(
                zones, edge, exposure, limits=limits, look=task.look, is_plate=False
            ),
        )
        seen = Inspection(frame, levels, zones, edge, exposure, verdict, limits)
        timed("record", lambda: record(seen) | extras(seen))
        data = timed("drawing", lambda: jpeg(seen))
        timed("file", lambda: write_whole(target, data))
        return Reply(seconds)

    return judge


def memory_judge() -> Judge:
    """Made in the worker's process: a judge whose record tells what memory a frame took."""
    from inspector.job import FrameJudge

    inner = FrameJudge()

    def judge(task: Task) -> Reply:
        before, _ = _memory()
        reply = inner(task)
        _, peak = _memory()
        if reply.clip_map is None or before is None or peak is None:
            return Reply({"bytes": None})
        return Reply({"bytes": peak - before})

    return judge


def _memory() -> tuple[int | None, int | None]:
    """Memory of this process now and at its peak, bytes; None where the system does not tell.

    On Linux from /proc: there getrusage(2) would tell the peak of the process that started this
    one, if that was greater.
    """
    if sys.platform == "linux":
        lines = Path("/proc/self/status").read_text().splitlines()
        kib = {
            name: int(rest.split()[0])
            for name, _, rest in (s.partition(":") for s in lines)
            if name in ("VmRSS", "VmHWM")
        }
        return kib["VmRSS"] << 10, kib["VmHWM"] << 10
    if sys.platform == "darwin":
        import resource

        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        return peak, peak
    return None, None
