"""Decoding: every sensor kind comes back as it was written, and bad input in one line."""

from __future__ import annotations

import os
import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from raw_frames import ORDERS, SHOT, bare_dng, frame_of

from inspector.decode import DecodeError, decode
from inspector.frame import Frame
from inspector.rawnames import COMPANION_SUFFIXES, RAW_SUFFIXES, is_companion_name, is_raw_name
from inspector.simulate.dng import write_dng

KINDS = (*ORDERS, "X-Trans", "mono", "rgb")


def assert_same(read: Frame, written: Frame) -> None:
    np.testing.assert_array_equal(read.mosaic, written.mosaic)
    np.testing.assert_array_equal(read.pattern, written.pattern)
    assert read.channels == written.channels
    np.testing.assert_allclose(read.black, written.black, rtol=1e-6)
    np.testing.assert_array_equal(read.stated_clip, written.stated_clip)
    # LibRaw keeps the multipliers in single precision.
    np.testing.assert_allclose(read.gains, written.gains, rtol=1e-6)
    assert read.orientation == written.orientation
    assert read.shot == written.shot


# Round trips


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("bits", [12, 14, 16])
def test_frame_comes_back_as_written(tmp_path: Path, kind: str, bits: int) -> None:
    count = len(frame_of(kind).channels)
    top = (1 << bits) - 1
    frame = frame_of(kind, black=tuple(60.5 + c for c in range(count)), clip=top)
    frame = replace(frame, mosaic=np.minimum(frame.mosaic << (bits - 12), top).astype(np.uint16))
    write_dng(tmp_path / "frame.dng", frame, bits=bits)
    assert_same(decode(tmp_path / "frame.dng"), frame)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_comes_back(tmp_path: Path, orientation: int) -> None:
    write_dng(tmp_path / "frame.dng", frame_of(orientation=orientation))
    read = decode(tmp_path / "frame.dng")
    assert read.orientation == orientation
    assert read.size == ((48, 66) if orientation >= 5 else (66, 48))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("masked", [(4, 8, 0, 0), (3, 5, 2, 7), (2, 5, 1, 0), (7, 6, 0, 3)])
def test_masked_border_is_left_out_and_the_filter_phase_kept(
    tmp_path: Path, kind: str, masked: tuple[int, int, int, int]
) -> None:
    frame = frame_of(kind, black=(400, 500, 600, 700)[: len(frame_of(kind).channels)])
    write_dng(tmp_path / "frame.dng", frame, masked=masked)
    read = decode(tmp_path / "frame.dng")
    # LibRaw may begin at the next even row and column: the same scene, cut by one.
    dy, dx = np.subtract(frame.mosaic.shape[:2], read.mosaic.shape[:2])
    assert 0 <= dy <= 1
    assert 0 <= dx <= 1
    np.testing.assert_array_equal(read.mosaic, frame.mosaic[dy:, dx:])
    np.testing.assert_array_equal(read.pattern, np.roll(frame.pattern, (-dy, -dx), (0, 1)))
    np.testing.assert_allclose(read.black, frame.black)


@settings(max_examples=60, deadline=None)
@given(
    mosaic=arrays(
        np.uint16,
        st.tuples(st.integers(22, 40), st.integers(22, 40)),  # LibRaw takes none smaller
        elements=st.integers(0, 16383),
    ),
    kind=st.sampled_from(ORDERS),
    black=st.tuples(*[st.floats(0, 2000)] * 4),
    orientation=st.integers(1, 8),
)
def test_any_small_mosaic_comes_back(
    tmp_path_factory: pytest.TempPathFactory,
    mosaic: np.ndarray[tuple[int, int], np.dtype[np.uint16]],
    kind: str,
    black: tuple[float, ...],
    orientation: int,
) -> None:
    path = tmp_path_factory.mktemp("any") / "frame.dng"
    frame = frame_of(kind, mosaic=mosaic, black=black, orientation=orientation)
    write_dng(path, frame)
    read = decode(path)
    np.testing.assert_array_equal(read.mosaic, mosaic)
    np.testing.assert_allclose(read.black, black, atol=1e-5)
    assert read.orientation == orientation


# What the frame is made of


def test_frame_outlives_its_file(tmp_path: Path) -> None:
    path = tmp_path / "frame.dng"
    frame = frame_of()
    write_dng(path, frame)
    read = decode(path)
    path.unlink()
    assert read.mosaic.flags.owndata
    assert read.mosaic.flags.c_contiguous
    assert read.mosaic.dtype == np.uint16
    np.testing.assert_array_equal(read.mosaic, frame.mosaic)
    assert read.path == str(path)


def test_file_is_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "frame.dng"
    write_dng(path, frame_of())
    path.chmod(0o444)
    before = (path.read_bytes(), path.stat().st_mtime_ns)
    decode(path)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before
    assert list(tmp_path.iterdir()) == [path]


def test_file_without_as_shot_balance_or_levels(tmp_path: Path) -> None:
    bare_dng(tmp_path / "frame.dng", frame_of().mosaic)
    read = decode(tmp_path / "frame.dng")
    assert read.gains.tolist() == [1, 1, 1, 1]
    assert read.black.tolist() == [0, 0, 0, 0]
    assert read.stated_clip.tolist() == [65535] * 4
    assert read.shot.camera == "Bare camera"
    assert read.shot.taken_at is None


def test_daylight_balance_stands_in_for_a_missing_as_shot_one(tmp_path: Path) -> None:
    # A camera whose ColorMatrix1 says that daylight excites it twice as much in green.
    matrix = np.array([[1, 0, 0], [0, 2, 0], [0, 0, 1]])
    flat = tuple(int(n) for v in matrix.ravel() for n in (v, 1))
    bare_dng(tmp_path / "frame.dng", frame_of().mosaic, {50721: (10, 9, flat), 50778: (3, 1, 21)})
    gains = decode(tmp_path / "frame.dng").gains
    assert gains[1] == gains[2] == gains.min() == 1
    assert gains[0] > 1.5


def test_white_level_of_each_plane_of_an_rgb_file(tmp_path: Path) -> None:
    frame = replace(frame_of("rgb"), stated_clip=np.array([15000.0, 16000, 15500]))
    write_dng(tmp_path / "frame.dng", frame)
    assert decode(tmp_path / "frame.dng").stated_clip.tolist() == [15000, 16000, 15500]


def test_white_level_below_black_is_not_believed(tmp_path: Path) -> None:
    write_dng(tmp_path / "frame.dng", frame_of(black=512), stated_white=100)
    assert decode(tmp_path / "frame.dng").stated_clip.tolist() == [65535] * 4


def test_camera_and_time_of_a_file_that_is_no_dng(tmp_path: Path) -> None:
    """LibRaw takes a plain 16-bit TIFF; its camera and time come from the Exif reader."""
    path = tmp_path / "bench.raw"
    tags = {271: b"Fencing hall", 272: b"Fencing hall camera", 306: b"2024:05:03 19:20:11"}
    extra = [(code, 2, 0, text, True) for code, text in tags.items()]
    tifffile.imwrite(path, frame_of().mosaic, metadata=None, software=False, extratags=extra)
    shot = decode(path).shot
    assert shot.camera == "Fencing hall camera"
    assert shot.taken_at == SHOT.taken_at


@pytest.mark.parametrize("name", ["pose 3.dng", "Fechtclub Überfall.DNG", "-x.dng", "50%.dng"])
def test_odd_names(tmp_path: Path, name: str) -> None:
    write_dng(tmp_path / name, frame_of())
    assert decode(tmp_path / name).path == str(tmp_path / name)


@pytest.mark.skipif(sys.platform != "linux", reason="names there are always Unicode")
def test_name_that_is_not_unicode(tmp_path: Path) -> None:
    path = tmp_path / os.fsdecode(b"pose\xff.dng")
    write_dng(path, frame_of())
    np.testing.assert_array_equal(decode(path).mosaic, frame_of().mosaic)


# Bad input


def refusal(path: Path, capfd: pytest.CaptureFixture[str]) -> str:
    """The message, which must be one line that begins with the file; nothing else is printed."""
    with pytest.raises(DecodeError) as caught:
        decode(path)
    text = str(caught.value)
    assert text.startswith(f"{path}: ")
    assert "\n" not in text
    captured = capfd.readouterr()
    assert captured.out + captured.err == ""
    return text.removeprefix(f"{path}: ")


def test_missing_file(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert refusal(tmp_path / "no.dng", capfd) == "no such file; check the name"


def test_folder(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "evening.dng").mkdir()
    text = refusal(tmp_path / "evening.dng", capfd)
    assert text == "a folder, not a raw frame; name the files in it"


def test_empty_file(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.dng").touch()
    assert refusal(tmp_path / "a.dng", capfd).startswith("the file is empty; copy")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_named_pipe_does_not_hang(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    os.mkfifo(tmp_path / "a.dng")
    assert refusal(tmp_path / "a.dng", capfd) == "not a regular file; name a raw frame"


def test_file_that_may_not_be_read(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    write_dng(tmp_path / "a.dng", frame_of())

    def deny(self: Path, *args: object, **keywords: object) -> None:  # root may read everything
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", deny)
    assert refusal(tmp_path / "a.dng", capfd) == "may not be read; change its permissions"


@pytest.mark.parametrize("name", ["pose.jpg", "pose.HEIC", "pose.tif", "pose.xmp"])
def test_companion(tmp_path: Path, capfd: pytest.CaptureFixture[str], name: str) -> None:
    # Even if LibRaw would take it.
    tifffile.imwrite(tmp_path / name, frame_of().mosaic)
    assert refusal(tmp_path / name, capfd).startswith("a developed picture or a note, not a raw")


@pytest.mark.parametrize("content", ["text", "noise", "jpeg", "png"])
def test_not_raw_under_a_raw_name(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], content: str
) -> None:
    picture = np.zeros((64, 64, 3), np.uint8)
    data = {
        "text": b"The poster evening starts at seven.\n" * 40,
        "noise": np.random.default_rng(1).bytes(50_000),
        "jpeg": cv2.imencode(".jpg", picture)[1].tobytes(),
        "png": cv2.imencode(".png", picture)[1].tobytes(),
    }
    (tmp_path / "a.nef").write_bytes(data[content])
    assert refusal(tmp_path / "a.nef", capfd).startswith("not a raw frame of a known kind; set")


@pytest.mark.parametrize("part", [0.001, 0.01, 0.05, 0.3, 0.6, 0.9, 0.98])
def test_file_cut_short(tmp_path: Path, capfd: pytest.CaptureFixture[str], part: float) -> None:
    path = tmp_path / "a.dng"
    write_dng(path, frame_of(size=(120, 180)))
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * part)])
    text = refusal(path, capfd)
    assert "cut short" in text or "not a raw frame" in text


def test_picture_beyond_the_end_of_the_file(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """LibRaw itself writes to standard error here, below Python."""
    path = tmp_path / "a.dng"
    write_dng(path, frame_of())
    with tifffile.TiffFile(path, mode="r+") as tif:
        tif.pages.first.tags["ImageLength"].overwrite(600)
    assert refusal(path, capfd).startswith("damaged or cut short (Input/output error); copy")


def test_absurd_size_is_refused(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "a.dng"
    write_dng(path, frame_of())
    with tifffile.TiffFile(path, mode="r+") as tif:
        tif.pages.first.tags["ImageWidth"].overwrite(60000)
        tif.pages.first.tags["ImageLength"].overwrite(60000)
    assert refusal(path, capfd).startswith("the header claims 60000 × 60000 pixels, more than 400")


@pytest.mark.parametrize(
    ("tags", "text"),
    [
        ({50710: (1, 3, bytes((3, 4, 5))), 33422: (1, 4, bytes((3, 4, 4, 5)))}, "other colours"),
        ({50710: (1, 4, bytes(range(4))), 33422: (1, 4, bytes(range(4)))}, "colours GMCY"),
        (
            {33421: (3, 2, (4, 4)), 33422: (1, 16, bytes([0, 0, 1, 1] * 2 + [1, 1, 2, 2] * 2))},
            "neither Bayer nor X-Trans",
        ),
    ],
    ids=["complementary", "four", "quad"],
)
def test_other_sensors(
    tmp_path: Path,
    capfd: pytest.CaptureFixture[str],
    tags: dict[int, object],
    text: str,
) -> None:
    bare_dng(tmp_path / "a.dng", frame_of().mosaic, tags)
    message = refusal(tmp_path / "a.dng", capfd)
    assert text in message
    assert message.endswith("use another camera")


@settings(max_examples=150, deadline=None)
@given(places=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), min_size=1, max_size=4))
def test_flipped_bytes_give_a_frame_or_one_line(
    tmp_path_factory: pytest.TempPathFactory, places: list[tuple[float, int]]
) -> None:
    path = tmp_path_factory.mktemp("flipped") / "frame.dng"
    write_dng(path, frame_of(size=(24, 24)), black_rows=np.arange(24.0) % 3)
    data = bytearray(path.read_bytes())
    for place, value in places:
        data[int(place * (len(data) - 1))] = value
    path.write_bytes(data)
    try:
        frame = decode(path)
    except DecodeError as refused:
        lines = str(refused).splitlines()
    else:
        lines = [frame.path]
        assert np.isfinite(frame.black).all()
        assert (frame.stated_clip > frame.black).all()
        assert frame.gains.min() == 1
    assert len(lines) == 1


# Names


def test_raw_names() -> None:
    for name in ("a.dng", "A.DNG", "b.Cr3", "c.ARW", "d.nef", "set 2/e.raf", "f.rw2", "g.orf"):
        assert is_raw_name(name)
        assert not is_companion_name(name)
    for name in ("a.jpg", "a.JPEG", "a.heic", "a.HIF", "a.tif", "a.xmp"):
        assert is_companion_name(name)
        assert not is_raw_name(name)
    for name in ("a", "dng", ".dng", "._a.dng", ".a.dng.part", "a.dng.tmp", "a.txt", ""):
        assert not is_raw_name(name)
        assert not is_companion_name(name)


def test_no_suffix_is_both() -> None:
    assert not set(RAW_SUFFIXES) & set(COMPANION_SUFFIXES)
