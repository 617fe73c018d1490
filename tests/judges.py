"""Judges for the tests of the worker's process: what a file says in words, happens.

They stand in for the decoder and the measuring, and load nothing heavy.
"""

from __future__ import annotations

import os
import re
import signal
import time
from pathlib import Path
from typing import Any

from inspector.files import write_whole
from inspector.worker import Judge, Reply, Task


def told(path: str, verdict: str, *, plate: bool = False) -> dict[str, Any]:
    """A record with every key of the contract."""
    reasons = (
        [] if verdict == "pass" else [{"code": "told", "text": "told so", "advice": "do that"}]
    )
    figures = dict.fromkeys(("white_fraction", "blown_fraction", "ev_p1", "ev_p50", "ev_p99"), 1.0)
    shot = dict.fromkeys(("camera", "iso", "shutter_s", "aperture_f", "taken_at"))
    return {
        "schema": 1,
        "frame": {"path": path, "width": 6, "height": 4, "orientation": 1} | shot,
        "clip": {"levels": {}, "source": "metadata", "ceiling_ev": 0.0},
        "backdrop": {"found": True, "area_fraction": 0.5, "short_regions": []} | figures,
        "subject": {"found": True, "area_fraction": 0.1, "depth_ev": 5.0, "hot_spots": []},
        "edge": {"length_px": 9.0, "ramp_px": 2.0, "spill_fraction": 0.0, "spill": []},
        "flare": {"veil_fraction": None, "is": None},
        "window": dict.fromkeys(
            ("low_ev", "low_is", "high_ev", "high_is", "safe_high_ev", "subject_high_ev")
        ),
        "verdict": verdict,
        "reasons": reasons,
        "plate": plate,
    }


def judge(task: Task) -> Reply:
    """Do what the first word of the file says."""
    text = Path(task.path).read_text(errors="replace")
    match text.split()[0] if text.split() else "":
        case "crash":
            os.kill(os.getpid(), signal.SIGSEGV)
        case "abort":
            os.abort()
        case "exit":
            os._exit(7)
        case "hang":
            time.sleep(3600)
        case "spin":  # holds the interpreter's lock, as a library in an endless loop does
            re.match("(a+)+$", "a" * 60 + "b")
        case "bomb":
            bytearray(1 << 30)
        case "slow":  # and a number of seconds
            time.sleep(float(text.split()[1]))
            if "broken" in text:
                return Reply(told(task.path, "unreadable"), retry=True)
        case "halfway":
            assert task.clip_map is not None
            Path(task.clip_map + ".part").write_bytes(b"half a pict")
            os._exit(1)
        case "broken":
            return Reply(told(task.path, "unreadable"), retry=True)
        case "warn":
            return Reply(told(task.path, "warn"))
        case "plate":
            return Reply(told(task.path, "pass", plate=True))
    if task.clip_map is not None:
        try:
            write_whole(Path(task.clip_map), b"picture")
        except OSError as error:
            return Reply(told(task.path, "pass"), trouble=f"not written: {error.strerror}")
    record = told(task.path, "pass") | {"seen_with": task.plate}
    return Reply(record, task.clip_map)


def by_content() -> Judge:
    """Stands in for `worker.frame_judge`."""
    return judge


def that_fails() -> Judge:
    """A core that cannot be loaded."""
    raise ImportError("no core")
