"""The command line: what it prints, and its exit status."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cv2
import judges
import numpy as np
import pytest
from click.testing import CliRunner, Result

from inspector import worker
from inspector.cli import main
from inspector.limits import Limits, LimitsError, meanings, read_limits, with_limits
from inspector.record import Store, read_rows

SAMPLES = Path(__file__).parent.parent / "sample_frames"
PLATE = SAMPLES / "fencing-01-empty-plate.dng"
CLEAN = SAMPLES / "fencing-03-clean-silhouette.dng"
TURNED = SAMPLES / "fencing-04-profile-portrait.dng"
MISFIRE = SAMPLES / "fencing-09-flash-did-not-fire.dng"


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture
def stand_in(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worker, "frame_judge", judges.by_content)


def frames(folder: Path, **told: str) -> list[Path]:
    folder.mkdir(exist_ok=True)
    paths = [folder / f"{name}.dng" for name in told]
    for path, text in zip(paths, told.values(), strict=True):
        path.write_text(text)
    return paths


def records(result: Result) -> list[dict[str, Any]]:
    return [json.loads(line) for line in result.stdout.splitlines()]


# On real frames.


def test_check_prints_records_in_the_order_given_and_writes_zone_maps(tmp_path: Path) -> None:
    result = run("check", "--json", "--mask-out", tmp_path / "zones", MISFIRE, TURNED, CLEAN)
    assert result.exit_code == 1
    assert result.stderr == ""
    found = records(result)
    assert [record["frame"]["path"] for record in found] == [
        str(p) for p in (MISFIRE, TURNED, CLEAN)
    ]
    assert [record["verdict"] for record in found] == ["warn", "pass", "pass"]
    for record, path in zip(found, (MISFIRE, TURNED, CLEAN), strict=True):
        zones = cv2.imread(str(tmp_path / "zones" / f"{path.stem}.zones.png"), cv2.IMREAD_UNCHANGED)
        assert zones is not None
        assert zones.dtype == np.uint8
        assert zones.shape == (record["frame"]["height"], record["frame"]["width"])
        assert set(np.unique(zones)) <= {0, 1, 2}
    assert found[1]["frame"]["height"] > found[1]["frame"]["width"]


def test_check_with_plate_and_report(tmp_path: Path) -> None:
    result = run("check", "--plate", PLATE, "--report", tmp_path, CLEAN)
    assert (result.exit_code, result.stderr) == (0, "")
    [row] = read_rows(tmp_path)
    assert row.path == str(CLEAN)
    picture = cv2.imread(str(tmp_path / str(row.clip_map)))
    assert picture is not None
    assert 1200 <= max(picture.shape) <= 2400


def test_originals_keep_bytes_time_and_mode(tmp_path: Path) -> None:
    frame = tmp_path / "a.dng"
    frame.write_bytes(CLEAN.read_bytes())
    frame.chmod(0o444)

    def state() -> tuple[object, ...]:
        found = frame.stat()
        return frame.read_bytes(), found.st_mtime_ns, found.st_mode, found.st_ino

    before = state()
    assert run("check", frame).exit_code == 0
    assert state() == before
    assert list(tmp_path.iterdir()) == [frame]


def test_the_same_as_a_module() -> None:
    command = [sys.executable, "-m", "inspector", "check", "--json", str(MISFIRE)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (1, "")
    assert json.loads(done.stdout)["verdict"] == "warn"


@pytest.mark.parametrize("content", [b"", b"no raw frame", b"II*\x00" + bytes(500)])
def test_what_is_no_frame_is_one_record(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "bad.dng").write_bytes(content)
    result = run("check", "--json", tmp_path / "bad.dng", CLEAN)
    assert result.exit_code == 3
    bad, good = records(result)
    assert (bad["verdict"], good["verdict"]) == ("unreadable", "pass")
    [reason] = bad["reasons"]
    assert reason["advice"]
    assert bad.keys() >= good.keys() - {"look"}


def test_a_cut_frame_is_unreadable_and_said_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "cut.dng").write_bytes(CLEAN.read_bytes()[:300_000])
    result = run("check", tmp_path / "cut.dng", tmp_path / "missing.dng")
    assert result.exit_code == 3
    cut, missing = result.stdout.splitlines()
    assert "cut.dng" in cut
    assert "copy the file again" in cut
    assert "missing.dng" in missing
    assert "no such file" in missing


# Printing and exit status, with stand-in judges.


@pytest.mark.usefixtures("stand_in")
@pytest.mark.parametrize(
    ("told", "status"),
    [
        (["pass", "pass"], 0),
        (["pass", "warn"], 1),
        (["warn", "broken"], 3),
        (["crash", "pass", "warn"], 3),
    ],
)
def test_exit_status(tmp_path: Path, told: Sequence[str], status: int) -> None:
    named = frames(tmp_path, **{f"f{n}": text for n, text in enumerate(told)})
    assert run("check", *named).exit_code == status


@pytest.mark.parametrize(
    "arguments",
    [
        ["check"],
        ["check", "--look", "cheerful", "a.dng"],
        ["check", "--white-fraction", "much", "a.dng"],
        ["check", "--white-fraction", "1.5", "a.dng"],
        ["check", "--silhouette-depth-ev", "nan", "a.dng"],
        ["check", "--limits", "missing.toml", "a.dng"],
        ["check", "empty folder"],
        ["check", "--mask-out", "zones", "one/a.dng", "two/a.dng"],
        ["watch", "missing"],
        ["watch", "empty folder", "--report", "empty folder/report"],
        ["export", "empty folder"],
        ["retouch"],
    ],
)
def test_wrong_usage(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str]) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "empty folder").mkdir()
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Traceback" not in result.stderr
    assert list(tmp_path.iterdir()) == [tmp_path / "empty folder"]


@pytest.mark.usefixtures("stand_in")
def test_a_plate_that_cannot_be_read(tmp_path: Path) -> None:
    [plate, frame] = frames(tmp_path, plate="broken", a="pass")
    result = run("check", "--plate", plate, frame)
    assert (result.exit_code, result.stdout) == (3, "")
    assert result.stderr.splitlines() == [f"{plate}: no plate (told so); do that"]


@pytest.mark.usefixtures("stand_in")
def test_an_under_frame_that_cannot_be_read_does_not_spoil_the_frame(tmp_path: Path) -> None:
    [under, frame] = frames(tmp_path / "set", under="broken", a="pass")
    result = run("check", "--under", under, "--report", tmp_path / "report", frame)
    assert (result.exit_code, result.stdout) == (3, "")
    assert result.stderr.splitlines() == [f"{under}: no under frame (told so); do that"]
    assert list(read_rows(tmp_path / "report")) == []


@pytest.mark.usefixtures("stand_in")
@pytest.mark.parametrize(
    ("option", "where", "named"),
    [
        ("--report", "set", "set/a.dng"),
        ("--report", "set", "set"),
        ("--report", "set/report", "set"),
        ("--mask-out", "set", "set/a.dng"),
        ("--mask-out", "set/zones", "set"),
    ],
)
def test_nothing_is_written_among_the_frames(
    tmp_path: Path, option: str, where: str, named: str
) -> None:
    before = frames(tmp_path / "set", a="pass")
    result = run("check", option, tmp_path / where, tmp_path / named)
    assert (result.exit_code, result.stdout) == (2, "")
    line = f"{tmp_path / where}: would lie among the frames, where nothing is ever written"
    assert result.stderr.splitlines() == [f"{line}; choose another folder"]
    assert list((tmp_path / "set").iterdir()) == before


@pytest.mark.usefixtures("stand_in")
def test_a_figure_of_drift_is_not_drawn_among_the_frames(tmp_path: Path) -> None:
    run("check", "--report", tmp_path / "report", *frames(tmp_path / "set", a="pass"))
    result = run("drift", "--picture", tmp_path / "set" / "drift.svg", tmp_path / "report")
    assert result.exit_code == 2
    assert "drift.svg: would lie among the frames" in result.stderr
    assert not (tmp_path / "set" / "drift.svg").exists()
    result = run("drift", "--picture", tmp_path / "drift.svg", tmp_path / "report")
    assert result.stdout.splitlines() == ["1 frame: no misfire, no drift"]
    assert "<svg" in (tmp_path / "drift.svg").read_text()


@pytest.mark.usefixtures("stand_in")
def test_a_folder_stands_for_the_raw_frames_in_it(tmp_path: Path) -> None:
    frames(tmp_path, b="pass", a="pass")
    for other in ("a.jpg", "b.jpg", "notes.txt", "._a.dng"):
        (tmp_path / other).write_text("pass")
    (tmp_path / "folder.dng").mkdir()
    result = run("check", "--json", tmp_path)
    assert [Path(record["frame"]["path"]).name for record in records(result)] == ["a.dng", "b.dng"]
    assert result.stderr.splitlines() == [
        f"{tmp_path / 'a.jpg'}: not a raw frame; left alone, as are all of its kind"
    ]


@pytest.mark.usefixtures("stand_in")
def test_quiet_prints_what_does_not_pass(tmp_path: Path) -> None:
    named = frames(tmp_path, a="pass", b="warn", c="broken")
    lines = run("check", "--quiet", *named).stdout.splitlines()
    assert [line.split()[1] for line in lines] == ["warn", "unreadable"]


@pytest.mark.usefixtures("stand_in")
@pytest.mark.skipif(sys.platform == "win32", reason="names that Windows does not allow")
def test_names_of_every_kind_are_shown_harmlessly(tmp_path: Path) -> None:
    names = [
        "new\nline.dng",
        "esc\x1b[31m.dng",
        os.fsdecode(b"latin\xe9.dng"),
        "-rf.dng",
        "\u202egnd.dng",
    ]
    for name in names:
        (tmp_path / name).write_text("pass")
    found = records(run("check", "--json", tmp_path))
    assert {Path(record["frame"]["path"]).name for record in found} == set(names)
    shown = run("check", tmp_path).stdout
    assert len(shown.splitlines()) == len(names)
    assert not {"\x1b", "\u202e"} & set(shown)
    assert "new\\nline.dng" in shown


@pytest.mark.usefixtures("stand_in")
def test_a_name_that_begins_with_a_dash(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    frames(tmp_path, **{"-rf": "pass"})
    monkeypatch.chdir(tmp_path)
    assert records(run("check", "--json", "--", "-rf.dng"))[0]["frame"]["path"] == "-rf.dng"


@pytest.mark.usefixtures("stand_in")
def test_export_prints_what_was_recorded(tmp_path: Path) -> None:
    report = tmp_path / "report"
    run("check", "--report", report, *frames(tmp_path, a="pass", b="warn"))
    assert [record["verdict"] for record in records(run("export", report))] == ["pass", "warn"]
    table = run("export", "--format", "csv", report).stdout.splitlines()
    assert table[0].startswith("path,judged_at,verdict")
    assert len(table) == 3


@pytest.mark.usefixtures("stand_in")
def test_a_report_folder_in_use_is_refused(tmp_path: Path) -> None:
    store = Store(tmp_path / "report")
    result = run("check", "--report", tmp_path / "report", *frames(tmp_path, a="pass"))
    store.close()
    assert result.exit_code == 2
    assert "another inspector writes into this report folder" in result.stderr


# Help.

HEAVY = ["cv2", "matplotlib", "numpy", "rawpy", "sqlite3", "tifffile", "watchdog"]


@pytest.mark.parametrize("command", [[], ["check"], ["watch"], ["demo"], ["export"]])
def test_help_loads_nothing_heavy_and_has_an_example(command: list[str]) -> None:
    code = (
        "import sys; from inspector.cli import main; main(sys.argv[1:], standalone_mode=False);"
        f"print('loaded', sorted(set({HEAVY!r}) & sys.modules.keys()))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *command, "--help"], capture_output=True, text=True, check=True
    )
    *text, loaded = done.stdout.splitlines()
    assert loaded == "loaded []"
    assert any(line.strip().startswith("inspector ") for line in text)


def test_every_limit_has_an_option_with_its_default() -> None:
    text = " ".join(run("check", "--help").stdout.split())
    for name, (default, meaning) in meanings().items():
        assert f"--{name.replace('_', '-')}" in text
        assert f"{meaning}. [default: {default:g}]" in text


# Limits.


def test_limits_from_a_file_and_options_before_it(tmp_path: Path) -> None:
    (tmp_path / "set.toml").write_text("[limits]\nwhite_fraction = 0.9\nfilled_depth_ev = 3\n")
    limits = read_limits(tmp_path / "set.toml")
    assert limits == Limits(white_fraction=0.9, filled_depth_ev=3.0)
    assert with_limits(limits, {"white_fraction": 0.8}).white_fraction == 0.8
    assert (limits.depth_ev("filled"), limits.depth_ev("silhouette")) == (3.0, 4.0)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[limits]\nwhiteness = 1", "no limit is called whiteness; there are white_fraction, "),
        ("[limits]\nwhite_fraction = 1.01", "give a number from 0 to 1"),
        ("[limits]\nwhite_fraction = nan", "give a number from 0 to 1"),
        ("[limits]\nwhite_fraction = true", "give a number"),
        ("[limits]\nwhite_fraction = 'all'", "give a number"),
        ("white_fraction = 1", "only a table"),
        ("limits = 1", "only a table"),
        ("[limits", "not a TOML file"),
    ],
)
def test_limits_that_cannot_be(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "set.toml").write_text(text)
    with pytest.raises(LimitsError) as caught:
        read_limits(tmp_path / "set.toml")
    assert str(caught.value).startswith(f"{tmp_path / 'set.toml'}: ")
    assert said in str(caught.value)


def test_limits_change_the_verdict() -> None:
    assert run("check", CLEAN).exit_code == 0
    assert run("check", "--silhouette-depth-ev", "9", CLEAN).exit_code == 1
