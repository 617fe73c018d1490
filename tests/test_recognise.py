"""Under frames recognised by themselves: from two records, and in a watched set."""

from __future__ import annotations

import queue
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
import sets
from sets import CLEAN, LIT, SHORT, SHORT_CORNER, SOFTBOX

from inspector import recognise
from inspector.commands.drift import with_drift
from inspector.commands.live import show_set
from inspector.files import Stamp
from inspector.hotfolder import Inbox
from inspector.inspect import inspect, record
from inspector.lane import Event, Judged, Revised, Said
from inspector.recognise import (
    Fall,
    Pair,
    as_under_frame,
    confirmed,
    fall_between,
    find_pair,
    is_under_frame,
    said_of_pair,
    with_row,
)
from inspector.record import MAPS, Row, Store, read_rows
from inspector.session import Setup, follow_set
from inspector.simulate import Camera, Scene, shoot
from inspector.simulate.dng import write_dng
from inspector.terminal import verdict_line, word
from inspector.watch import Message, Stop

HOME = Path(__file__).parent.parent
NUMBER = re.compile(r"\d+(?:\.\d+)?(?!\d*\.dng)")
OVER = replace(CLEAN, name="over", backdrop=replace(SOFTBOX, ev=1.2))
FAR_OVER = replace(CLEAN, name="far over", backdrop=replace(SOFTBOX, ev=2.2))


@lru_cache(maxsize=32)
def seen(scene: Scene, *, ev: float = 0.0, by: str = "aperture") -> Any:
    """The record of a scene, with the exposure changed by so many stops."""
    camera = Camera(name="Fencing hall camera")
    frame = shoot(scene, camera=camera, ev=ev, by=by, seed=round(3 * abs(ev)), megapixels=0.3)
    return record(inspect(frame))


def assert_fall(fall: Fall | None, stops: float, *, sure: bool) -> None:
    assert fall is not None
    assert fall.sure is sure
    assert fall.stops == pytest.approx(stops, abs=0.15)


# Two records.


@pytest.mark.parametrize("scene", [CLEAN, OVER, FAR_OVER, SHORT, LIT, SHORT_CORNER])
@pytest.mark.parametrize("stops", [1.0, 2.0])
def test_the_lens_closed_makes_a_sure_under_frame(scene: Scene, stops: float) -> None:
    fall = fall_between(seen(scene), seen(scene.moved(0.008, 0.004), ev=-stops))
    assert_fall(fall, stops, sure=True)


def test_so_do_a_shorter_time_and_a_lower_speed() -> None:
    for by in ("shutter", "iso"):
        fall = fall_between(seen(CLEAN), seen(CLEAN, ev=-2, by=by))
        assert_fall(fall, 2.0, sure=True)


def test_less_light_under_the_same_settings_may_as_well_be_a_light_that_fell() -> None:
    fall = fall_between(seen(CLEAN), seen(CLEAN, ev=-2, by="light"))
    assert_fall(fall, 2.0, sure=False)


def test_without_tags_nothing_is_sure() -> None:
    dark = seen(CLEAN, ev=-2)
    bare = dark | {"frame": dark["frame"] | {"aperture_f": None}}
    assert_fall(fall_between(seen(CLEAN), bare), 2.0, sure=False)


def test_a_background_too_dark_to_be_found_is_told_by_the_tags_alone() -> None:
    dark = seen(SHORT, ev=-3.3)
    hidden = dark | {"backdrop": dark["backdrop"] | {"found": False}}
    assert_fall(fall_between(seen(SHORT), hidden), 3.3, sure=True)
    fallen = seen(SHORT, ev=-3.3, by="light")
    lost = fallen | {"backdrop": fallen["backdrop"] | {"found": False}}
    assert fall_between(seen(SHORT), lost) is None


@pytest.mark.parametrize(
    ("scene", "ev"),
    [
        (CLEAN, -0.5),  # a third or a half is no under frame
        (CLEAN, -4.0),
        (CLEAN, 0.0),
        (CLEAN, 2.0),
        (replace(CLEAN, backdrop=replace(SOFTBOX, ev=-1.5)), 0.0),  # the background's light alone
        (replace(CLEAN, backdrop=replace(SOFTBOX, corner="top-left", corner_ev=3.0)), -1.0),
        (replace(CLEAN, poses=()), -2.0),
        (sets.MISFIRE, 0.0),
        (sets.NO_BACKDROP, -2.0),
    ],
)
def test_what_is_no_under_frame(scene: Scene, ev: float) -> None:
    assert fall_between(seen(CLEAN), seen(scene, ev=ev, by="light")) is None


def test_plates_other_cameras_and_upright_frames_make_no_pair() -> None:
    dark = seen(CLEAN, ev=-2)
    for other in (
        dark | {"plate": True},
        dark | {"verdict": "unreadable"},
        dark | {"frame": dark["frame"] | {"orientation": 6}},
        dark | {"frame": dark["frame"] | {"camera": "Another"}},
    ):
        assert fall_between(seen(CLEAN), other) is None
    empty = seen(CLEAN) | {"plate": True}
    assert fall_between(empty, dark) is None


@pytest.mark.parametrize(
    ("taken_at", "held"),
    [("2024-11-15T19:31:30", True), ("2024-11-15T19:35:00", False), (None, True)],
)
def test_a_pose_is_held_for_two_minutes_at_most(taken_at: str | None, held: bool) -> None:
    dark = seen(CLEAN, ev=-2)
    later = dark | {"frame": dark["frame"] | {"taken_at": taken_at}}
    assert (fall_between(seen(CLEAN), later) is not None) == held


# Neighbours.


def row(number: int, told: Any, *, folder: str = "/evening") -> Row:
    frame = told["frame"] | {"taken_at": "2024-11-15T19:30:00"}
    path = f"{folder}/{number:04}.dng"
    return Row(path, Stamp(1, number), told | {"frame": frame | {"path": path}})


BRIGHT, DARK = row(1, seen(CLEAN)), row(2, seen(CLEAN, ev=-2, by="light"))


def test_the_darker_frame_may_come_before_or_after_and_be_judged_first_or_last() -> None:
    before = row(0, DARK.record)
    for dark in (before, DARK):
        for new, known in ((dark, BRIGHT), (BRIGHT, dark)):
            pair = find_pair(new, (known,))
            assert pair is not None
            assert (pair.bright.path, pair.dark.path) == (BRIGHT.path, dark.path)


def test_only_neighbours_make_a_pair() -> None:
    between = row(2, seen(LIT))
    far = row(3, DARK.record)
    assert find_pair(far, (BRIGHT, between)) is None
    assert find_pair(far, (BRIGHT,)) is not None


def test_a_light_that_has_fallen_and_stays_down_is_no_under_frame() -> None:
    also_dark = row(3, DARK.record)
    assert find_pair(DARK, (BRIGHT, also_dark)) is None
    said = as_under_frame(DARK.record, BRIGHT.path, Fall(2.0, sure=False))
    assert find_pair(also_dark, (BRIGHT, replace(DARK, record=said))) is None


def test_of_several_under_frames_each_lies_under_the_same_frame() -> None:
    first = row(2, as_under_frame(seen(CLEAN, ev=-1), BRIGHT.path, Fall(1.0, sure=True)))
    second = row(3, seen(CLEAN, ev=-2))
    pair = find_pair(second, (BRIGHT, first))
    assert pair is not None
    assert pair.bright is BRIGHT
    assert pair.fall.stops == pytest.approx(2.0, abs=0.1)


def test_as_many_frames_are_kept_as_may_be_neighbours() -> None:
    judged: tuple[Row, ...] = ()
    for number in range(200):
        judged = with_row(judged, row(number, BRIGHT.record))
    assert len(judged) == recognise.KEPT
    assert [r.path for r in with_row(judged, judged[0])].count(judged[0].path) == 1


def test_what_the_light_tells_once_laid_under_decides() -> None:
    pair = Pair(BRIGHT, DARK, Fall(2.0, sure=True))
    laid = BRIGHT.record | {"under": {"frame": "0002.dng", "stops": 1.9}}
    assert confirmed(pair, laid) == Fall(1.9, sure=True)
    assert confirmed(pair, BRIGHT.record) is None
    assert confirmed(pair, BRIGHT.record | {"under": {"frame": "0002.dng", "stops": 1.2}}) is None


# What is said.


def test_the_line_of_an_under_frame_says_what_it_lies_under() -> None:
    sure = as_under_frame(DARK.record, BRIGHT.path, Fall(1.92, sure=True))
    line = verdict_line(sure, width=12, colour=False)
    assert line.startswith("▽ under")
    assert line.endswith("1.9 stops under 0001.dng: an under frame of it")
    assert "Raise" not in line
    assert is_under_frame(sure)
    assert (sure["verdict"], sure["reasons"]) == ("warn", DARK.record["reasons"])
    maybe = as_under_frame(DARK.record, BRIGHT.path, Fall(1.92, sure=False))
    assert word(maybe) == "warn"
    assert str(said_of_pair(maybe)).endswith("an under frame of it, or a light that fell")


def test_the_line_of_the_brighter_frame_names_the_one_under_it() -> None:
    laid = BRIGHT.record | {"under": {"frame": "0002.dng", "stops": 1.9}}
    white = {
        "backdrop": laid["backdrop"] | {"ev_p50": 1.64},
        "clip": laid["clip"] | {"ceiling_ev": 3.2},
    }
    line = verdict_line(laid | white, width=12, colour=False)
    assert line.endswith("with 0002.dng under it, background 1.6 stops over white")
    clips_too = white | {"clip": laid["clip"] | {"ceiling_ev": 1.64}}
    line = verdict_line(laid | clips_too, width=12, colour=False)
    assert line.endswith("background 1.6 stops over white or more: take a darker one")
    short = seen(SHORT) | {"under": {"frame": "0002.dng", "stops": 1.9}}
    assert "with 0002.dng under it: Raise the background" in verdict_line(
        short, width=12, colour=False
    )


# A watched set.

Shot = tuple[Scene, float, str]
SPILT = replace(sets.SPILT, name="spilt", backdrop=replace(SOFTBOX, ev=1.2))


def shoot_into(hot: Path, number: int, shot: Shot) -> Path:
    scene, ev, by = shot
    camera = Camera(taken_at=f"2024-11-15T19:{number:02}:00")
    path = hot / f"evening_{number:04}.dng"
    frame = shoot(scene, camera=camera, seed=number, ev=ev, by=by, megapixels=0.5)
    write_dng(path, frame)
    return path


class Evening:
    """A set of simulated frames, watched by real workers; each is shot once the last is judged."""

    def __init__(self, home: Path) -> None:
        self.hot, self.report = home / "hot", home / "report"
        self.hot.mkdir(exist_ok=True)
        self.judged: list[Judged] = []
        self.revised: list[Revised] = []
        self.said: list[str] = []

    def shoot(self, *shots: Shot, start: int = 0, **options: Any) -> Evening:
        count = len(self.judged) + len(shots)
        waiting = [lambda n=n, s=s: shoot_into(self.hot, n, s) for n, s in enumerate(shots, start)]
        waiting.pop(0)()
        self.follow(count, waiting, **options)
        return self

    def follow(
        self, count: int, waiting: Iterable[Callable[[], Path]] = (), **options: Any
    ) -> Evening:
        inbox: Inbox = queue.SimpleQueue()
        setup = Setup(self.hot, self.report, existing=True, **options)
        to_come = iter(waiting)
        for event in with_drift(follow_set(setup, inbox)):
            if isinstance(event, Revised):
                self.revised.append(event)
            elif isinstance(event, Said):
                self.said.append(event.text)
            else:
                self.judged.append(event)
                if len(self.judged) == count:
                    inbox.put(Stop())
                elif (shot := next(to_come, None)) is not None:
                    shot()
        return self

    def stored(self, number: int) -> Any:
        return {Path(r.path).stem: r.record for r in read_rows(self.report)}[f"evening_{number:04}"]


ALONE = (SPILT, 0.0, "light")
UNDER = (SPILT.moved(0.004, 0.002), -2.0, "aperture")


def test_an_under_frame_is_offered_by_itself(tmp_path: Path) -> None:
    evening = Evening(tmp_path).shoot(ALONE, UNDER, (CLEAN, 0.0, "light"))
    under, [revised] = evening.judged[1].row.record, evening.revised
    assert under["under_of"]["frame"] == "evening_0000.dng"
    assert under["under_of"]["sure"]
    assert under["under_of"]["stops"] == pytest.approx(2.0, abs=0.1)
    told = revised.row.record
    assert told["under"]["frame"] == "evening_0001.dng"
    assert told["clip"]["ceiling_ev"] > evening.judged[0].row.record["clip"]["ceiling_ev"] + 1.8
    assert told["backdrop"]["ev_p50"] == pytest.approx(1.2, abs=0.1)
    assert all(run["sure"] for run in told["edge"]["spill"])
    assert evening.stored(0) == told
    assert evening.stored(1) == under
    assert evening.said == []
    assert len(list((evening.report / MAPS).iterdir())) == 3
    assert sorted(p.name for p in evening.hot.iterdir()) == [
        f"evening_{n:04}.dng" for n in range(3)
    ]


def test_its_clip_map_is_drawn_again(tmp_path: Path) -> None:
    evening = Evening(tmp_path).shoot(ALONE)
    [name] = (evening.report / MAPS).iterdir()
    before = name.read_bytes()
    evening.shoot(UNDER, start=1)
    assert name.read_bytes() != before
    assert evening.revised[0].row.clip_map == evening.judged[0].row.clip_map


def test_a_new_start_knows_the_frame_before(tmp_path: Path) -> None:
    evening = Evening(tmp_path).shoot(ALONE)
    [revised] = evening.shoot(UNDER, start=1).revised
    assert revised.row.path.endswith("evening_0000.dng")


def test_the_under_frame_may_be_judged_first(tmp_path: Path) -> None:
    """As in a backlog, of which the newest comes first."""
    evening = Evening(tmp_path)
    shoot_into(evening.hot, 1, UNDER)
    evening.follow(2, [lambda: shoot_into(evening.hot, 0, ALONE)])
    names = [Path(judged.row.path).stem for judged in evening.judged]
    assert names == ["evening_0001", "evening_0000"]
    assert evening.judged[1].row.record["under"]["frame"] == "evening_0001.dng"
    [revised] = evening.revised
    assert revised.row.record["under_of"]["frame"] == "evening_0000.dng"
    assert evening.stored(1) == revised.row.record


def test_the_light_turned_down_is_named_with_both_that_it_may_be(tmp_path: Path) -> None:
    evening = Evening(tmp_path).shoot((OVER, 0.0, "light"), (OVER, -2.0, "light"))
    assert not evening.judged[1].row.record["under_of"]["sure"]
    assert evening.revised[0].row.record["under"]["stops"] == pytest.approx(2.0, abs=0.1)


def test_a_subject_that_has_moved_lies_under_nothing(tmp_path: Path) -> None:
    evening = Evening(tmp_path).shoot(ALONE, (SPILT.moved(0.07, 0), -2.0, "aperture"))
    assert evening.revised == []
    assert "under_of" not in evening.stored(1)
    assert evening.stored(0)["under"] is None
    assert len(list((evening.report / MAPS).iterdir())) == 2
    assert evening.said == []


def test_a_light_that_fell_is_still_called_so(tmp_path: Path) -> None:
    steps = [(OVER.moved(0.03 * n, 0), 0.0, "light") for n in range(6)]
    steps += [(OVER.moved(0.15, 0), -2.0, "light"), (OVER.moved(0.1, 0), -2.0, "light")]
    evening = Evening(tmp_path).shoot(*steps)
    assert [r.row.path[-8:] for r in evening.revised] == ["0005.dng"]
    [line] = evening.said
    assert "evening_0007.dng" in line
    assert "the background is 1.9 stops under the frames before" in line


def test_a_misfire_and_a_light_that_was_knocked_are_called_so_at_once(tmp_path: Path) -> None:
    steps = [(CLEAN, 0.0, "light")] * 5
    evening = Evening(tmp_path).shoot(*steps, (CLEAN, -6.0, "light"))
    assert evening.revised == []
    [line] = evening.said
    assert "evening_0005.dng: the flash did not fire" in line


def test_pair_and_neighbour_are_stored_in_one_go(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stored: list[int] = []
    add = Store.add

    def count(store: Store, rows: Iterable[Row]) -> None:
        rows = list(rows)
        stored.append(len(rows))
        add(store, rows)

    monkeypatch.setattr(Store, "add", count)
    Evening(tmp_path).shoot(ALONE, UNDER)
    assert stored == [1, 2]


def test_the_tally_counts_the_frames_of_this_session(capsys: pytest.CaptureFixture[str]) -> None:
    """The brighter frame was judged before a break."""
    below = replace(DARK, record=as_under_frame(DARK.record, BRIGHT.path, Fall(2.0, sure=True)))
    laid = replace(BRIGHT, record=BRIGHT.record | {"under": {"frame": "0002.dng", "stops": 2.0}})
    assert show_set([Judged(below), Revised(laid)]) == 1
    assert capsys.readouterr().out.splitlines()[-1] == "1 frame: 1 under"


def test_the_tally_counts_a_replaced_file_once(capsys: pytest.CaptureFixture[str]) -> None:
    """Half of it was there at first."""
    half = replace(BRIGHT, record=BRIGHT.record | {"verdict": "unreadable"}, stamp=Stamp(1, 1))
    whole = replace(BRIGHT, stamp=Stamp(2, 2))
    assert show_set([Judged(half), Judged(whole)]) == 1
    assert capsys.readouterr().out.splitlines()[-1].startswith("1 frame: 1 ")


def test_in_the_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    hot, inbox = tmp_path / "hot", queue.SimpleQueue[Message]()
    hot.mkdir()
    shoot_into(hot, 0, ALONE)

    def events() -> Iterator[Event]:
        for event in follow_set(Setup(hot, tmp_path / "report", existing=True), inbox):
            yield event
            if isinstance(event, Revised):
                inbox.put(Stop())
            elif not (hot / "evening_0001.dng").exists():
                shoot_into(hot, 1, UNDER)

    assert show_set(events()) == 2
    first, second, third, tally = capsys.readouterr().out.splitlines()
    page = (HOME / "docs" / "watching.md").read_text("utf-8").splitlines()
    for line in (first, second, third):
        assert NUMBER.sub("#", line) in [NUMBER.sub("#", shown) for shown in page]
    assert first.startswith("▲ warn        evening_0000.dng")
    assert second.startswith("▽ under       evening_0001.dng")
    assert second.endswith("2.0 stops under evening_0000.dng: an under frame of it")
    assert third.startswith("▲ warn        evening_0000.dng")
    assert re.search(r"with evening_0001.dng under it, background 1.\d stops over white: ", third)
    assert tally == "2 frames: 1 warn, 1 under"
