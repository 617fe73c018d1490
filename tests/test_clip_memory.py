"""Clip levels remembered over a set: what neighbours teach, and when they have no say."""

from __future__ import annotations

import json
import multiprocessing
import queue
import random
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from plain import CAMERA, cells, frame_of_light
from sets import CLEAN, MEGAPIXELS, PLATE

from inspector.cli import main
from inspector.clip_memory import KEPT, NAMES, ClipMemory, pile_ups_in, setting_in
from inspector.frame import Frame
from inspector.hotfolder import Inbox
from inspector.inspect import inspect, record, unreadable
from inspector.lane import Judged
from inspector.levels import measure_clip
from inspector.recall import clip_with_memory, setting_of
from inspector.record import read_rows
from inspector.session import Setup, follow_set
from inspector.simulate import Camera, shoot
from inspector.simulate.dng import write_dng
from inspector.simulate.families import random_scene
from inspector.watch import Stop

APART = Camera(name="Fencing hall camera", clip=(15400, 14600, 14700, 15100), stated_clip=16383)
"""Channels that clip apart, all below what the file states."""


def told(
    *levels: float | None,
    iso: float = 100,
    width: int = 600,
    used: Mapping[str, float] | None = None,
) -> Any:
    """What the memory sees of a record: R, G1, G2, B of its own pile-ups; the levels it used."""
    own = dict(zip(NAMES, levels, strict=True))
    return {
        "frame": {"camera": "Fencing hall camera", "iso": iso, "width": width, "height": 400},
        "clip": {
            "levels": used or {name: own[name] or 16383.0 for name in NAMES},
            "pile_ups": own,
            "stated": dict.fromkeys(NAMES, 16383.0),
        },
    }


def memory_of(records: Iterable[Any]) -> ClipMemory:
    memory = ClipMemory()
    for each in records:
        memory = memory.with_frame(each)
    return memory


def recalled(memory: ClipMemory, wanted: Any) -> list[float | None]:
    return list(memory.recalled(setting_in(wanted), pile_ups_in(wanted)))


ALL = told(15400, 14600, 14700, 15100)
NOTHING = told(None, None, None, None)


# What is taken.


def test_a_channel_without_a_pile_up_takes_what_three_neighbours_agree_on() -> None:
    assert recalled(memory_of([ALL] * 2), NOTHING) == [None] * 4
    assert recalled(memory_of([ALL] * 3), NOTHING) == [15400, 14600, 14700, 15100]
    partly = told(None, 14601, None, None)
    assert recalled(memory_of([ALL] * 3), partly) == [15400, None, 14700, 15100]


def test_a_channel_that_shows_its_own_pile_up_keeps_it() -> None:
    near = told(15420, 14610, 14690, 15090)
    assert recalled(memory_of([ALL] * 9), near) == [None] * 4


def test_one_frame_in_five_may_be_off() -> None:
    wall = told(None, 14000, None, None)
    assert recalled(memory_of([ALL, ALL, wall, ALL]), NOTHING)[1] is None
    assert recalled(memory_of([ALL, ALL, wall, ALL, ALL]), NOTHING)[1] == 14600
    assert recalled(memory_of([wall, ALL, wall, ALL, ALL]), NOTHING)[1] is None


def test_frames_that_do_not_agree_teach_nothing() -> None:
    rng = random.Random(4)
    others = [told(*(rng.uniform(14000, 16000) for _ in NAMES)) for _ in range(9)]
    assert recalled(memory_of(others), NOTHING) == [None] * 4


def test_nothing_is_taken_where_another_channel_shows_other_levels() -> None:
    """As of a frame that another camera of the same name took."""
    other = told(None, 14900, 14900, None)
    assert recalled(memory_of([ALL] * 9), other) == [None] * 4
    lower = told(None, 13900, None, None)
    assert recalled(memory_of([ALL] * 4), lower) == [None] * 4


def test_a_pile_up_under_a_well_established_level_is_not_believed() -> None:
    wall = told(None, None, 14304, None)
    assert recalled(memory_of([ALL] * 5), wall) == [15400, 14600, 14700, 15100]


def test_a_level_that_has_truly_changed_is_learned() -> None:
    memory = memory_of([ALL] * KEPT)
    lower = told(14400, 13600, 13700, 14100)
    said = []
    for _ in range(KEPT):
        memory = memory.with_frame(lower)
        said.append(recalled(memory, NOTHING)[1])
    assert said[-1] == 13600
    assert recalled(memory_of([*[ALL] * KEPT, lower, lower]), lower) == [None] * 4


@pytest.mark.parametrize(
    "other",
    [
        told(None, None, None, None, iso=800),
        told(None, None, None, None, width=300),
        NOTHING | {"clip": NOTHING["clip"] | {"stated": dict.fromkeys(NAMES, 4095.0)}},
    ],
)
def test_another_speed_size_or_depth_is_another_level(other: Any) -> None:
    assert recalled(memory_of([ALL] * 9), other) == [None] * 4


def test_a_frame_held_upright_is_of_the_same_setting() -> None:
    upright = NOTHING | {"frame": NOTHING["frame"] | {"width": 400, "height": 600}}
    assert setting_in(upright) == setting_in(NOTHING)


def test_the_memory_does_not_grow_with_the_set() -> None:
    memory = memory_of([ALL] * 1000)
    assert [len(kept) for kept in memory.seen.values()] == [KEPT]


def test_unreadable_frames_and_older_records_teach_and_ask_nothing() -> None:
    older = {"frame": ALL["frame"], "clip": {"levels": ALL["clip"]["levels"]}}
    memory = memory_of([unreadable("a.dng", "cut short"), older])
    assert not memory.seen
    full = memory_of([ALL] * 5)
    assert not full.moves(older)
    assert not full.moves(unreadable("a.dng", "cut short"))


def test_only_a_level_that_moves_by_a_thousandth_is_worth_another_look() -> None:
    memory = memory_of([ALL] * 5)
    near = {"R": 15400.0, "G1": 14600.0, "G2": 14700.0, "B": 15100.0}
    assert not memory.moves(told(None, None, None, None, used=near))
    assert not memory.moves(told(None, None, None, None, used=near | {"R": 15410.0}))
    assert memory.moves(told(None, None, None, None, used=near | {"R": 15420.0}))


# On frames.


def lit(*levels: float, camera: Camera = CAMERA, seed: int = 1) -> Frame:
    """Stripes of rendered light, 64 cells high, 48 wide."""
    return frame_of_light(cells(np.tile(np.repeat(levels, 48), (64, 1))), camera, seed=seed)


def as_record(frame: Frame) -> dict[str, Any]:
    return record(inspect(frame))


def taught_by(frames: Iterable[Frame]) -> ClipMemory:
    return memory_of(map(as_record, frames))


def test_a_frame_and_its_record_are_of_the_same_setting() -> None:
    for frame in (
        lit(0.1, 3, camera=APART),
        shoot(CLEAN, camera=replace(APART, pattern="X-Trans", orientation=6), megapixels=0.3),
        shoot(CLEAN, camera=replace(APART, pattern="mono"), megapixels=0.3),
    ):
        assert setting_of(frame) == setting_in(json.loads(json.dumps(as_record(frame))))


@pytest.mark.parametrize("pattern", ["RGGB", "X-Trans", "mono"])
def test_frames_that_clip_teach_one_that_barely_does(pattern: str) -> None:
    """Four frames clip in every channel, of the fifth nothing does."""
    camera = replace(APART, pattern=pattern, clip_spread=8)
    rich = [shoot(CLEAN, camera=camera, seed=s, ev=1.3, megapixels=MEGAPIXELS) for s in range(4)]
    barely = shoot(CLEAN, camera=camera, seed=9, ev=-0.9, megapixels=MEGAPIXELS)
    alone, taught = measure_clip(barely), clip_with_memory(barely, taught_by(rich))
    truth = camera.per_channel(camera.clip)
    assert alone.source == "metadata"
    assert np.abs(alone.level / truth - 1).max() > 0.05
    assert taught.level == pytest.approx(truth, rel=0.001)
    assert set(taught.origins) == {"set"}
    assert taught.source == "mixed"
    assert taught.pile_ups == (None,) * len(truth)


def test_channels_of_one_frame_come_from_where_they_can() -> None:
    """At 1.2 green (gain 1) clips, blue (1.5) and red (2) do not; neighbours clip in blue too."""
    camera = replace(CAMERA, clip=(14800, 14000, 14100, 14300), stated_clip=16383)
    neighbours = [lit(0.02, 1.52, camera=camera)] * 3
    frame = lit(0.02, 1.2, camera=camera)
    clip = clip_with_memory(frame, taught_by(neighbours))
    assert clip.origins == ("scaled", "measured", "measured", "set")
    assert clip.level[1:] == pytest.approx([14000, 14100, 14300], abs=0.5)
    told_of = record(inspect(frame, clip=clip))["clip"]
    assert told_of["from"] == {"R": "scaled", "G1": "measured", "G2": "measured", "B": "set"}
    assert told_of["pile_ups"]["B"] is None
    assert told_of["source"] == "mixed"


def test_a_plate_teaches_and_is_taught_like_any_frame() -> None:
    plates = [shoot(PLATE, camera=APART, seed=s, ev=1.3, megapixels=0.3) for s in range(3)]
    dark = shoot(PLATE, camera=APART, seed=7, ev=-1, megapixels=0.3)
    memory = taught_by(plates)
    assert as_record(plates[0])["plate"]
    assert clip_with_memory(dark, memory).level == pytest.approx(list(APART.clip), rel=0.001)


def test_frames_of_another_iso_are_left_to_themselves() -> None:
    rich = [shoot(CLEAN, camera=APART, seed=s, ev=1.3, megapixels=0.3) for s in range(4)]
    other = shoot(CLEAN, camera=replace(APART, iso=400), ev=-0.9, megapixels=0.3)
    assert clip_with_memory(other, taught_by(rich)).source == "metadata"


def test_sites_above_a_remembered_level_refuse_it() -> None:
    """Green at 97 % of its range lies far over the level of a camera that clips lower."""
    lower = replace(CAMERA, clip=(13000,) * 4, stated_clip=15000)
    memory = taught_by([lit(0.02, 3, camera=lower)] * 3)
    frame = lit(0.02, 0.97, camera=replace(CAMERA, stated_clip=15000))
    assert frame.mosaic.max() > 13000 * 1.005
    assert clip_with_memory(frame, memory).origins == measure_clip(frame).origins
    hot = lit(0.02, 0.5, camera=lower)
    hot.mosaic[::2, ::2].flat[:3] = 14999  # three hot photosites are no light
    assert set(clip_with_memory(hot, memory).origins) == {"set"}


def test_a_dark_frame_whose_rim_is_its_brightest_even_light_takes_the_levels_of_the_set() -> None:
    draw = random_scene(19, figure="profile", defect="none")
    shot = partial(shoot, draw.scene, camera=draw.camera, megapixels=0.5)
    under = shot(seed=0, ev=-1)
    assert not measure_clip(under).measured.any()
    memory = taught_by([shot(seed=s) for s in range(10, 15)])
    clip = clip_with_memory(under, memory)
    assert clip.level[1:] == pytest.approx([15021, 15021, 15173], rel=0.001)
    assert clip.origins[1] == "set"
    assert clip.pile_ups[1] is None


def test_a_memory_of_something_else_changes_nothing() -> None:
    frame = lit(0.02, 3)
    memory = memory_of([told(15400, 14600, 14700, 15100)] * 5)
    own = measure_clip(frame)
    assert clip_with_memory(frame, memory).level == pytest.approx(own.level)
    assert clip_with_memory(frame, ClipMemory()).origins == ("measured",) * 4


# In a set that is watched, and in many files.

RICH, BARE = 1.3, -0.9
TRUE = list(APART.clip)


def evening(folder: Path, exposures: Iterable[float], *, camera: Camera = APART) -> list[Path]:
    folder.mkdir(exist_ok=True)
    start = len(list(folder.iterdir()))
    paths = []
    for number, ev in enumerate(exposures, start):
        path = folder / f"evening_{number:04}.dng"
        write_dng(path, shoot(CLEAN, camera=camera, seed=number, ev=ev, megapixels=0.3))
        paths.append(path)
    return paths


def follow(
    hot: Path, count: int, *, on: dict[int, Callable[[], None]] | None = None, **options: Any
) -> dict[str, Any]:
    """Watch until so many frames are judged; their records by name. ``on``: what to do when."""
    inbox: Inbox = queue.SimpleQueue()
    found: dict[str, Any] = {}
    setup = Setup(hot, hot.parent / "report", existing=True, **options)
    for event in follow_set(setup, inbox):
        if isinstance(event, Judged):
            found[Path(event.row.path).name] = event.row.record
            if on and len(found) in on:
                on[len(found)]()
            if len(found) == count:
                inbox.put(Stop())
    return found


def levels_of(told: Any) -> list[float]:
    return [told["clip"]["levels"][name] for name in NAMES]


def test_a_watched_set_remembers_over_a_restart(tmp_path: Path) -> None:
    hot = tmp_path / "hot"
    evening(hot, [RICH] * 4)
    follow(hot, 4)
    [bare] = evening(hot, [BARE])
    told_of = follow(hot, 1)[bare.name]  # other workers, another session
    assert set(told_of["clip"]["from"].values()) == {"set"}
    assert levels_of(told_of) == pytest.approx(TRUE, rel=0.001)
    stored = {Path(row.path).name: row.record for row in read_rows(tmp_path / "report")}
    assert stored[bare.name]["clip"] == told_of["clip"]


def test_a_worker_that_dies_loses_nothing_of_it(tmp_path: Path) -> None:
    hot = tmp_path / "hot"
    evening(hot, [RICH] * 4)

    def kill_and_shoot() -> None:
        for process in multiprocessing.active_children():
            process.kill()
            process.join()
        evening(hot, [BARE])

    found = follow(hot, 5, lanes=1, on={4: kill_and_shoot})
    assert set(found["evening_0004.dng"]["clip"]["from"].values()) == {"set"}


def check(*arguments: str | Path) -> list[Any]:
    done = CliRunner().invoke(main, ["check", "--json", *map(str, arguments)])
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_one_process_or_two_judge_by_the_same_memory(tmp_path: Path) -> None:
    paths = evening(tmp_path / "a", [BARE, RICH, RICH, BARE, RICH, BARE, BARE])
    one, two = (check("--jobs", n, *paths) for n in ("1", "2"))
    assert one == two
    origins = [set(each["clip"]["from"].values()) for each in one]
    assert origins[0] == origins[3] == {"metadata"}
    assert origins[5] == origins[6] == {"set"}
    for each in one[4:]:
        assert levels_of(each) == pytest.approx(TRUE, rel=0.001)


def test_a_cluster_judges_by_the_same_memory(tmp_path: Path) -> None:
    from distributed import LocalCluster

    paths = evening(tmp_path / "a", [RICH, RICH, BARE, RICH, BARE])
    with LocalCluster(  # type: ignore[no-untyped-call]
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        away = check("--cluster", cluster.scheduler_address, *paths)
    assert away == check("--jobs", "1", *paths)
    assert set(away[4]["clip"]["from"].values()) == {"set"}


def test_a_resumed_run_remembers_what_it_has_stored(tmp_path: Path) -> None:
    paths = evening(tmp_path / "a", [RICH, RICH, RICH, BARE, BARE])
    report = tmp_path / "report"
    whole = check("--jobs", "1", "--report", tmp_path / "other", *paths)
    check("--report", report, *paths[:3])
    resumed = check("--report", report, "--resume", *paths)
    assert [each["clip"] for each in resumed] == [each["clip"] for each in whole]
    assert set(resumed[4]["clip"]["from"].values()) == {"set"}
