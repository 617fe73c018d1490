"""The record of a set: one row a frame, whatever happens to the process and the disk."""

from __future__ import annotations

import csv
import io
import json
import os
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from judges import told

from inspector import record as module
from inspector.export import COLUMNS, csv_lines, json_lines
from inspector.files import Stamp, safe_name, write_whole
from inspector.lock import LockedError
from inspector.record import DATABASE, MAPS, VERSION, RecordError, Row, Store, read_rows
from inspector.recorder import Recorder

TESTS = Path(__file__).parent


def row(name: str = "a", verdict: str = "pass", size: int = 1, **more: Any) -> Row:
    path = f"/evening/{name}.dng"
    return Row(path, Stamp(size, 2), told(path, verdict) | more)


def rows(folder: Path) -> list[tuple[str, int, str]]:
    return [(Path(r.path).stem, r.stamp.size, r.verdict) for r in read_rows(folder)]


def test_rows_come_back_as_they_were(tmp_path: Path) -> None:
    with closing(Store(tmp_path / "new" / "report")) as store:
        store.add([row("a"), row("b", "warn")])
    first, second = read_rows(tmp_path / "new" / "report")
    assert first.record == row("a").record
    assert first.stamp == Stamp(1, 2)
    assert first.judged_at.endswith("+00:00")
    assert [r.path for r in read_rows(tmp_path / "new" / "report", after=first.id)] == [second.path]


def test_a_frame_judged_again_has_one_row(tmp_path: Path) -> None:
    with closing(Store(tmp_path)) as store:
        store.add([row("a"), row("b")])
        store.add([row("a", "warn")])
    assert rows(tmp_path) == [("b", 1, "pass"), ("a", 1, "warn")]


def test_a_replaced_frame_keeps_both_states(tmp_path: Path) -> None:
    with closing(Store(tmp_path)) as store:
        store.add([row("a", size=1), row("a", size=2)])
        assert store.known() == {"/evening/a.dng": Stamp(2, 2)}
    assert rows(tmp_path) == [("a", 1, "pass"), ("a", 2, "pass")]


def test_a_frame_that_was_not_whole_leaves_no_row_behind(tmp_path: Path) -> None:
    with closing(Store(tmp_path)) as store:
        store.add([row("a", "unreadable", size=1)])
        assert store.known() == {}  # tried again after a restart
        store.add([row("a", size=2)])
    assert rows(tmp_path) == [("a", 2, "pass")]


def test_numbers_of_rows_are_never_given_twice(tmp_path: Path) -> None:
    with closing(Store(tmp_path)) as store:
        store.add([row("a")])
        [before] = read_rows(tmp_path)
        store.add([row("a")])
        [after] = read_rows(tmp_path)
    assert after.id > before.id


@pytest.mark.skipif(sys.platform == "win32", reason="names that Windows does not allow")
def test_names_that_are_no_text(tmp_path: Path) -> None:
    name = os.fsdecode(b"/evening/\xff\n<b>.dng")
    with closing(Store(tmp_path)) as store:
        store.add([Row(name, Stamp(1, 2), told(name, "pass"))])
        assert store.known() == {name: Stamp(1, 2)}
    [found] = read_rows(tmp_path)
    assert (found.path, found.record["frame"]["path"]) == (name, name)
    for line in (*json_lines([found]), *csv_lines([found])):
        line.encode("utf-8")  # writable anywhere


def test_what_lay_there_before_is_remembered(tmp_path: Path) -> None:
    with closing(Store(tmp_path)) as store:
        assert store.earlier("/evening") is None
        store.set_earlier("/evening", {})
        assert store.earlier("/evening") == {}
        store.set_earlier("/evening", {"/evening/a.dng": Stamp(1, 2)})
    with closing(Store(tmp_path)) as store:
        assert store.earlier("/evening") == {"/evening/a.dng": Stamp(1, 2)}
        assert store.earlier("/other") is None


def test_a_second_writer_is_refused_until_the_first_is_gone(tmp_path: Path) -> None:
    store = Store(tmp_path)
    with pytest.raises(LockedError, match=rf"process {os.getpid()}.*--report"):
        Store(tmp_path)
    store.close()
    Store(tmp_path).close()


def test_readers_go_on_while_it_is_written(tmp_path: Path) -> None:
    with closing(Store(tmp_path)) as store:
        store.add([row("a"), row("b")])
        reading = read_rows(tmp_path)
        next(reading)
        store.add([row("c")])
        assert [r.path for r in reading] == ["/evening/b.dng"]


def test_left_pieces_of_pictures_are_cleared_away(tmp_path: Path) -> None:
    Store(tmp_path).close()
    (tmp_path / MAPS / "a.jpg.part").write_bytes(b"half")
    (tmp_path / MAPS / "a.jpg").write_bytes(b"whole")
    Store(tmp_path).close()
    assert [path.name for path in (tmp_path / MAPS).iterdir()] == ["a.jpg"]


def test_an_older_record_is_brought_up_to_date(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with closing(Store(tmp_path)) as store:
        store.add([row("a")])
    step = ("ALTER TABLE frames ADD COLUMN note TEXT NOT NULL DEFAULT 'none'",)
    monkeypatch.setattr(module, "MIGRATIONS", (*module.MIGRATIONS, step))
    monkeypatch.setattr(module, "VERSION", VERSION + 1)
    with closing(Store(tmp_path)) as store:
        store.add([row("b")])
    with closing(sqlite3.connect(tmp_path / DATABASE)) as db:
        assert db.execute("SELECT note FROM frames").fetchall() == [("none",), ("none",)]
        assert db.execute("PRAGMA user_version").fetchone() == (VERSION + 1,)


def test_a_step_that_fails_leaves_the_older_record_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with closing(Store(tmp_path)) as store:
        store.add([row("a")])
    step = ("CREATE TABLE notes (text TEXT)", "INSERT INTO nowhere VALUES (1)")
    with monkeypatch.context() as patch:
        patch.setattr(module, "MIGRATIONS", (*module.MIGRATIONS, step))
        patch.setattr(module, "VERSION", VERSION + 1)
        with pytest.raises(sqlite3.OperationalError):
            Store(tmp_path)
    assert rows(tmp_path) == [("a", 1, "pass")]


def test_a_reader_may_come_before_the_first_row(tmp_path: Path) -> None:
    sqlite3.connect(tmp_path / DATABASE).close()
    (tmp_path / DATABASE).touch()  # made, but no table in it yet
    assert rows(tmp_path) == []
    Store(tmp_path).close()


def test_a_newer_record_is_refused(tmp_path: Path) -> None:
    Store(tmp_path).close()
    with closing(sqlite3.connect(tmp_path / DATABASE)) as db:
        db.execute(f"PRAGMA user_version = {VERSION + 1}")
    for attempt in (lambda: Store(tmp_path), lambda: list(read_rows(tmp_path))):
        with pytest.raises(RecordError, match=r"newer inspector.*update inspector"):
            attempt()


def test_a_damaged_record_is_refused(tmp_path: Path) -> None:
    (tmp_path / DATABASE).write_bytes(b"no database at all" * 100)
    with pytest.raises(RecordError, match=r"damaged.*move it away"):
        Store(tmp_path)
    with pytest.raises(RecordError, match="no record there"):
        list(read_rows(tmp_path / MAPS))


WRITER = """
import sys
sys.path.insert(0, {tests!r})
from pathlib import Path
from inspector.record import Store
from test_record import row

store = Store(Path({folder!r}))
for number in range(100000):
    store.add([row(str(number))])
    print(number, flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL")
@pytest.mark.parametrize("count", [1, 7, 40])
def test_a_killed_writer_loses_nothing_that_was_stored(tmp_path: Path, count: int) -> None:
    script = tmp_path / "writer.py"
    script.write_text(WRITER.format(tests=str(TESTS), folder=str(tmp_path / "report")))
    with subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        for _ in range(count):
            process.stdout.readline()
        process.send_signal(signal.SIGKILL)
        said = count + len(process.stdout.read().split(b"\n")) - 1
    found = [name for name, _, _ in rows(tmp_path / "report")]
    assert found == [str(number) for number in range(len(found))]  # none missing, none twice
    assert len(found) >= said
    Store(tmp_path / "report").close()  # the lock went with the process


# The disk refuses.


def limit_pages(recorder: Recorder, pages: int) -> None:
    """Let SQLite itself find the disk full (PRAGMA max_page_count gives SQLITE_FULL)."""
    assert recorder._store is not None
    recorder._store._db.execute(f"PRAGMA max_page_count = {pages}")


def test_a_full_disk_is_said_once_and_recording_goes_on_when_there_is_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    recorder = Recorder(tmp_path)
    recorder.add(row("a"))
    assert recorder.flush() is None
    limit_pages(recorder, 1)
    recorder.add(row("b", note="x" * 100_000))
    said = recorder.flush()
    assert said is not None
    assert "full" in said
    assert str(tmp_path) in said
    with monkeypatch.context() as patch:  # and it stays full

        def still_full(*_: object) -> None:
            raise sqlite3.OperationalError("database or disk is full")

        patch.setattr(Store, "add", still_full)
        recorder.add(row("c"))
        assert recorder.flush() is None
        assert recorder.waiting == 2
    said = recorder.flush()
    assert said is not None
    assert "recording again" in said
    assert recorder.waiting == 0
    recorder.close()
    assert [name for name, _, _ in rows(tmp_path)] == ["a", "b", "c"]


def test_a_report_folder_that_cannot_be_made_yet(tmp_path: Path) -> None:
    (tmp_path / "disk").write_text("not mounted")
    recorder = Recorder(tmp_path / "disk" / "report")
    assert recorder.known("/evening") == ({}, None)
    recorder.set_earlier("/evening", {"/evening/z.dng": Stamp(1, 2)})
    recorder.add(row("a"))
    said = recorder.flush()
    assert said is not None
    assert "cannot be recorded" in said
    (tmp_path / "disk").unlink()
    assert "recording again" in str(recorder.flush())
    assert recorder.known("/evening")[1] == {"/evening/z.dng": Stamp(1, 2)}
    recorder.close()
    assert [name for name, _, _ in rows(tmp_path / "disk" / "report")] == ["a"]


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write everywhere"
)
def test_a_read_only_report_folder(tmp_path: Path) -> None:
    with closing(Store(tmp_path)) as store:
        store.add([row("a")])
    tmp_path.chmod(0o500)
    try:
        recorder = Recorder(tmp_path)
        recorder.add(row("b"))
        assert "cannot be recorded" in str(recorder.flush())
        assert [name for name, _, _ in rows(tmp_path)] == ["a"]
    finally:
        tmp_path.chmod(0o700)


# Files and exports.


def test_a_file_is_written_whole_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_whole(tmp_path / "map.jpg", b"first")

    def full(path: Path, data: bytes) -> None:
        path.touch()
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(OSError, match="No space left"):
        write_whole(tmp_path / "map.jpg", b"second")
    assert [path.name for path in tmp_path.iterdir()] == ["map.jpg"]
    assert (tmp_path / "map.jpg").read_bytes() == b"first"


@pytest.mark.parametrize(
    ("name", "begins"),
    [
        ("fencer 01.dng", "fencer_01.dng-"),
        ("-rf.dng", "rf.dng-"),
        ("../up.dng", "up.dng-"),
        ("決闘.dng", "_.dng-"),
        ("<b>\n\x1b.dng", "_b_.dng-"),
        (f"{'long' * 60}.dng", "long"),
    ],
)
def test_names_of_pictures_are_valid_everywhere(name: str, begins: str) -> None:
    safe = safe_name(f"/evening/{name}", Stamp(1, 2))
    assert safe.startswith(begins)
    assert len(safe) < 100
    assert set(safe) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_.+-")


def test_names_of_pictures_tell_frames_apart() -> None:
    keys = [("/one/a.dng", 1), ("/two/a.dng", 1), ("/one/a.dng", 2), ("/one/a\n.dng", 1)]
    assert len({safe_name(path, Stamp(size, 2)) for path, size in keys}) == len(keys)


def test_exports_say_what_the_record_says(tmp_path: Path) -> None:
    with closing(Store(tmp_path)) as store:
        store.add([row('quoted "a", b', "warn"), row("b", "unreadable")])
    assert [json.loads(line) for line in json_lines(read_rows(tmp_path))] == [
        r.record for r in read_rows(tmp_path)
    ]
    table = io.StringIO("\r\n".join(csv_lines(read_rows(tmp_path))), newline="")
    found = list(csv.DictReader(table))
    assert tuple(found[0]) == COLUMNS
    assert found[0]["path"] == '/evening/quoted "a", b.dng'
    assert (found[0]["verdict"], found[0]["depth_ev"], found[0]["veil_fraction"]) == (
        "warn",
        "5.0",
        "",
    )
    assert (found[0]["reasons"], found[0]["advice"]) == ("told", "do that")
