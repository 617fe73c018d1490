"""The demo: the real watcher on the real sample frames."""

from __future__ import annotations

import os
import queue
import subprocess
import sys
from functools import partial
from pathlib import Path

import pytest

from inspector import demo
from inspector.hotfolder import Inbox
from inspector.lane import Judged, Said
from inspector.record import read_rows
from inspector.simulate import samples
from inspector.watch import Stop


def see(inbox: Inbox, home: Path) -> tuple[demo.Demo, list[Judged], list[str]]:
    show = demo.run_demo(inbox, home=home, write_s=0.05, pause_s=0.0)
    events = list(show.events)
    judged = [event for event in events if isinstance(event, Judged)]
    return show, judged, [event.text for event in events if isinstance(event, Said)]


def some_samples(folder: Path, count: int, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder.mkdir()
    for path in sorted(demo.SAMPLES.glob("*.dng"))[:count]:
        (folder / path.name).symlink_to(path)
    monkeypatch.setattr(demo, "SAMPLES", folder)
    return folder


def test_every_sample_frame_gets_a_verdict(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    some_samples(tmp_path / "samples", 4, monkeypatch)
    show, judged, said = see(queue.SimpleQueue(), tmp_path)
    assert said == []
    assert len(judged) == show.frames == 4
    assert "unreadable" not in {each.row.verdict for each in judged}
    rows = list(read_rows(show.report))
    assert len(rows) == 4
    for row in rows:
        assert (show.report / str(row.clip_map)).stat().st_size > 10_000
    landed = {path.name: path.read_bytes() for path in show.hot_folder.iterdir()}
    assert landed == {path.name: path.read_bytes() for path in demo.SAMPLES.iterdir()}


def test_without_a_checkout_the_frames_are_simulated(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(demo, "SAMPLES", tmp_path / "none here")
    two = samples.evening()[:2]
    monkeypatch.setattr(samples, "evening", lambda: two)
    monkeypatch.setattr(samples, "write_samples", partial(samples.write_samples, megapixels=0.1))
    show, judged, _ = see(queue.SimpleQueue(), tmp_path)
    assert {Path(each.row.path).stem for each in judged} == {each.scene.name for each in two}
    assert show.frames == 2


def test_it_can_be_stopped(tmp_path: Path) -> None:
    inbox: Inbox = queue.SimpleQueue()
    show = demo.run_demo(inbox, home=tmp_path)
    judged = 0
    for event in show.events:
        judged += isinstance(event, Judged)
        inbox.put(Stop())
    assert 1 <= judged < show.frames


def test_a_disk_that_is_full_ends_it_with_the_reason(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    some_samples(tmp_path / "samples", 1, monkeypatch)
    show = demo.run_demo(queue.SimpleQueue(), home=tmp_path)
    show.hot_folder.rmdir()
    show.hot_folder.symlink_to(tmp_path / "samples")  # whose frames are links to the originals
    monkeypatch.setattr(Path, "read_bytes", lambda _: (_ for _ in ()).throw(OSError(28, "full")))
    with pytest.raises(OSError, match="full"):
        list(show.events)


def test_the_command(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "inspector", "demo"]
    done = subprocess.run(
        command,
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"TMPDIR": str(tmp_path)},
    )
    assert done.returncode == 0
    *verdicts, tally, last = done.stdout.splitlines()
    assert tally.startswith(f"{len(verdicts)} frames: ")
    report = Path(last.partition(": ")[2])
    assert len(list(read_rows(report))) == len(verdicts)
