"""A live set from hot folder to record, with stand-in judges in real processes."""

from __future__ import annotations

import contextlib
import os
import queue
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import judges
import pytest

from inspector import session as module
from inspector import settle, watch, worker
from inspector.batch import InputError, UnreadableError
from inspector.hotfolder import Inbox
from inspector.lane import Judged, PlateTaken, Revised, Said, UsePlate
from inspector.lock import LockedError
from inspector.record import DATABASE, MAPS, Store, read_rows
from inspector.session import Setup, default_report, follow_set
from inspector.watch import Stop

TESTS = Path(__file__).parent
PATIENCE_S = 60.0
"""After which a test gives up waiting; nothing is measured by it."""


@pytest.fixture(autouse=True)
def stand_in(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worker, "frame_judge", judges.by_content)
    monkeypatch.setattr(watch, "RETRY_S", (0.1, 0.1))
    monkeypatch.setattr(settle, "STILL_S", 0.2)


@pytest.fixture
def hot(tmp_path: Path) -> Path:
    folder = tmp_path / "hot"
    folder.mkdir()
    return folder


class Set:
    """A set being followed; ends when `count` verdicts have come."""

    def __init__(self, hot: Path, **options: Any) -> None:
        self.report = hot.parent / "report"
        self.inbox: Inbox = queue.SimpleQueue()
        self.setup = Setup(hot, self.report, **options)
        self.said: list[str] = []
        self.judged: list[Judged] = []
        self.revised: list[Revised] = []

    def run(self, count: int, *, on: dict[int, Callable[[], object]] | None = None) -> None:
        """Follow until `count` verdicts are there. ``on``: what to do after the so many-th."""
        if count == 0:
            self.inbox.put(Stop())
        limit = threading.Timer(PATIENCE_S, self.inbox.put, [Stop()])
        limit.start()
        try:
            self._follow(count, on or {})
        finally:
            limit.cancel()
        assert len(self.judged) >= count

    def _follow(self, count: int, on: dict[int, Callable[[], object]]) -> None:
        for event in follow_set(self.setup, self.inbox):
            if isinstance(event, Said):
                self.said.append(event.text)
                continue
            if isinstance(event, Revised):
                self.revised.append(event)
                continue
            self.judged.append(event)
            if len(self.judged) in on:
                on[len(self.judged)]()
            if len(self.judged) == count:
                self.inbox.put(Stop())

    def verdicts(self) -> dict[str, str]:
        return {Path(judged.row.path).name: judged.row.verdict for judged in self.judged}

    def rows(self) -> list[tuple[str, str]]:
        return [(Path(row.path).name, row.verdict) for row in read_rows(self.report)]


def shoot(hot: Path, **frames: str) -> None:
    for name, text in frames.items():
        (hot / f"{name}.dng").write_text(text)


def test_every_frame_has_a_verdict_a_row_and_a_map(hot: Path) -> None:
    shoot(hot, a="pass", b="warn", c="pass")
    it = Set(hot, existing=True)
    it.run(3)
    assert it.verdicts() == {"a.dng": "pass", "b.dng": "warn", "c.dng": "pass"}
    assert sorted(it.rows()) == sorted(it.verdicts().items())
    for row in read_rows(it.report):
        assert (row.clip_map is not None) == (row.verdict == "pass")
        if row.clip_map is not None:
            assert (it.report / row.clip_map).read_bytes() == b"picture"
    assert sorted(path.name for path in hot.iterdir()) == ["a.dng", "b.dng", "c.dng"]


def test_what_lies_there_is_left_alone_and_that_is_said(hot: Path) -> None:
    shoot(hot, old="pass")
    it = Set(hot)
    it.run(0)
    assert any("1 frame lay there" in text and "--existing" in text for text in it.said)
    shoot(hot, new="pass")
    again = Set(hot)
    again.run(1)
    assert again.verdicts() == {"new.dng": "pass"}  # came between the two; the old one is still old
    late = Set(hot, existing=True)
    late.run(1)
    assert late.verdicts() == {"old.dng": "pass"}


@pytest.mark.parametrize("fault", ["crash", "hang", "halfway"])
def test_a_fault_costs_one_frame(hot: Path, fault: str) -> None:
    shoot(hot, a="pass", b=fault, c="pass", d="pass")
    it = Set(hot, existing=True, time_limit=1.0)
    it.run(4)
    assert it.verdicts()["b.dng"] == "unreadable"
    assert list(it.verdicts().values()).count("pass") == 3
    assert not list((it.report / MAPS).glob("*.part"))
    assert it.said == []


def test_one_frame_that_hangs_does_not_hold_up_the_next(hot: Path) -> None:
    shoot(hot, a="hang")
    it = Set(hot, existing=True, time_limit=4.0)
    later = [lambda n=n: shoot(hot, **{f"n{n}": "pass"}) for n in range(4)]
    shoot(hot, n="pass")
    it.run(6, on=dict(enumerate(later, 1)))
    order = [Path(judged.row.path).stem for judged in it.judged]
    assert order[-1] == "a"


def test_a_frame_that_becomes_readable_while_it_is_tried(hot: Path) -> None:
    shoot(hot, a="broken")
    it = Set(hot, existing=True)
    it.run(1)
    assert it.verdicts() == {"a.dng": "unreadable"}
    shoot(hot, a="pass now")
    again = Set(hot)
    again.run(1)
    assert again.rows() == [("a.dng", "pass")]


def test_a_frame_that_is_written_to_while_it_is_read_is_judged_as_it_is_after(hot: Path) -> None:
    shoot(hot, a="slow 2", b="pass")
    it = Set(hot, existing=True)

    def rewrite() -> None:
        shoot(hot, a="warn now")

    it.run(2, on={1: rewrite})
    assert it.verdicts() == {"a.dng": "warn", "b.dng": "pass"}
    assert sorted(it.rows()) == [("a.dng", "warn"), ("b.dng", "pass")]
    assert len(list((it.report / MAPS).iterdir())) == 1


def test_a_frame_that_is_deleted_while_it_is_read(hot: Path) -> None:
    shoot(hot, gone="slow 0.5 and broken", a="pass", b="pass")
    it = Set(hot, existing=True)

    def delete() -> None:
        (hot / "gone.dng").unlink()
        shoot(hot, c="slow 1")

    it.run(3, on={1: delete})
    assert it.verdicts() == dict.fromkeys(("a.dng", "b.dng", "c.dng"), "pass")
    assert [name for name, _ in it.rows() if name == "gone.dng"] == []
    assert len([text for text in it.said if "gone.dng: gone before" in text]) == 1


def test_a_plate_serves_all_frames(hot: Path, tmp_path: Path) -> None:
    (tmp_path / "empty.dng").write_text("plate")
    shoot(hot, a="pass")
    it = Set(hot, existing=True, plate=tmp_path / "empty.dng")
    it.run(1)
    assert it.judged[0].row.record["seen_with"] == str(tmp_path / "empty.dng")


def test_the_last_empty_frame_becomes_the_plate_when_asked(hot: Path) -> None:
    shoot(hot, empty="plate")
    it = Set(hot, existing=True, last_plate=True, lanes=1)
    it.run(2, on={1: lambda: shoot(hot, a="pass")})
    assert it.judged[1].row.record["seen_with"] == str(hot / "empty.dng")
    assert it.said == [f"{hot / 'empty.dng'}: the plate from now on"]
    other = Set(hot, lanes=1)
    shoot(hot, b="plate")
    other.run(2, on={1: lambda: shoot(hot, c="pass")})
    assert other.judged[1].row.record["seen_with"] is None


def test_the_plate_can_be_changed_while_the_set_runs(hot: Path) -> None:
    shoot(hot, empty="plate")
    it, outbox = Set(hot, existing=True, lanes=1), queue.SimpleQueue[Any]()
    for event in follow_set(it.setup, it.inbox, outbox):
        if isinstance(event, PlateTaken):
            assert event.path == str(hot / "empty.dng")
            shoot(hot, a="pass")
        elif isinstance(event, Judged) and event.row.path.endswith("empty.dng"):
            outbox.put(UsePlate(event.row.path))
        elif isinstance(event, Judged):
            assert event.row.record["seen_with"] == str(hot / "empty.dng")
            it.inbox.put(Stop())
    assert it.rows() == [("empty.dng", "pass"), ("a.dng", "pass")]


def test_a_plate_that_cannot_be_read_stops_the_start(hot: Path, tmp_path: Path) -> None:
    (tmp_path / "empty.dng").write_text("broken")
    with pytest.raises(UnreadableError, match=r"empty\.dng: no plate"):
        Set(hot, plate=tmp_path / "empty.dng").run(0)


def test_a_plate_with_somebody_in_it_is_said(hot: Path, tmp_path: Path) -> None:
    (tmp_path / "empty.dng").write_text("pass")
    it = Set(hot, plate=tmp_path / "empty.dng")
    it.run(0)
    assert any("somebody seems to stand" in text for text in it.said)


@pytest.mark.parametrize("inside", [".", "report", "a/b/report", "../hot/report"])
def test_a_report_inside_the_hot_folder_is_refused(hot: Path, inside: str) -> None:
    setup = Setup(hot, hot / inside)
    with pytest.raises(InputError, match="nothing is ever written"):
        next(follow_set(setup, queue.SimpleQueue()))
    assert list(hot.iterdir()) == []


def test_a_report_inside_the_hot_folder_by_a_link_is_refused(hot: Path, tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(hot)
    with pytest.raises(InputError, match="nothing is ever written"):
        next(follow_set(Setup(hot, tmp_path / "link" / "report"), queue.SimpleQueue()))


def test_the_default_report_folder_is_a_sibling(hot: Path, tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(hot)
    assert default_report(hot) == default_report(tmp_path / "link") == tmp_path / "hot-report"


def test_a_hot_folder_that_is_none(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    for name in ("file", "nothing"):
        with pytest.raises(InputError, match="not a folder"):
            next(follow_set(Setup(tmp_path / name, tmp_path / "report"), queue.SimpleQueue()))


def test_a_second_watcher_on_the_report_folder_is_refused(hot: Path) -> None:
    it = Set(hot)
    it.report.mkdir()
    store = Store(it.report)
    with pytest.raises(LockedError, match="stop it, or choose another folder"):
        it.run(0)
    store.close()
    it.run(0)


def test_frames_left_at_the_end_are_counted(hot: Path) -> None:
    shoot(hot, **{f"f{n:02}": "slow 0.5" for n in range(8)})
    it = Set(hot, existing=True)
    it.run(2)
    left = 8 - len(it.judged)
    assert 4 <= left <= 6  # the frames at hand were finished
    assert any(f"{left} frames not judged yet" in text for text in it.said)
    again = Set(hot)
    again.run(left)
    assert sorted(name for name, _ in again.rows()) == [f"f{n:02}.dng" for n in range(8)]


def test_closing_early_leaves_no_process(hot: Path) -> None:
    shoot(hot, a="pass", b="hang")
    events = follow_set(Setup(hot, hot.parent / "report", existing=True), queue.SimpleQueue())
    next(events)
    events.close()  # type: ignore[attr-defined]
    Store(hot.parent / "report").close()
    assert not children(os.getpid())


def test_maps_that_cannot_be_written_are_said_once_and_verdicts_go_on(
    hot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("inspector.lane.MAPS", "no such folder")
    shoot(hot, a="pass", b="pass", c="pass")
    it = Set(hot, existing=True)
    it.run(3)
    assert list(it.verdicts().values()) == ["pass"] * 3
    assert [text for text in it.said if "not written" in text] == [
        "not written: No such file or directory"
    ]
    assert [row.clip_map for row in read_rows(it.report)] == [None] * 3


def test_a_recording_that_fails_for_a_while(hot: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "TRY_AGAIN_S", 0.05)
    add, refused = Store.add, [0]

    def refuse(store: Store, rows: Any) -> None:
        refused[0] += 1
        if refused[0] < 3:
            raise OSError(28, "No space left on device")
        add(store, rows)

    monkeypatch.setattr(Store, "add", refuse)
    shoot(hot, a="pass", b="warn")
    it = Set(hot, existing=True)
    it.run(2)
    assert len(it.rows()) == 2
    assert ["cannot be recorded" in text for text in it.said] == [True, False]
    assert "recording again" in it.said[1]


# Real processes: interrupts, kills.

WATCHER = """
import sys
sys.path.insert(0, {tests!r})
import judges
from inspector import worker
from inspector.cli import main

worker.frame_judge = judges.by_content
if __name__ == "__main__":
    main()
"""


@contextlib.contextmanager
def start(tmp_path: Path, *arguments: str) -> Iterator[subprocess.Popen[str]]:
    script = tmp_path / "watcher.py"
    script.write_text(WATCHER.format(tests=str(TESTS)))
    with subprocess.Popen(
        [sys.executable, str(script), "watch", str(tmp_path / "hot"), *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    ) as process:
        try:
            yield process
        except BaseException:
            process.kill()  # the end of the block would wait for it for ever
            raise


def children(pid: int) -> list[int]:
    """Worker processes of a process, as Linux lists them."""
    found = []
    for status in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = status.read_text().rsplit(")", 1)[1].split()
            command = (status.parent / "cmdline").read_bytes()
        except OSError:
            continue
        if int(fields[1]) == pid and fields[0] != "Z" and b"spawn_main" in command:
            found.append(int(status.parent.name))
    return found


KILLS = 100 if os.environ.get("INSPECTOR_NIGHTLY") else 6


def wait_until(holds: Callable[[], bool]) -> None:
    for _ in range(600):
        if holds():
            return
        time.sleep(0.1)
    pytest.fail("waited in vain")


linux = pytest.mark.skipif(sys.platform != "linux", reason="needs /proc and signals")


def lines(process: subprocess.Popen[str]) -> Iterator[str]:
    assert process.stdout is not None
    return iter(process.stdout.readline, "")


@linux
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_finishes_the_frame_at_hand_and_prints_the_tally(
    hot: Path, number: signal.Signals
) -> None:
    shoot(hot, a="pass")
    with start(hot.parent, "--existing") as process:
        assert "a.dng" in next(lines(process))
        workers = children(process.pid)
        assert workers
        shoot(hot, b="slow 0.5")
        time.sleep(0.3)  # the frame is at hand
        os.killpg(process.pid, signal.SIGINT) if number == signal.SIGINT else process.terminate()
        rest = list(lines(process))
    assert process.returncode == 0
    assert rest[-1].strip() in ("2 frames: 2 pass", "1 frame: 1 pass")
    assert len(list(read_rows(hot.parent / "hot-report"))) == int(rest[-1].split()[0])
    assert not [pid for pid in workers if Path(f"/proc/{pid}").exists()]


@linux
def test_a_second_interrupt_ends_at_once(hot: Path) -> None:
    shoot(hot, a="pass", b="hang")
    with start(hot.parent, "--existing") as process:
        next(lines(process))
        workers = children(process.pid)
        for _ in range(2):
            process.send_signal(signal.SIGINT)
            time.sleep(0.2)
        _, said = process.communicate(timeout=30)
    assert process.returncode == 130
    assert "Traceback" not in said
    assert not [pid for pid in workers if Path(f"/proc/{pid}").exists()]


def test_a_flood_of_five_hundred(hot: Path) -> None:
    names = [f"fencer_{number:03}.dng" for number in range(500)]

    def flood() -> None:
        for name in names:
            (hot / name).write_text("pass")

    (hot / "first.dng").write_text("pass")
    it = Set(hot, existing=True)
    it.run(501, on={1: flood})
    states = {path.name: path.read_text() for path in hot.iterdir()}
    assert states == dict.fromkeys([*names, "first.dng"], "pass")
    assert sorted(name for name, _ in it.rows()) == sorted(states)
    assert len(list((it.report / MAPS).iterdir())) == 501


@linux
def test_a_terminal_that_stands_still_holds_up_nothing(hot: Path) -> None:
    import fcntl

    shoot(hot, **{f"f{n:03}": "pass" for n in range(150)})
    with start(hot.parent, "--existing") as process:
        assert process.stdout is not None
        fcntl.fcntl(process.stdout, fcntl.F_SETPIPE_SZ, 4096)  # fcntl(2); it takes some 40 lines
        report = hot.parent / "hot-report"
        wait_until(lambda: (report / DATABASE).exists())
        wait_until(lambda: len(list(read_rows(report))) == 150)
        process.terminate()
        assert process.stdout.read().splitlines()[-1] == "150 frames: 150 pass"


@linux
def test_killed_again_and_again_no_frame_is_missing_and_none_twice(hot: Path) -> None:
    names = [f"fencer_{number:04}.dng" for number in range(10 * KILLS)]
    report = hot.parent / "hot-report"
    rng = random.Random(1)
    for round_ in range(KILLS):
        with start(hot.parent, "--existing") as process:
            for name in names[10 * round_ :][:10]:
                (hot / name).write_text("pass")
            if round_ == 0:  # however slow the machine, one start gets so far
                wait_until(lambda: any(report.glob(f"{MAPS}/*")))
            time.sleep(rng.uniform(0.2, 0.8))
            process.kill()
    with start(hot.parent) as process:
        wait_until(lambda: len(list(read_rows(report))) == len(names))
        process.terminate()
    rows = list(read_rows(report))
    assert sorted(Path(row.path).name for row in rows) == names
    maps = {row.clip_map for row in rows}
    assert len(maps) == len(names)
    assert {f"{MAPS}/{path.name}" for path in (report / MAPS).iterdir()} == maps
    assert all((report / str(name)).read_bytes() == b"picture" for name in maps)
    assert (report / DATABASE).exists()
