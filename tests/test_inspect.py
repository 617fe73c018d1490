"""The whole core, and the record of a frame as the contract fixes it."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import sets
from plain import CAMERA, NOISY, held

from inspector.clip import Clip
from inspector.inspect import PlateError, inspect, record, unreadable, zone_mask
from inspector.simulate import Light, Pose, Scene, render
from inspector.under import UnderError
from inspector.verdict import Limits

NUMBER, OPTIONAL = (float,), (float, type(None))
TEXT, OPTIONAL_TEXT = (str,), (str, type(None))
BOX = [int, int, int, int]

CONTRACT: dict[str, Any] = {
    "schema": (int,),
    "frame": {
        "path": TEXT,
        "width": (int,),
        "height": (int,),
        "orientation": (int,),
        "camera": OPTIONAL_TEXT,
        "iso": OPTIONAL,
        "shutter_s": OPTIONAL,
        "aperture_f": OPTIONAL,
        "taken_at": OPTIONAL_TEXT,
    },
    "clip": {
        "levels": {"R": NUMBER, "G1": NUMBER, "G2": NUMBER, "B": NUMBER},
        "source": TEXT,
        "ceiling_ev": NUMBER,
    },
    "backdrop": {
        "found": (bool,),
        "area_fraction": NUMBER,
        "white_fraction": OPTIONAL,
        "blown_fraction": OPTIONAL,
        "ev_p1": OPTIONAL,
        "ev_p50": OPTIONAL,
        "ev_p99": OPTIONAL,
        "short_regions": [
            {"where": TEXT, "box": BOX, "area_px": (int,), "ev": NUMBER, "shadow": (bool,)}
        ],
    },
    "subject": {
        "found": (bool,),
        "area_fraction": NUMBER,
        "depth_ev": OPTIONAL,
        "hot_spots": [{"box": BOX, "area_px": (int,), "warns": (bool,), "sure": (bool,)}],
    },
    "edge": {
        "length_px": NUMBER,
        "ramp_px": OPTIONAL,
        "spill_fraction": OPTIONAL,
        "spill": [
            {"where": TEXT, "box": BOX, "length_px": NUMBER, "depth_px": NUMBER, "sure": (bool,)}
        ],
    },
    "flare": {"veil_fraction": OPTIONAL, "is": OPTIONAL_TEXT},
    "window": {
        "low_ev": OPTIONAL,
        "low_is": OPTIONAL_TEXT,
        "high_ev": OPTIONAL,
        "high_is": OPTIONAL_TEXT,
        "safe_high_ev": OPTIONAL,
        "subject_high_ev": OPTIONAL,
    },
    "verdict": TEXT,
    "reasons": [{"code": TEXT, "text": TEXT, "advice": OPTIONAL_TEXT}],
}
SCENES = (
    sets.CLEAN,
    sets.PLATE,
    sets.SHORT_CORNER,
    sets.SPILT,
    sets.HOT,
    sets.NO_BACKDROP,
    sets.MISFIRE,
)

every_scene = pytest.mark.parametrize("scene", SCENES, ids=lambda s: s.name)


def keeps(value: Any, kind: Any, at: str = "record") -> None:
    """Fail where a value is not of the kind that the contract gives it; more keys are free."""
    if isinstance(kind, dict):
        assert isinstance(value, dict), at
        assert kind.keys() <= value.keys(), at
        for key, inner in kind.items():
            keeps(value[key], inner, f"{at}.{key}")
    elif kind is BOX:
        assert [type(v) for v in value] == BOX, at
    elif isinstance(kind, list):
        assert isinstance(value, list), at
        for item in value:
            keeps(item, kind[0], f"{at}[]")
    else:
        assert type(value) in kind, f"{at} is {value!r}"


@every_scene
def test_the_record_keeps_the_contract(scene: Scene) -> None:
    keeps(record(sets.seen(scene)), CONTRACT)


def test_the_check_of_the_contract_can_fail() -> None:
    good = record(sets.seen(sets.SPILT))
    for change in (
        {"schema": "1"},
        {"clip": {**good["clip"], "ceiling_ev": None}},
        {"edge": {**good["edge"], "spill": [{"where": "2 o'clock"}]}},
        {"frame": {**good["frame"], "width": 868.0}},
    ):
        with pytest.raises(AssertionError):
            keeps(good | change, CONTRACT)


@every_scene
def test_the_record_goes_through_json_and_back(scene: Scene) -> None:
    told = record(sets.seen(scene))
    assert json.loads(json.dumps(told, allow_nan=False)) == told


@every_scene
def test_words_are_those_of_the_contract(scene: Scene) -> None:
    told = record(sets.seen(scene))
    assert told["schema"] == 1
    assert told["clip"]["source"] in ("measured", "metadata", "mixed")
    assert told["verdict"] in ("pass", "warn")
    assert told["flare"]["is"] in ("exact", "at_most", None)
    for end in ("low", "high"):
        window = told["window"]
        assert (window[f"{end}_ev"] is None) == (window[f"{end}_is"] is None)
        assert window[f"{end}_is"] in ("exact", "at_most", "at_least", None)
    assert (told["verdict"] == "pass") == (told["reasons"] == [])


@every_scene
def test_boxes_lie_in_the_picture_as_viewed(scene: Scene) -> None:
    told = record(sets.seen(scene))
    width, height = told["frame"]["width"], told["frame"]["height"]
    boxes = [
        part["box"]
        for part in (
            *told["backdrop"]["short_regions"],
            *told["subject"]["hot_spots"],
            *told["edge"]["spill"],
        )
    ]
    for x0, y0, x1, y1 in boxes:
        assert 0 <= x0 < x1 <= width
        assert 0 <= y0 < y1 <= height


@every_scene
def test_fractions_and_percentiles_are_in_order(scene: Scene) -> None:
    told = record(sets.seen(scene))
    backdrop = told["backdrop"]
    assert 0 <= backdrop["area_fraction"] + told["subject"]["area_fraction"] <= 1
    if backdrop["found"]:
        assert 0 <= backdrop["blown_fraction"] <= backdrop["white_fraction"] <= 1
        assert backdrop["ev_p1"] <= backdrop["ev_p50"] <= backdrop["ev_p99"]
        assert backdrop["ev_p99"] <= told["clip"]["ceiling_ev"]


@pytest.mark.parametrize("scene", [sets.NO_BACKDROP, sets.MISFIRE], ids=lambda s: s.name)
def test_without_a_backdrop_all_that_needs_one_is_null(scene: Scene) -> None:
    told = record(sets.seen(scene))
    assert told["backdrop"] == {
        "found": False,
        "area_fraction": 0.0,
        "white_fraction": None,
        "blown_fraction": None,
        "ev_p1": None,
        "ev_p50": None,
        "ev_p99": None,
        "short_regions": [],
    }
    assert (told["subject"]["found"], told["subject"]["depth_ev"]) == (False, None)
    assert (told["edge"]["ramp_px"], told["edge"]["spill_fraction"]) == (None, None)
    assert set(told["flare"].values()) == {None}
    assert set(told["window"].values()) == {None}
    assert told["verdict"] == "warn"


def test_on_a_plate_all_that_needs_a_subject_is_null() -> None:
    told = record(sets.seen(sets.PLATE))
    assert told["plate"] is True
    assert told["backdrop"]["white_fraction"] == 1
    assert (told["subject"]["found"], told["subject"]["depth_ev"]) == (False, None)
    assert (told["edge"]["length_px"], told["edge"]["spill_fraction"]) == (0, None)
    assert (told["window"]["high_ev"], told["flare"]["veil_fraction"]) == (None, None)
    assert told["verdict"] == "pass"


def test_a_frame_with_somebody_in_it_is_no_plate() -> None:
    for scene in (sets.CLEAN, sets.SPILT, sets.NO_BACKDROP, sets.MISFIRE):
        assert record(sets.seen(scene))["plate"] is False


def test_a_short_plate_warns_and_stays_a_plate() -> None:
    told = record(sets.seen(replace(sets.SHORT_CORNER, poses=())))
    assert (told["verdict"], told["plate"]) == ("warn", True)
    assert [r["code"] for r in told["reasons"]] == ["background-short"]


def test_a_frame_of_unknown_exposure() -> None:
    frame, _ = sets.photographed(sets.CLEAN)
    bare = replace(frame, shot=type(frame.shot)())
    told = record(inspect(bare))
    keeps(told, CONTRACT)
    assert [told["frame"][k] for k in ("camera", "iso", "shutter_s", "aperture_f", "taken_at")] == [
        None
    ] * 5


def test_the_record_of_an_unreadable_file_claims_nothing() -> None:
    told = unreadable("hot/fencer.dng", "not a raw file", "shoot it again")
    assert json.loads(json.dumps(told, allow_nan=False)) == told
    known = record(sets.seen(sets.CLEAN))
    assert told.keys() == known.keys()
    for part in ("frame", "clip", "backdrop", "subject", "edge", "flare", "window"):
        assert told[part].keys() == known[part].keys()
    assert told["verdict"] == "unreadable"
    (reason,) = told["reasons"]
    assert reason["code"] == "unreadable"
    assert (reason["text"], reason["advice"]) == ("not a raw file", "shoot it again")
    assert told["backdrop"]["white_fraction"] is None


# What may not matter


def figures(told: dict[str, Any]) -> dict[str, Any]:
    """Every number of a record by its path, but those of boxes and of the file."""
    flat: dict[str, Any] = {}

    def walk(value: Any, at: str) -> None:
        if isinstance(value, dict):
            for key, inner in value.items():
                walk(inner, f"{at}.{key}")
        elif isinstance(value, float):
            flat[at] = value

    walk({k: v for k, v in told.items() if k not in ("frame", "reasons")}, "")
    return flat


@pytest.mark.parametrize("orientation", range(2, 9))
@pytest.mark.parametrize("scene", [sets.CLEAN, sets.SHORT_CORNER], ids=lambda s: s.name)
def test_a_camera_held_otherwise_gives_the_same_figures(scene: Scene, orientation: int) -> None:
    frame, _ = sets.photographed(scene)
    upright, turned = record(sets.seen(scene)), record(inspect(held(frame, orientation)))
    assert turned["frame"]["orientation"] == orientation
    assert (turned["frame"]["width"], turned["frame"]["height"]) == frame.size
    assert turned["verdict"] == upright["verdict"]
    assert [r["code"] for r in turned["reasons"]] == [r["code"] for r in upright["reasons"]]
    one, other = figures(turned), figures(upright)
    assert one.keys() == other.keys()
    for name, value in one.items():
        assert value == pytest.approx(other[name], abs=0.02, rel=0.02), name


@pytest.mark.parametrize("pattern", ["BGGR", "GRBG", "GBRG"])
@pytest.mark.parametrize("scene", [sets.CLEAN, sets.SHORT_CORNER], ids=lambda s: s.name)
def test_the_order_of_the_filter_array_does_not_matter(scene: Scene, pattern: str) -> None:
    ordered = [
        record(sets.seen(scene, replace(NOISY, pattern=order))) for order in ("RGGB", pattern)
    ]
    assert ordered[0]["verdict"] == ordered[1]["verdict"]
    one, other = (figures(told) for told in ordered)
    for name, value in one.items():
        near = 1 / 6 if name == ".window.high_ev" else 0.1
        assert value == pytest.approx(other[name], abs=near, rel=0.03), name


@pytest.mark.parametrize("pattern", ["X-Trans", "mono"])
def test_other_filter_arrays_come_to_the_same_verdict(pattern: str) -> None:
    for scene in (sets.CLEAN, sets.SHORT_CORNER, sets.LIT):
        told = record(sets.seen(scene, replace(NOISY, pattern=pattern)))
        keeps(told, CONTRACT)
        assert told["verdict"] == sets.photographed(scene)[1].verdict()


def test_the_same_frame_gives_the_same_record() -> None:
    frame, _ = sets.photographed(sets.SPILT)
    assert record(inspect(frame)) == record(inspect(frame))


def test_a_frame_is_not_changed_by_looking_at_it() -> None:
    frame, _ = sets.photographed(sets.SPILT)
    before = frame.mosaic.copy()
    frame.mosaic.setflags(write=False)
    inspect(frame)
    assert np.array_equal(frame.mosaic, before)


# With a plate, an under frame, limits, clip levels


def test_a_plate_gives_the_same_verdict() -> None:
    plate = sets.seen(sets.PLATE)
    for scene in (sets.CLEAN, sets.SPILT, sets.SHORT_CORNER, sets.LIT, sets.HOT):
        with_plate = inspect(sets.photographed(scene)[0], plate=plate)
        assert with_plate.zones.plate_shift == pytest.approx((0, 0), abs=1)
        assert with_plate.verdict.word == sets.photographed(scene)[1].verdict()


def test_a_plate_of_another_size_is_refused_in_a_sentence() -> None:
    small, _ = render(sets.PLATE, megapixels=0.2)
    with pytest.raises(PlateError, match="another size; shoot it with the same camera"):
        inspect(sets.photographed(sets.CLEAN)[0], plate=inspect(small))


def test_a_plate_without_a_backdrop_is_refused_in_a_sentence() -> None:
    with pytest.raises(PlateError, match="no white background was found on the plate"):
        inspect(sets.photographed(sets.CLEAN)[0], plate=sets.seen(sets.MISFIRE))


FAR_OVER = replace(sets.CLEAN, name="far over", backdrop=replace(sets.SOFTBOX, ev=2.0))


def test_an_under_frame_raises_the_ceiling_by_as_many_stops_as_it_is_darker() -> None:
    frame, truth = sets.photographed(FAR_OVER)
    under, _ = sets.photographed(FAR_OVER, ev=-2.0)
    alone, helped = record(inspect(frame)), record(inspect(frame, under=under))
    assert alone["backdrop"]["ev_p50"] == pytest.approx(alone["clip"]["ceiling_ev"])
    assert helped["clip"]["ceiling_ev"] == pytest.approx(alone["clip"]["ceiling_ev"] + 2, abs=0.1)
    assert helped["backdrop"]["ev_p50"] == pytest.approx(truth.ev_p50, abs=0.1)
    assert helped["window"]["low_is"] == "exact"
    assert helped["window"]["low_ev"] == pytest.approx(truth.window_low_ev, abs=0.1)


def test_a_frame_as_bright_is_no_under_frame() -> None:
    frame, _ = sets.photographed(sets.CLEAN)
    with pytest.raises(UnderError, match="one to three stops darker"):
        inspect(frame, under=sets.photographed(sets.CLEAN, ev=-0.2)[0])


def test_an_under_frame_of_another_size_is_refused() -> None:
    small, _ = render(sets.CLEAN, ev=-2, megapixels=0.2)
    with pytest.raises(UnderError, match="another size"):
        inspect(sets.photographed(sets.CLEAN)[0], under=small)


def test_an_under_frame_of_another_pose_is_refused() -> None:
    moved = replace(sets.CLEAN, poses=(replace(sets.CLEAN.poses[0], name="salute", at=(0.4, 0.7)),))
    with pytest.raises(UnderError, match="moved too far"):
        inspect(sets.photographed(sets.CLEAN)[0], under=sets.photographed(moved, ev=-2)[0])


@pytest.mark.parametrize("pose", ["standing", "salute", "lunge", "profile", "bust"])
def test_another_pose_at_the_same_place_is_refused(pose: str) -> None:
    """However well a part of the outline may lie: in the first two an arm has moved."""
    other = replace(sets.CLEAN, poses=(Pose(pose, (0.5, 0.7), 0.6),))
    with pytest.raises(UnderError, match="moved too far"):
        inspect(sets.photographed(sets.CLEAN)[0], under=sets.photographed(other, ev=-2)[0])


def test_an_under_frame_tells_how_far_over_when_only_a_deep_subject_is_under_the_ceiling() -> None:
    over = replace(sets.CLEAN, backdrop=replace(sets.SOFTBOX, ev=2.4), light=Light(front_ev=-7))
    frame, truth = sets.photographed(over)
    seen = inspect(frame, under=sets.photographed(over, ev=-3)[0])
    assert seen.levels.ceiling_ev > 3.5
    assert seen.exposure.ev_p50 == pytest.approx(truth.ev_p50, abs=0.1)


def test_a_short_frame_is_laid_on_its_under_frame_by_light_that_it_has() -> None:
    short = replace(sets.CLEAN, backdrop=replace(sets.SOFTBOX, ev=-1.6))
    moved = short.moved(0.01, 0)
    seen = inspect(sets.photographed(short)[0], under=sets.photographed(moved, ev=-1)[0])
    assert seen.levels.under is not None
    width = seen.frame.size[0]
    shift = np.median(seen.levels.under.shift[seen.zones.subject], axis=0) * seen.levels.scale
    assert shift == pytest.approx((0.01 * width, 0), abs=0.001 * width)


def test_limits_and_look_reach_the_verdict() -> None:
    frame, _ = sets.photographed(sets.CLEAN)
    strict = inspect(frame, limits=Limits(silhouette_depth_ev=6))
    assert [r.code for r in strict.verdict.reasons] == ["subject-light"]
    assert (
        inspect(frame, limits=Limits(silhouette_depth_ev=6), look="filled").verdict.word == "pass"
    )


def test_clip_levels_known_beforehand_are_taken() -> None:
    frame, _ = sets.photographed(sets.MISFIRE)
    clip = Clip(np.full(4, 14000.0), np.ones(4, bool))
    told = record(inspect(frame, clip=clip))
    assert told["clip"]["levels"] == dict.fromkeys(("R", "G1", "G2", "B"), 14000.0)
    assert told["clip"]["source"] == "measured"


def test_the_mask_is_as_large_as_the_picture_and_holds_three_zones() -> None:
    i = sets.seen(sets.CLEAN)
    mask = zone_mask(i)
    assert mask.shape == i.frame.size[::-1]
    assert mask.dtype == np.uint8
    assert np.unique(mask).tolist() == [0, 1, 2]


@pytest.mark.parametrize("size", [(4, 4), (4, 6), (16, 16), (2, 400)])
@pytest.mark.parametrize("level", [0, 500, 9000, 15000, 65535])
def test_tiny_and_featureless_frames_are_judged_without_a_stumble(
    size: tuple[int, int], level: int
) -> None:
    frame, _ = sets.photographed(sets.MISFIRE, CAMERA)
    told = record(inspect(replace(frame, mosaic=np.full(size, level, np.uint16))))
    keeps(told, CONTRACT)
    json.dumps(told, allow_nan=False)
    assert told["verdict"] in ("pass", "warn")
    if level <= 500:
        assert told["verdict"] == "warn"
    assert all(math.isfinite(v) for v in figures(told).values())
