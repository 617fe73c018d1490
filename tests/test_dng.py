"""The DNG writer: what it promises beyond what decoders read back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from raw_frames import frame_of

from inspector.decode import decode
from inspector.frame import Frame, Shot
from inspector.rawnames import is_companion_name, is_raw_name
from inspector.simulate.dng import write_dng


@pytest.mark.parametrize("pattern", ["RGGB", "X-Trans", "mono", "rgb"])
def test_same_frame_gives_same_bytes(tmp_path: Path, pattern: str) -> None:
    frame = frame_of(pattern)
    write_dng(tmp_path / "a.dng", frame)
    write_dng(tmp_path / "b.dng", frame)
    assert (tmp_path / "a.dng").read_bytes() == (tmp_path / "b.dng").read_bytes()


def test_failed_write_keeps_the_old_file_and_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "plate.dng"
    write_dng(path, frame_of())
    before = path.read_bytes()
    seen: list[str] = []

    def fail(self: Path, target: Path) -> None:
        seen.append(self.name)
        raise OSError("disk full")

    monkeypatch.setattr(Path, "replace", fail)
    with pytest.raises(OSError, match="disk full"):
        write_dng(path, frame_of(clip=15000))
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["plate.dng"]
    # A watcher must not take the half-written file for a frame.
    assert len(seen) == 1
    assert not is_raw_name(seen[0])
    assert not is_companion_name(seen[0])


def test_level_beyond_the_converter_is_refused(tmp_path: Path) -> None:
    frame = frame_of(mosaic=np.full((24, 24), 4096, np.uint16))
    with pytest.raises(ValueError, match=r"p\.dng: level 4096 does not fit into 12 bits"):
        write_dng(tmp_path / "p.dng", frame, bits=12)
    write_dng(tmp_path / "p.dng", frame, bits=13)


def test_unknown_channels_are_refused(tmp_path: Path) -> None:
    frame = replace(frame_of(), channels=("C", "M", "Y"))
    with pytest.raises(ValueError, match=r"no DNG form for channels \('C', 'M', 'Y'\)"):
        write_dng(tmp_path / "p.dng", frame)


def test_stated_white_need_not_be_the_frames_own(tmp_path: Path) -> None:
    write_dng(tmp_path / "p.dng", frame_of(clip=15000), stated_white=15488)
    assert decode(tmp_path / "p.dng").stated_clip.tolist() == [15488] * 4


def test_one_white_level_for_a_filter_array_is_the_greatest(tmp_path: Path) -> None:
    frame = replace(frame_of(), stated_clip=np.array([15100.0, 15300, 15200, 15000]))
    write_dng(tmp_path / "p.dng", frame)
    assert decode(tmp_path / "p.dng").stated_clip.tolist() == [15300] * 4


def test_frame_that_knows_nothing_of_its_shot(tmp_path: Path) -> None:
    write_dng(tmp_path / "p.dng", replace(frame_of(), shot=Shot()))
    assert decode(tmp_path / "p.dng").shot == Shot(camera="Simulated camera")


def test_iso_that_its_tag_cannot_hold_is_left_out(tmp_path: Path) -> None:
    frame: Frame = frame_of()
    write_dng(tmp_path / "p.dng", replace(frame, shot=replace(frame.shot, iso=102400.0)))
    assert decode(tmp_path / "p.dng").shot == replace(frame.shot, iso=None)
