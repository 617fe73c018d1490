"""Whole archives: several processes, a break and its resumption, a cluster, one summary."""

from __future__ import annotations

import builtins
import contextlib
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import judges
import pytest
from click.testing import CliRunner, Result

from inspector import worker
from inspector.batch import digest_of_rules, frames_of, judge_all
from inspector.cli import main
from inspector.limits import Limits
from inspector.parallel import in_order, in_parallel, processes_for
from inspector.record import Store, read_rows
from inspector.terminal import Tally
from inspector.worker import Reply, Task, Worker

SAMPLES = Path(__file__).parent.parent / "sample_frames"
FRAMES = sorted(SAMPLES.glob("*.dng"))


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["check", *map(str, arguments)])


def records(result: Result) -> list[dict[str, Any]]:
    return [json.loads(line) for line in result.stdout.splitlines()]


@pytest.fixture
def stand_in(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worker, "frame_judge", judges.by_content)


def archive(folder: Path, count: int, *, every: str = "pass", seventh: str = "warn") -> list[Path]:
    paths = [folder / f"{number:05d}.dng" for number in range(count)]
    for number, path in enumerate(paths):
        path.write_text(seventh if number % 7 == 0 else every)
    return paths


# Several processes.


def test_two_processes_say_what_one_says() -> None:
    one, two = (run("--json", "--jobs", n, *FRAMES) for n in ("1", "2"))
    assert one.exit_code == two.exit_code == 1
    assert records(one) == records(two)
    assert [Path(r["frame"]["path"]) for r in records(two)] == FRAMES


@pytest.mark.usefixtures("stand_in")
def test_the_order_holds_though_a_frame_is_slow(tmp_path: Path) -> None:
    paths = archive(tmp_path, 20)
    paths[3].write_text("slow 0.6")
    found = records(run("--json", "--jobs", "3", tmp_path))
    assert [Path(r["frame"]["path"]) for r in found] == paths


@pytest.mark.usefixtures("stand_in")
def test_a_frame_that_breaks_its_process_costs_one_frame(tmp_path: Path) -> None:
    paths = archive(tmp_path, 20)
    paths[5].write_text("crash")
    result = run("--json", "--jobs", "2", tmp_path)
    assert result.exit_code == 3
    verdicts = [r["verdict"] for r in records(result)]
    assert verdicts.count("unreadable") == 1
    assert verdicts[5] == "unreadable"


def test_frames_are_taken_up_only_so_far_ahead() -> None:
    taken: list[int] = []

    class Done:
        def __init__(self, number: int) -> None:
            self.number = number

        def result(self) -> Reply:
            return Reply({"number": self.number})

    def tasks() -> Iterator[Task]:
        for number in range(1000):
            taken.append(number)
            yield Task(str(number))

    for count, reply in enumerate(in_order(tasks(), lambda t: Done(int(t.path)), 8)):
        assert reply.record["number"] == count
        assert len(taken) <= count + 8


def test_an_interrupted_run_ends_its_processes(tmp_path: Path) -> None:
    paths = archive(tmp_path, 40, every="slow 0.05", seventh="slow 0.05")
    workers = [Worker(make_judge=judges.by_content) for _ in range(2)]
    with contextlib.ExitStack() as stack:
        for each in workers:
            stack.enter_context(each).start()
        replies = judge_all(paths, judging=in_parallel(workers), task=Task(""))
        next(replies)
        pids = [each.pid for each in workers]
        replies.close()
    for pid in pids:
        assert pid is not None
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)


def test_few_frames_are_not_worth_a_second_process() -> None:
    assert processes_for(1) == processes_for(12) == 1
    assert processes_for(10_000) >= 1


# Resumed.


@pytest.mark.usefixtures("stand_in")
def test_resume_judges_only_what_is_missing(tmp_path: Path) -> None:
    frames, report = tmp_path / "frames", tmp_path / "report"
    frames.mkdir()
    paths = archive(frames, 30)
    run("--report", report, *paths[:18])
    judged = {row.path: row.judged_at for row in read_rows(report)}
    result = run("--json", "--report", report, "--resume", frames)
    assert [Path(r["frame"]["path"]) for r in records(result)] == paths
    assert "18 of them from the record" in result.stderr
    again = {row.path: row.judged_at for row in read_rows(report)}
    assert len(again) == 30
    assert all(again[path] == at for path, at in judged.items())


@pytest.mark.usefixtures("stand_in")
def test_a_resumed_run_prints_what_an_unbroken_one_prints(tmp_path: Path) -> None:
    frames = tmp_path / "frames"
    frames.mkdir()
    paths = archive(frames, 12)
    whole = run("--json", "--report", tmp_path / "one", frames)
    run("--report", tmp_path / "two", *paths[:5])
    resumed = run("--json", "--report", tmp_path / "two", "--resume", frames)
    assert records(resumed) == records(whole)
    assert resumed.exit_code == whole.exit_code


@pytest.mark.usefixtures("stand_in")
def test_changed_frames_rules_and_unreadable_ones_are_judged_again(tmp_path: Path) -> None:
    frames, report = tmp_path / "frames", tmp_path / "report"
    frames.mkdir()
    paths = archive(frames, 10)
    paths[2].write_text("broken")
    run("--report", report, frames)
    paths[1].write_text("warn now")
    paths[2].write_text("pass now")
    result = run("--json", "--report", report, "--resume", frames)
    assert [r["verdict"] for r in records(result)][:3] == ["warn", "warn", "pass"]
    assert "8 of them from the record" in result.stderr
    other = run("--report", report, "--resume", "--white-fraction", "0.9", frames)
    assert "from the record" not in other.stderr


def test_the_digest_of_the_rules_knows_plate_look_and_limits(tmp_path: Path) -> None:
    plate = tmp_path / "plate.dng"
    plate.write_text("plate")
    tasks = [
        Task("a"),
        Task("a", look="filled"),
        Task("a", limits=Limits(white_fraction=0.9)),
        Task("a", plate=str(plate)),
    ]
    digests = [digest_of_rules(task) for task in tasks]
    plate.write_text("another plate")
    assert len({*digests, digest_of_rules(tasks[-1])}) == 5
    assert digest_of_rules(Task("b")) == digests[0]  # the frame itself has no part in it


def test_killed_in_the_middle_it_goes_on_where_it_was(tmp_path: Path) -> None:
    report = tmp_path / "report"
    code = "from inspector.cli import main; main()"
    # A process of its own, so that it can be killed as a power cut would.
    command = [sys.executable, "-c", code, "check", "--jobs", "1", "--report", str(report)]
    process = subprocess.Popen([*command, *map(str, FRAMES)], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    for _ in range(3):
        process.stdout.readline()
    process.kill()
    process.wait()
    process.stdout.close()
    before = len(list(read_rows(report)))
    assert 2 <= before < len(FRAMES)
    result = run("--json", "--report", report, "--resume", *FRAMES)
    assert f"{before} of them from the record" in result.stderr
    maps = {"clip_map", "histogram", "profile"}
    fresh = records(run("--json", *FRAMES))
    for again, once in zip(records(result), fresh, strict=True):
        assert {k: v for k, v in again.items() if k in once and k not in maps} == once


# Many frames.


@pytest.mark.usefixtures("stand_in")
def test_10000_frames_take_no_more_memory_than_1000(tmp_path: Path) -> None:
    frames = tmp_path / "frames"
    frames.mkdir()
    paths = archive(frames, 10_000)
    store = Store(tmp_path / "report")
    store.close()
    most = []
    with contextlib.ExitStack() as stack:
        workers = [stack.enter_context(Worker(make_judge=judges.by_content)) for _ in range(2)]
        for each in workers:
            each.start()
        tally = Tally()
        for reply in judge_all(paths, judging=in_parallel(workers), task=Task("")):
            tally.add(reply.record)
            if sum(tally.verdicts.values()) in (1000, 10_000):
                most.append(resident_kb())
    assert tally.verdicts == {"pass": 8571, "warn": 1429}
    assert most[1] - most[0] < 20_000  # 20 MB; every record held would be 5 kB a frame


def resident_kb() -> int:
    """Resident memory of this process (proc(5)); 0 where the system does not tell."""
    status = Path("/proc/self/status")
    if not status.exists():
        return 0
    line = next(line for line in status.read_text().splitlines() if line.startswith("VmRSS"))
    return int(line.split()[1])


@pytest.mark.usefixtures("stand_in")
def test_one_summary_at_the_end_of_many(tmp_path: Path) -> None:
    archive(tmp_path, 21)
    result = run(tmp_path)
    assert result.stderr.startswith("21 frames: 18 pass, 3 warn; told 3; in ")
    assert result.stderr.count("\n") == 1


def test_the_tally_counts_a_reason_once_a_frame() -> None:
    tally = Tally()
    twice = {"verdict": "warn", "reasons": [{"code": "spill"}, {"code": "spill"}]}
    tally.add(twice)
    tally.add({"verdict": "pass", "reasons": []}, stored=True)
    assert tally.text(75) == "2 frames: 1 pass, 1 warn; spill 1; 1 of them from the record; in " + (
        "1 min 15 s"
    )


def test_a_folder_named_like_a_frame_costs_no_other(tmp_path: Path) -> None:
    """Named by a pattern, say; the real decoder tells what it is."""
    folder, noise = tmp_path / "folder.dng", tmp_path / "noise.dng"
    folder.mkdir()
    noise.write_bytes(bytes(2000))
    result = run("--json", folder, noise)
    assert result.exit_code == 3
    assert [record["verdict"] for record in records(result)] == ["unreadable"] * 2
    assert "a folder, not a raw frame" in records(result)[0]["reasons"][0]["text"]


@pytest.mark.usefixtures("stand_in")
def test_subfolders_on_request(tmp_path: Path) -> None:
    for name in ("b", "a/deep", ""):
        (tmp_path / name).mkdir(parents=True, exist_ok=True)
        (tmp_path / name / "one.dng").write_text("pass")
    assert len(records(run("--json", tmp_path))) == 1
    found = records(run("--json", "--subfolders", tmp_path))
    places = [Path(r["frame"]["path"]).parent.relative_to(tmp_path) for r in found]
    assert places == [Path(), Path("a/deep"), Path("b")]
    named, _ = frames_of([tmp_path], subfolders=True)
    assert len(named) == 3


# A cluster.


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    """Two workers of this machine, each a process of its own."""
    from distributed import LocalCluster

    with LocalCluster(  # type: ignore[no-untyped-call]
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as found:
        yield found


def test_a_cluster_of_two_workers_says_what_this_machine_says(cluster: Any, tmp_path: Path) -> None:
    local = run("--json", "--plate", FRAMES[0], *FRAMES)
    address = cluster.scheduler_address
    away = run("--json", "--plate", FRAMES[0], "--cluster", address, *FRAMES)
    assert away.exit_code == local.exit_code
    assert records(away) == records(local)


def test_a_cluster_writes_the_report_and_resumes(cluster: Any, tmp_path: Path) -> None:
    address, report = cluster.scheduler_address, tmp_path / "report"
    run("--cluster", address, "--report", report, *FRAMES[:5])
    result = run("--json", "--cluster", address, "--report", report, "--resume", *FRAMES)
    assert "5 of them from the record" in result.stderr
    rows = list(read_rows(report))
    assert {Path(row.path) for row in rows} == set(FRAMES)
    assert all(row.clip_map and (report / row.clip_map).stat().st_size for row in rows)


def test_both_workers_of_the_cluster_work(cluster: Any) -> None:
    from distributed import Client

    def executed(dask_worker: Any) -> int:
        return int(dask_worker.state.executed_count)

    with Client(cluster, set_as_default=False) as client:  # type: ignore[no-untyped-call]
        before = client.run(executed)
        run("--cluster", cluster.scheduler_address, *FRAMES)
        after = client.run(executed)
    assert len(after) == 2
    assert all(after[name] > before[name] for name in after)


def test_a_frame_of_which_several_workers_die_is_given_up() -> None:
    from distributed import KilledWorker

    from inspector.cluster import _Awaited

    class Future:
        def result(self) -> Reply:
            raise KilledWorker("task", None, 3)  # type: ignore[arg-type]

        def release(self) -> None:
            pass

    class Client:
        def submit(self, *_: Any, **__: Any) -> Future:
            return Future()

    reply = _Awaited(Client(), Task("a.dng"), "tcp://studio:8786").result()
    assert reply.record["verdict"] == "unreadable"
    assert reply.record["frame"]["path"] == "a.dng"
    assert reply.record["reasons"][0]["code"] == "crashed"


def test_an_unreadable_frame_on_a_cluster(cluster: Any, tmp_path: Path) -> None:
    bad = tmp_path / "bad.dng"
    bad.write_bytes(b"no frame")
    address = cluster.scheduler_address
    away, local = run("--json", "--cluster", address, bad), run("--json", bad)
    assert away.exit_code == local.exit_code == 3
    assert records(away) == records(local)


def test_no_scheduler_and_no_dask_are_said_in_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    from inspector import cluster as module

    monkeypatch.setattr(module, "PATIENCE_S", 1)
    result = run("--cluster", "tcp://127.0.0.1:9", FRAMES[0])
    assert result.exit_code == 2
    assert "no Dask scheduler answers there" in result.stderr
    assert run("--cluster", "nonsense://x", FRAMES[0]).exit_code == 2

    real = builtins.__import__

    def no_dask(name: str, *rest: Any, **more: Any) -> Any:
        if name.startswith("distributed"):
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", no_dask)
    result = run("--cluster", "tcp://127.0.0.1:9", FRAMES[0])
    assert result.exit_code == 2
    assert "pip install 'inspector[cluster]'" in result.stderr


def test_resume_needs_a_report() -> None:
    result = run("--resume", FRAMES[0])
    assert result.exit_code == 2
    assert "--resume goes on with what --report holds" in result.stderr
