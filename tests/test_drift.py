"""Drift and misfires: made-up sets with known trouble, and how often a quiet set raises alarm."""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from inspector.cli import main
from inspector.commands.drift import with_drift
from inspector.decode import decode
from inspector.drift import Event, State, events_of, follow
from inspector.files import Stamp
from inspector.inspect import inspect, record
from inspector.lane import Event as Shown
from inspector.lane import Judged, Said
from inspector.record import Row, Store
from inspector.worker import refuse

SAMPLES = Path(__file__).parent.parent / "sample_frames"
SCATTERS = (0.02, 0.05, 0.1)
Record = dict[str, Any]
Trouble = Callable[[int, dict[str, float]], None]


def taken(
    number: int,
    *,
    background: float = 0.6,
    weakest: float = -0.2,
    depth: float = 5.0,
    ceiling: float = 1.2,
    aperture: float = 8.0,
) -> Record:
    """The record of one frame, as far as the rule looks at it."""
    return {
        "frame": {
            "path": f"evening/{number:04d}.dng",
            "taken_at": f"2024-11-15T19:{number // 60:02d}:{number % 60:02d}",
            "aperture_f": aperture,
            "shutter_s": 1 / 125,
            "iso": 100.0,
        },
        "clip": {"ceiling_ev": ceiling},
        "backdrop": {
            "found": True,
            "ev_p1": min(background + weakest, ceiling),
            "ev_p50": min(background, ceiling),
        },
        "subject": {"depth_ev": depth},
        "verdict": "pass",
        "reasons": [],
    }


def a_set(
    frames: int, scatter: float, trouble: Trouble | None = None, *, seed: int = 1
) -> Iterator[Record]:
    """Frames whose every figure scatters as a normal variable; ``trouble`` changes them."""
    draw = random.Random(seed)
    for number in range(frames):
        figures = {"background": 0.6, "weakest": -0.2, "depth": 5.0}
        if trouble is not None:
            trouble(number, figures)
        yield taken(number, **{k: v + draw.gauss(0, scatter) for k, v in figures.items()})


def named(records: Iterator[Record] | list[Record]) -> list[tuple[str, str]]:
    return [(event.code, Path(event.path).stem) for event in events_of(list(records))]


# False alarms: the rate that the module states.


@pytest.mark.parametrize("scatter", SCATTERS)
def test_a_quiet_set_raises_fewer_than_one_alarm_in_10000_frames(scatter: float) -> None:
    alarms, frames = 0, 30_000
    for seed in range(frames // 150):
        alarms += len(events_of(list(a_set(150, scatter, seed=seed))))
    assert alarms <= frames / 10_000


# What happens is named once, with its frame.


def misfire(number: int, figures: dict[str, float]) -> None:
    if number in (40, 41):
        figures["background"] -= 5


def weak(number: int, figures: dict[str, float]) -> None:
    if number == 40:
        figures["background"] -= 0.7


def stepped(number: int, figures: dict[str, float]) -> None:
    if number >= 40:
        figures["background"] -= 0.6


def knocked(number: int, figures: dict[str, float]) -> None:
    if number >= 40:
        figures["weakest"] -= 0.7


def panel_gone(number: int, figures: dict[str, float]) -> None:
    if number >= 40:
        figures["depth"] += 1.2


@pytest.mark.parametrize("scatter", SCATTERS[:2])
@pytest.mark.parametrize(
    ("trouble", "code"),
    [
        (misfire, "misfire"),
        (weak, "jump"),
        (stepped, "jump"),
        (knocked, "uneven"),
        (panel_gone, "subject-light"),
    ],
)
def test_a_sudden_change_is_named_once_at_its_frame(
    trouble: Trouble, code: str, scatter: float
) -> None:
    for seed in range(10):
        assert named(a_set(100, scatter, trouble, seed=seed)) == [(code, "0040")]


@pytest.mark.parametrize("scatter", SCATTERS[:2])
def test_a_battery_that_sags_by_a_third_of_a_stop_is_named_once(scatter: float) -> None:
    def sagging(number: int, figures: dict[str, float]) -> None:
        figures["background"] -= min(max(number - 30, 0) / 40, 1) / 3

    for seed in range(10):
        found = named(a_set(140, scatter, sagging, seed=seed))
        assert [code for code, _ in found] == ["drift"]
        assert 55 <= int(found[0][1]) <= 85  # once most of the third is gone


def test_a_sag_that_goes_on_is_named_at_each_third() -> None:
    def sagging(number: int, figures: dict[str, float]) -> None:
        figures["background"] -= number / 120  # a stop over 120 frames

    found = named(a_set(121, 0.02, sagging))
    assert [code for code, _ in found] == ["drift"] * 3


def test_two_misfires_apart_are_two() -> None:
    def twice(number: int, figures: dict[str, float]) -> None:
        if number in (30, 60):
            figures["background"] -= 5

    assert named(a_set(80, 0.05, twice)) == [("misfire", "0030"), ("misfire", "0060")]


def test_a_misfire_in_the_first_frame_is_told_by_the_verdict() -> None:
    first = taken(0) | {
        "backdrop": {"found": False, "ev_p1": None, "ev_p50": None},
        "reasons": [{"code": "no-flash"}],
    }
    assert named([first, *a_set(20, 0.02)]) == [("misfire", "0000")]


def test_the_sentence_names_frame_stops_and_what_to_check() -> None:
    (event,) = events_of(list(a_set(60, 0.0, misfire)))
    assert event.text == (
        "0040.dng: the flash did not fire, the background is 5.0 stops under the frames before; "
        "check trigger, battery and recycling"
    )
    assert event.ev == pytest.approx(-5)


# What is no trouble.


def test_a_change_of_settings_on_purpose_is_none() -> None:
    before = [taken(n) for n in range(30)]
    after = [taken(n, background=-0.4, aperture=11.0) for n in range(30, 60)]
    assert named(before + after) == []


def test_another_pose_is_none() -> None:
    def posing(number: int, figures: dict[str, float]) -> None:
        figures["depth"] += (0.4, -0.4, 0.0)[number % 3]

    assert named(a_set(120, 0.05, posing)) == []


def test_a_background_at_the_ceiling_hides_nothing_that_falls_below() -> None:
    over = [taken(n, background=1.6) for n in range(30)]
    fallen = [taken(n, background=0.5) for n in range(30, 40)]
    assert named(over + fallen) == [("jump", "0030")]


def test_unreadable_frames_and_frames_from_before_change_nothing() -> None:
    state = State()
    for each in a_set(20, 0.02):
        state, _ = follow(state, each)
    broken = refuse("evening/x.dng", "crashed", "why", "remedy")
    assert follow(state, broken) == (state, ())
    assert follow(state, taken(3, background=-4)) == (state, ())


def test_the_white_balance_is_named_once() -> None:
    fixed = [taken(n) for n in range(10)]
    drifting = [taken(n, ceiling=1.2 + 0.06 * (n % 3)) for n in range(10, 40)]
    assert named(fixed + drifting) == [("white-balance", "0010")]


# On real records, in the watcher's lines, and as a command.


def rows() -> list[Row]:
    """The sample plate twelve times, then the frame whose flash did not fire."""
    good = record(inspect(decode(SAMPLES / "fencing-03-clean-silhouette.dng")))
    dark = record(inspect(decode(SAMPLES / "fencing-09-flash-did-not-fire.dng")))
    made = []
    for number, each in enumerate([good] * 12 + [dark]):
        frame = each["frame"] | {
            "path": f"evening/{number:04d}.dng",
            "taken_at": f"2024-11-15T20:{number:02d}:00",
        }
        made.append(Row(frame["path"], Stamp(1, number), each | {"frame": frame}))
    return made


def test_a_line_follows_the_frame_in_a_watched_set() -> None:
    live: list[Shown] = [Said("watching"), *(Judged(row) for row in rows())]
    shown = list(with_drift(live))
    assert shown[:-1] == live
    assert isinstance(shown[-1], Said)
    assert shown[-1].text.startswith("0012.dng: the flash did not fire")


@pytest.fixture
def report(tmp_path: Path) -> Path:
    store = Store(tmp_path / "report")
    store.add(rows())
    store.close()
    return tmp_path / "report"


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["drift", *map(str, arguments)])


def test_the_command(report: Path, tmp_path: Path) -> None:
    picture = tmp_path / "drift.svg"
    result = run(report, "--picture", picture)
    assert result.exit_code == 1
    assert result.stdout.startswith("0012.dng: the flash did not fire")
    assert picture.read_text().startswith("<svg ")
    (event,) = [json.loads(line) for line in run("--json", report).stdout.splitlines()]
    assert Event(**event).code == "misfire"


def test_the_command_says_so_when_nothing_happened(tmp_path: Path) -> None:
    store = Store(tmp_path / "report")
    store.add(rows()[:12])
    store.close()
    result = run(tmp_path / "report")
    assert (result.exit_code, result.stdout) == (0, "12 frames: no misfire, no drift\n")


def test_what_cannot_be_done_is_said_in_one_line(report: Path, tmp_path: Path) -> None:
    (tmp_path / "none").mkdir()
    for arguments, said in (
        ((tmp_path / "none",), "no record there"),
        ((report, "--picture", "x.jpg"), "ends in .svg"),
    ):
        result = run(*arguments)
        assert result.exit_code == 2
        assert said in result.stderr
