"""The worker's process: limits, restart, and that it never outlives its parent."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import judges
import pytest

from inspector.worker import Reply, Task, Worker, WorkerError

TESTS = Path(__file__).parent
linux = pytest.mark.skipif(sys.platform != "linux", reason="limits and signals as Linux has them")


@pytest.fixture
def worker() -> Iterator[Worker]:
    with Worker(seconds=30, make_judge=judges.by_content) as it:
        yield it


def frame(folder: Path, text: str) -> Task:
    path = folder / f"{text.split()[0]}.dng"
    path.write_text(text)
    return Task(str(path))


def code(reply: Reply) -> str:
    assert reply.record["verdict"] == "unreadable"
    return str(reply.record["reasons"][0]["code"])


def is_running(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except OSError:
        return False
    return state != "Z"


def wait_for_end(pid: int) -> None:
    for _ in range(1000):
        if not is_running(pid):
            return
        time.sleep(0.02)
    pytest.fail(f"process {pid} is still there")


def test_frames_are_judged_by_one_process(tmp_path: Path, worker: Worker) -> None:
    assert worker.judge(frame(tmp_path, "pass")).record["verdict"] == "pass"
    pid = worker.pid
    assert pid not in (None, os.getpid())
    assert worker.judge(frame(tmp_path, "warn")).record["verdict"] == "warn"
    assert worker.pid == pid


@pytest.mark.parametrize(
    ("words", "said"), [("crash", "SIGSEGV"), ("abort", "SIGABRT"), ("exit", "exit status 7")]
)
def test_a_crash_costs_one_frame(tmp_path: Path, worker: Worker, words: str, said: str) -> None:
    reply = worker.judge(frame(tmp_path, words))
    assert code(reply) == "crashed"
    assert said in reply.record["reasons"][0]["text"]
    assert reply.record["frame"]["path"].endswith(f"{words}.dng")
    assert worker.judge(frame(tmp_path, "pass")).record["verdict"] == "pass"


@pytest.mark.parametrize("words", ["hang", "spin"])
def test_a_hang_costs_one_frame(tmp_path: Path, words: str) -> None:
    with Worker(seconds=0.5, make_judge=judges.by_content) as worker:
        worker.start()
        first = worker.pid
        assert code(worker.judge(frame(tmp_path, words))) == "timed-out"
        assert first is not None
        assert not is_running(first)
        assert worker.judge(frame(tmp_path, "pass")).record["verdict"] == "pass"


@linux
def test_memory_is_limited(tmp_path: Path) -> None:
    with Worker(memory_mb=200, make_judge=judges.by_content) as worker:
        assert code(worker.judge(frame(tmp_path, "bomb"))) == "crashed"
        assert worker.judge(frame(tmp_path, "pass")).record["verdict"] == "pass"


def test_a_process_that_dies_between_frames_is_replaced(tmp_path: Path, worker: Worker) -> None:
    worker.judge(frame(tmp_path, "pass"))
    assert worker.pid is not None
    os.kill(worker.pid, signal.SIGTERM)
    wait_for_end(worker.pid)
    assert worker.judge(frame(tmp_path, "pass")).record["verdict"] == "pass"


def test_a_frame_not_yet_taken_up_goes_to_the_next_process(tmp_path: Path, worker: Worker) -> None:
    worker.judge(frame(tmp_path, "pass"))
    pid = worker.pid
    assert pid is not None
    os.kill(pid, signal.SIGSTOP)
    end = threading.Timer(0.3, os.kill, (pid, signal.SIGKILL))
    end.start()
    assert worker.judge(frame(tmp_path, "pass")).record["verdict"] == "pass"
    end.join()
    assert worker.pid != pid


def test_half_a_picture_is_cleared_away(tmp_path: Path, worker: Worker) -> None:
    task = frame(tmp_path, "halfway")
    clip_map = tmp_path / "map.jpg"
    assert code(worker.judge(Task(task.path, clip_map=str(clip_map)))) == "crashed"
    assert [path.name for path in tmp_path.iterdir()] == ["halfway.dng"]


def test_a_core_that_cannot_be_loaded_is_said(tmp_path: Path) -> None:
    with (
        pytest.raises(WorkerError, match="did not start"),
        Worker(make_judge=judges.that_fails) as worker,
    ):
        worker.judge(frame(tmp_path, "pass"))


def test_closing_ends_the_process(tmp_path: Path) -> None:
    with Worker(make_judge=judges.by_content) as worker:
        worker.judge(frame(tmp_path, "pass"))
        pid = worker.pid
    assert pid is not None
    assert not is_running(pid)
    assert worker.pid is None


PARENT = """
import sys
sys.path.insert(0, {tests!r})
import judges
from inspector.worker import Task, Worker

if __name__ == "__main__":
    worker = Worker(make_judge=judges.by_content)
    worker.judge(Task({ready!r}))
    print(worker.pid, flush=True)
    print(worker.judge(Task({path!r})).record["verdict"], flush=True)
    worker.close()
"""


def parent(tmp_path: Path, words: str) -> tuple[subprocess.Popen[str], int]:
    """A process with a worker that has started on a frame; and the worker's id."""
    script = tmp_path / "parent.py"
    names = {"ready": frame(tmp_path, "pass").path, "path": frame(tmp_path, words).path}
    script.write_text(PARENT.format(tests=str(TESTS), **names))
    process = subprocess.Popen(
        [sys.executable, str(script)],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        start_new_session=True,
    )
    assert process.stdout is not None
    return process, int(process.stdout.readline())


@linux
@pytest.mark.parametrize("words", ["hang", "spin"])
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_the_process_ends_with_its_parent(
    tmp_path: Path, words: str, number: signal.Signals
) -> None:
    process, pid = parent(tmp_path, words)
    with process:
        process.send_signal(number)
    wait_for_end(pid)


@linux
def test_an_interrupt_from_the_keyboard_does_not_reach_the_worker(tmp_path: Path) -> None:
    process, pid = parent(tmp_path, "slow 0.5")
    with process:
        os.kill(pid, signal.SIGINT)
        assert process.stdout is not None
        assert process.stdout.readline().strip() == "pass"
    assert process.returncode == 0
    wait_for_end(pid)
