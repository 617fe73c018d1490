"""The watcher on real folders, with the system's own events and by polling."""

from __future__ import annotations

import os
import queue
import shutil
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from inspector import hotfolder, settle
from inspector.files import stamp_of
from inspector.hotfolder import HotFolder, Inbox
from inspector.mounts import file_system
from inspector.watch import Change, Companion, Finished, Notice, Stop, Vanished, watch

PATIENCE_S = 30.0
"""After which a test gives up waiting; nothing is measured by it."""

posix = pytest.mark.skipif(sys.platform == "win32", reason="names that Windows does not allow")
linux = pytest.mark.skipif(sys.platform != "linux", reason="needs inotify(7)")


class Watched:
    """A hot folder that is being watched by another thread."""

    def __init__(self, folder: Path, **options: Any) -> None:
        self.folder = folder
        self.inbox: Inbox = queue.SimpleQueue()
        self.changes: queue.SimpleQueue[Change] = queue.SimpleQueue()
        self.seen: list[Change] = []
        self.source = HotFolder(folder, self.inbox, **options)
        self.thread = threading.Thread(target=self.run, daemon=True)

    def run(self) -> None:
        for change in watch(self.source):
            self.changes.put(change)

    def frames(self, count: int) -> list[Finished]:
        """The next `count` finished frames."""
        found: list[Any] = []
        while len(found) < count:
            change = self.changes.get(timeout=PATIENCE_S)
            (found if isinstance(change, Finished) else self.seen).append(change)
        return found

    def names(self, count: int) -> list[str]:
        return [os.path.relpath(frame.path, self.source.folder) for frame in self.frames(count)]

    def one(self, kind: type[Change]) -> Change:
        """The next change of a kind, also among those already taken."""
        while True:
            for change in self.seen:
                if isinstance(change, kind):
                    self.seen.remove(change)
                    return change
            self.seen.append(self.changes.get(timeout=PATIENCE_S))

    def rest(self) -> list[Change]:
        """All that was not taken, when the watching ends now."""
        self.inbox.put(Stop())
        self.thread.join(PATIENCE_S)
        assert not self.thread.is_alive()
        while not self.changes.empty():
            self.seen.append(self.changes.get())
        return self.seen


@contextmanager
def watched(folder: Path, **options: Any) -> Iterator[Watched]:
    threads = threading.active_count()
    it = Watched(folder, **options)
    with it.source:
        it.thread.start()
        try:
            yield it
        finally:
            it.inbox.put(Stop())
            it.thread.join(PATIENCE_S)
    assert threading.active_count() <= threads  # watchdog's threads have ended too


@pytest.fixture(autouse=True)
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(settle, "STILL_S", 0.3)


@pytest.fixture
def hot(tmp_path: Path) -> Path:
    folder = tmp_path / "hot folder"
    folder.mkdir()
    return folder


@pytest.fixture(params=[None, 0.1], ids=["events", "polling"])
def poll(request: pytest.FixtureRequest) -> float | None:
    value: float | None = request.param
    return value


def test_frame_that_arrives_slowly_comes_once_and_whole(hot: Path, poll: float | None) -> None:
    with watched(hot, poll=poll) as it, (hot / "slow.dng").open("wb") as file:
        for _ in range(6):
            file.write(bytes(1000))
            file.flush()
            time.sleep(0.1)
        file.close()
        [frame] = it.frames(1)
        assert frame.stamp.size == 6000
        assert not any(isinstance(change, Finished) for change in it.rest())


def test_temporary_name_then_rename(hot: Path, poll: float | None) -> None:
    with watched(hot, poll=poll) as it:
        for temporary in (".a.dng.x7", "a.dng.part", "a.tmp"):
            (hot / temporary).write_bytes(b"frame")
            (hot / temporary).rename(hot / f"{temporary.strip('.')}.dng")
        assert set(it.names(3)) == {"a.dng.x7.dng", "a.dng.part.dng", "a.tmp.dng"}
        assert not any(isinstance(change, Vanished) for change in it.rest())


def test_moved_in_from_elsewhere_with_its_old_time(
    hot: Path, tmp_path: Path, poll: float | None
) -> None:
    (tmp_path / "old.dng").write_bytes(b"frame")
    os.utime(tmp_path / "old.dng", (1_000_000_000, 1_000_000_000))
    with watched(hot, poll=poll) as it:
        (tmp_path / "old.dng").rename(hot / "old.dng")
        assert it.names(1) == ["old.dng"]


def test_copied_with_its_time_comes_once(hot: Path, tmp_path: Path) -> None:
    (tmp_path / "old.dng").write_bytes(b"frame")
    os.utime(tmp_path / "old.dng", (1_000_000_000, 1_000_000_000))
    with watched(hot) as it:
        shutil.copy2(tmp_path / "old.dng", hot)
        [frame] = it.frames(1)
        assert frame.stamp.mtime_ns == 10**18
        assert not any(isinstance(change, Finished) for change in it.rest())


def test_replaced_under_the_same_name(hot: Path, poll: float | None) -> None:
    with watched(hot, poll=poll) as it:
        (hot / "a.dng").write_bytes(b"first")
        assert it.frames(1)[0].stamp.size == 5
        (hot / "b").write_bytes(b"the second")
        (hot / "b").replace(hot / "a.dng")
        [frame] = it.frames(1)
        assert (Path(frame.path).name, frame.stamp.size) == ("a.dng", 10)


def test_deleted_before_it_is_finished(hot: Path) -> None:
    with watched(hot, poll=0.1) as it:
        with (hot / "a.dng").open("wb") as file:
            for _ in range(4):
                file.write(b"piece")
                file.flush()
                time.sleep(0.1)
        (hot / "a.dng").unlink()
        gone = it.one(Vanished)
        assert isinstance(gone, Vanished)
        assert Path(gone.path).name == "a.dng"


def test_a_hundred_at_once(hot: Path, poll: float | None) -> None:
    with watched(hot, poll=poll) as it:
        for number in range(100):
            (hot / f"fencer_{number:03}.dng").write_bytes(bytes(number + 1))
        frames = it.frames(100)
        assert len({frame.path for frame in frames}) == 100
        assert not any(isinstance(change, Finished) for change in it.rest())


@posix
def test_names_of_every_kind(hot: Path, poll: float | None) -> None:
    names = [
        "Fechterin Grüße – 決闘 🤺.dng",
        "two  spaces .dng",
        "new\nline.dng",
        "-rf.dng",
        "<b onclick=x>&amp;.dng",
        "tab\tquote\"'.dng",
        "esc\x1b[31m.dng",
        os.fsdecode(b"latin\xe9.dng"),
        "%s{0}$HOME`id`.dng",
    ]
    with watched(hot, poll=poll) as it:
        for name in names:
            (hot / name).write_bytes(b"frame")
        assert set(it.names(len(names))) == set(names)


def test_what_is_no_visible_regular_file_is_passed_over(hot: Path, poll: float | None) -> None:
    with watched(hot, poll=poll) as it:
        (hot / "folder.dng").mkdir()
        (hot / "._a.dng").write_bytes(b"resource fork")
        (hot / ".hidden.dng").write_bytes(b"frame")
        if hasattr(os, "mkfifo"):
            os.mkfifo(hot / "pipe.dng")
        (hot / "last.dng").write_bytes(b"frame")
        assert it.names(1) == ["last.dng"]
        assert not any(isinstance(change, Finished) for change in it.rest())


def test_pictures_of_other_kinds_are_said_once(hot: Path, poll: float | None) -> None:
    with watched(hot, poll=poll) as it:
        for name in ("a.jpg", "b.jpg", "c.jpg", "c.dng"):
            (hot / name).write_bytes(b"picture")
        it.frames(1)
        said = [change for change in it.rest() if isinstance(change, Companion)]
        assert len(said) == 1


def test_links_are_followed_inside_the_folder_only(
    hot: Path, tmp_path: Path, poll: float | None
) -> None:
    (hot / "real.dng").write_bytes(b"frame")
    (tmp_path / "outside.dng").write_bytes(b"frame")
    with watched(hot, poll=poll) as it:
        (hot / "away.dng").symlink_to(tmp_path / "outside.dng")
        (hot / "broken.dng").symlink_to(tmp_path / "nothing.dng")
        (hot / "loop.dng").symlink_to(hot / "loop.dng")
        (hot / "inside.dng").symlink_to(hot / "real.dng")
        assert set(it.names(2)) == {"real.dng", "inside.dng"}
        notice = it.one(Notice)
        assert isinstance(notice, Notice)
        assert "--follow-links" in notice.text
        assert not any(isinstance(change, Finished) for change in it.rest())


def test_links_are_followed_out_of_the_folder_when_asked(
    hot: Path, tmp_path: Path, poll: float | None
) -> None:
    (tmp_path / "outside.dng").write_bytes(b"frame")
    with watched(hot, poll=poll, follow_links=True) as it:
        (hot / "away.dng").symlink_to(tmp_path / "outside.dng")
        assert it.names(1) == ["away.dng"]


def test_subfolders_when_asked(hot: Path, poll: float | None) -> None:
    (hot / "one" / "deep").mkdir(parents=True)
    (hot / "one" / "circle").symlink_to(hot)
    with watched(hot, poll=poll, subfolders=True) as it:
        (hot / "one" / "deep" / "a.dng").write_bytes(b"frame")
        (hot / "two").mkdir()
        (hot / "two" / "b.dng").write_bytes(b"frame")
        (hot / ".hidden").mkdir()
        (hot / ".hidden" / "c.dng").write_bytes(b"frame")
        expected = {os.path.join("one", "deep", "a.dng"), os.path.join("two", "b.dng")}  # noqa: PTH118
        assert set(it.names(2)) == expected
        assert not any(isinstance(change, Finished) for change in it.rest())


def test_subfolders_are_left_alone_otherwise(hot: Path, poll: float | None) -> None:
    (hot / "one").mkdir()
    with watched(hot, poll=poll) as it:
        (hot / "one" / "a.dng").write_bytes(b"frame")
        (hot / "b.dng").write_bytes(b"frame")
        assert it.names(1) == ["b.dng"]
        assert not any(isinstance(change, Finished) for change in it.rest())


def test_the_folder_goes_and_comes_back(
    hot: Path, tmp_path: Path, poll: float | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hotfolder, "LOOK_S", 0.2)
    with watched(hot, poll=poll) as it:
        (hot / "a.dng").write_bytes(b"frame")
        assert it.names(1) == ["a.dng"]
        hot.rename(tmp_path / "elsewhere")
        gone = it.one(Notice)
        (tmp_path / "elsewhere").rename(hot)
        back = it.one(Notice)
        assert isinstance(gone, Notice)
        assert isinstance(back, Notice)
        assert ("gone" in gone.text, "back" in back.text) == (True, True)
        (hot / "b.dng").write_bytes(b"frame")
        assert it.names(1) == ["b.dng"]


def test_another_folder_in_its_place_is_followed(
    hot: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As when a card or share is mounted over the folder: the events must follow."""
    monkeypatch.setattr(hotfolder, "LOOK_S", 0.2)
    (tmp_path / "mounted").mkdir()
    with watched(hot) as it:
        it.source.scan()
        hot.rename(tmp_path / "beneath")
        (tmp_path / "mounted").rename(hot)
        (hot / "a.dng").write_bytes(b"frame")
        assert it.names(1) == ["a.dng"]
        monkeypatch.setattr(hotfolder, "LOOK_S", 1000.0)
        time.sleep(0.5)  # the last look round that was due
        (hot / "b.dng").write_bytes(b"frame")
        assert it.names(1) == ["b.dng"]


@linux
def test_a_writer_that_pauses_is_waited_for(hot: Path) -> None:
    with watched(hot) as it, (hot / "a.dng").open("wb") as file:
        file.write(b"one piece")
        file.flush()
        time.sleep(0.8)  # longer than a closed or silent file may take
        file.write(b", another")
        file.close()
        [frame] = it.frames(1)
        assert frame.stamp.size == 18


def test_without_events_the_folder_is_polled_and_that_is_said(
    hot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise OSError(28, "inotify watch limit reached")

    monkeypatch.setattr("watchdog.observers.api.BaseObserver.schedule", refuse)
    with watched(hot) as it:
        (hot / "a.dng").write_bytes(b"frame")
        assert it.names(1) == ["a.dng"]
        notice = it.one(Notice)
        assert isinstance(notice, Notice)
        assert "inotify watch limit reached" in notice.text
        assert it.source.every == hotfolder.POLL_S


def test_a_network_share_is_polled_and_that_is_said(
    hot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hotfolder, "network_kind", lambda _: "nfs4")
    with watched(hot) as it:
        notice = it.one(Notice)
        assert isinstance(notice, Notice)
        assert "nfs4" in notice.text
        assert it.source.every == hotfolder.POLL_S


def test_nothing_is_written_into_the_hot_folder(hot: Path) -> None:
    (hot / "a.dng").write_bytes(b"frame")
    before = stamp_of(hot / "a.dng"), hot.stat().st_mtime_ns
    with watched(hot) as it:
        it.frames(1)
    assert (stamp_of(hot / "a.dng"), hot.stat().st_mtime_ns) == before
    assert [path.name for path in hot.iterdir()] == ["a.dng"]


# The form and the escapes of the text: proc_mounts(5), getmntent(3).
MOUNTS = """\
/dev/sda1 / ext4 rw,relatime 0 0
studio:/sets /mnt/sets nfs4 rw,relatime 0 0
//nas/evening /mnt/poster\\040evening cifs rw 0 0
assistant@laptop:/shots /mnt/sets/laptop fuse.sshfs rw 0 0
/dev/sdb1 /mnt/card vfat rw 0 0
tmpfs /mnt/card tmpfs rw 0 0
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/home/fencer/hot", "ext4"),
        ("/mnt/sets", "nfs4"),
        ("/mnt/sets/2024/hot", "nfs4"),
        ("/mnt/setsquare", "ext4"),
        ("/mnt/poster evening/hot", "cifs"),
        ("/mnt/sets/laptop/hot", "fuse.sshfs"),
        ("/mnt/card", "tmpfs"),
    ],
)
def test_file_system_of_a_path(path: str, kind: str) -> None:
    assert file_system(path, MOUNTS) == kind
