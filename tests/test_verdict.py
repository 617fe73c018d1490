"""The table of rules: what passes, what warns, and that a pass is earned."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import sets
from hypothesis import given
from hypothesis import strategies as st

from inspector.edge import Edge, HotSpot
from inspector.exposure import Exposure
from inspector.simulate import Scene
from inspector.verdict import Limits, Verdict, judge, meets
from inspector.zones import Zones

FIGURES = st.none() | st.sampled_from([math.nan, math.inf, -math.inf]) | st.floats(-20, 20)


@pytest.mark.parametrize(
    ("value", "limit", "at_least", "kept"),
    [
        (0.9949, 0.995, True, False),
        (0.995, 0.995, True, True),
        (0.9951, 0.995, True, True),
        (0.0099, 0.01, False, True),
        (0.01, 0.01, False, True),
        (0.0101, 0.01, False, False),
        (None, 0.0, True, False),
        (None, 0.0, False, False),
        (math.nan, 0.0, True, False),
        (math.nan, 0.0, False, False),
        (math.inf, 0.0, True, False),
        (-math.inf, 0.0, False, False),
    ],
)
def test_a_limit_is_kept_at_the_limit_itself(
    value: float | None, limit: float, at_least: bool, kept: bool
) -> None:
    assert meets(value, limit, at_least=at_least) is kept


@given(value=FIGURES, limit=st.floats(-10, 10))
def test_nothing_measured_never_keeps_a_limit_and_a_number_keeps_one_side(
    value: float | None, limit: float
) -> None:
    sides = [meets(value, limit, at_least=side) for side in (True, False)]
    if value is None or not math.isfinite(value):
        assert sides == [False, False]
    else:
        assert any(sides)
        assert all(sides) == (value == limit)


def parts(look: str = "silhouette") -> tuple[Zones, Edge, Exposure]:
    """What was measured on a frame that passes."""
    i = sets.seen(sets.CLEAN, look=look)
    assert i.verdict == Verdict("pass", (), look, is_plate=False)
    return i.zones, i.edge, i.exposure


def judged(
    *,
    white: float | None = 0.999,
    spill: float | None = 0.0,
    depth: float | None = 5.0,
    spots: tuple[HotSpot, ...] = (),
    look: str = "silhouette",
    limits: Limits | None = None,
    is_plate: bool = False,
) -> Verdict:
    """The verdict on a passing frame with these figures put in."""
    zones, edge, exposure = parts()
    return judge(
        zones,
        replace(edge, spill_fraction=spill, hot_spots=spots),
        replace(exposure, white_fraction=white, depth_ev=depth),
        limits=limits or Limits(),
        look=look,
        is_plate=is_plate,
    )


def codes(verdict: Verdict) -> list[str]:
    return [r.code for r in verdict.reasons]


@pytest.mark.parametrize(("white", "word"), [(0.9949, "warn"), (0.995, "pass"), (0.996, "pass")])
def test_white_at_its_default_limit(white: float, word: str) -> None:
    assert judged(white=white).word == word


@pytest.mark.parametrize(("spill", "word"), [(0.009, "pass"), (0.01, "pass"), (0.0101, "warn")])
def test_spill_at_its_default_limit(spill: float, word: str) -> None:
    assert judged(spill=spill).word == word


@pytest.mark.parametrize(
    ("look", "depth", "word"),
    [
        ("silhouette", 3.99, "warn"),
        ("silhouette", 4.0, "pass"),
        ("filled", 1.99, "warn"),
        ("filled", 2.0, "pass"),
        ("filled", 3.99, "pass"),
    ],
)
def test_a_silhouette_wants_four_stops_and_a_filled_subject_two(
    look: str, depth: float, word: str
) -> None:
    """Common practice."""
    verdict = judged(look=look, depth=depth)
    assert (verdict.word, verdict.look) == (word, look)


def test_a_hot_spot_warns_only_if_it_is_said_to() -> None:
    box = (400, 300, 420, 320)
    assert judged(spots=(HotSpot(box, 90, warns=False, sure=True),)).word == "pass"
    assert judged(spots=(HotSpot(box, 400, warns=False, sure=False),)).word == "pass"
    assert codes(judged(spots=(HotSpot(box, 400, warns=True, sure=True),))) == ["hot-spot"]


def test_limits_can_be_set() -> None:
    assert judged(white=0.9, limits=Limits(white_fraction=0.9)).word == "pass"
    assert judged(spill=0.05, limits=Limits(spill_fraction=0.05)).word == "pass"
    assert judged(depth=3.0, limits=Limits(silhouette_depth_ev=3.0)).word == "pass"
    assert judged(depth=5.0, limits=Limits(silhouette_depth_ev=5.5)).word == "warn"


@given(white=FIGURES, spill=FIGURES, depth=FIGURES)
def test_a_frame_passes_only_if_every_rule_was_measured_and_kept(
    white: float | None, spill: float | None, depth: float | None
) -> None:
    kept = (
        white is not None
        and spill is not None
        and depth is not None
        and math.isfinite(white + spill + depth)
        and white >= 0.995
        and spill <= 0.01
        and depth >= 4
    )
    verdict = judged(white=white, spill=spill, depth=depth)
    assert (verdict.word == "pass") == kept
    assert (verdict.reasons == ()) == kept


@pytest.mark.parametrize("nothing", [None, math.nan])
def test_what_was_not_measured_is_said(nothing: float | None) -> None:
    verdict = judged(white=nothing, spill=nothing, depth=nothing)
    assert verdict.word == "warn"
    assert set(codes(verdict)) == {"not-measured"}
    assert [r.value for r in verdict.reasons] == [None] * 3
    assert "subject-light could not be measured" in [r.text for r in verdict.reasons]


def test_a_plate_is_judged_on_its_backdrop_alone() -> None:
    assert judged(spill=None, depth=None, is_plate=True).word == "pass"
    verdict = judged(white=0.5, spill=0.5, depth=0.1, is_plate=True)
    assert (codes(verdict), verdict.is_plate) == (["background-short"], True)


def test_a_frame_without_a_backdrop_never_passes_whatever_was_measured() -> None:
    zones, edge, exposure = parts()
    empty = replace(zones, label=np.zeros_like(zones.label))
    for is_plate in (True, False):
        verdict = judge(
            empty, edge, exposure, limits=Limits(), look="silhouette", is_plate=is_plate
        )
        assert (verdict.word, codes(verdict)) == ("warn", ["no-background"])


@pytest.mark.parametrize(("brightest", "code"), [(-5.0, "no-flash"), (-1.0, "no-background")])
def test_a_flash_that_did_not_fire_is_told_from_a_missing_backdrop(
    brightest: float, code: str
) -> None:
    zones, edge, exposure = parts()
    verdict = judge(
        replace(zones, label=np.zeros_like(zones.label)),
        edge,
        replace(exposure, brightest_ev=brightest),
        limits=Limits(),
        look="silhouette",
        is_plate=False,
    )
    assert codes(verdict) == [code]
    assert verdict.advice


def test_every_reason_carries_its_evidence_and_one_advice() -> None:
    spot = HotSpot((400, 300, 420, 320), 400, warns=True, sure=True)
    verdict = judged(white=0.5, spill=0.2, depth=1.5, spots=(spot,))
    assert codes(verdict) == ["background-short", "spill", "hot-spot", "subject-light"]
    assert [(r.value, r.limit) for r in verdict.reasons] == [
        (0.5, 0.995),
        (0.2, 0.01),
        (1.0, 0.0),
        (1.5, 4.0),
    ]
    for reason in verdict.reasons:
        assert reason.code == reason.code.lower()
        assert reason.text
        assert reason.advice
    assert verdict.advice == verdict.reasons[0].advice


def test_texts_tell_the_figures() -> None:
    texts = [r.text for r in judged(white=0.9249, spill=0.2, depth=1.5).reasons]
    assert texts[0].startswith("Only 92 % of the background is paper white")
    assert texts[1].startswith("White creeps over 20 % of the edge")
    assert texts[2] == "The subject is only 1.5 stops under white; a silhouette wants 4"


def test_the_lines_of_a_grid_are_named_and_the_light_is_not_turned_for_them() -> None:
    i = sets.seen(sets.SHORT_CORNER)
    turned, raised = (
        judge(
            replace(i.zones, grid=grid), i.edge, i.exposure,
            limits=Limits(), look="silhouette", is_plate=False,
        ).reasons[0]
        for grid in (False, True)
    )  # fmt: skip
    assert "lines of a grid" in raised.text
    assert "lines of a grid" not in turned.text
    assert "turn the background light" in (turned.advice or "").lower()
    assert "turn the background light" not in (raised.advice or "").lower()


@pytest.mark.parametrize(
    ("scene", "found"),
    [
        (sets.SHORT, ["background-short"]),
        (sets.SHORT_CORNER, ["background-short"]),
        (sets.SPILT, ["spill"]),
        (sets.HOT, ["hot-spot"]),
        (sets.LIT, ["subject-light"]),
        (sets.NO_BACKDROP, ["no-background"]),
        (sets.MISFIRE, ["no-flash"]),
        (sets.PLATE, []),
        (sets.WALL, []),
    ],
    ids=lambda value: value.name if isinstance(value, Scene) else "",
)
def test_photographed_scenes(scene: Scene, found: list[str]) -> None:
    verdict = sets.seen(scene).verdict
    assert codes(verdict) == found
    assert verdict.word == ("warn" if found else "pass")


def test_the_look_decides_on_a_filled_subject() -> None:
    assert sets.seen(sets.FILLED).verdict.word == "warn"
    assert sets.seen(sets.FILLED, look="filled").verdict.word == "pass"
    assert sets.seen(sets.LIT, look="filled").verdict.word == "warn"
