"""What makes a slow fall of light spill: where the subject begins, or how far white overlaps."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from plain import NOISY, blurred, disc, frame_of_light

from inspector.across import Across, look_across
from inspector.clean_part import compare_falls
from inspector.levels import measure_levels
from inspector.onset import Onset, Suspect
from inspector.spill import SpillRun, find_spill
from inspector.zones import find_zones


def ball() -> Across:
    """The edge of a clean ball before a wall under the ceiling."""
    light = np.where(disc((600, 400), (300, 200), 120), 2.0**-5, 2.0**0.3)
    levels = measure_levels(frame_of_light(blurred(light, 0.9), NOISY))
    zones = find_zones(levels)
    assert zones.begins is not None
    away = cv2.distanceTransform((~zones.backdrop).astype(np.uint8), cv2.DIST_L2, 5)
    return look_across(
        levels, zones, zones.begins, np.asarray(away, np.float32), core=2.0**-5, tolerance=3.0
    )


def runs_with(
    *,
    past: float,
    error: float,
    overlap: float,
    told: bool = True,
    length: float = 200,
    tangled: bool = False,
) -> tuple[SpillRun, ...]:
    """The runs where light falls slowly over 200 px of the edge.

    The subject begins so far out that white is by ``past`` over the tolerance, known to ``error``,
    and white overlaps by so much, ``tangled`` in strands, over the first ``length`` pixels; over
    the others it ends a pixel within.
    """
    clean = ball()
    count = len(clean.white_at)
    along = np.cumsum(clean.outline.step)
    slow = (along > 100) & (along < 300)
    here = slow & (along < 100 + length)
    across = replace(clean, told=np.full(count, told), tangled=here & tangled)
    falls = replace(
        compare_falls(across, blur=0.9, tolerance=3.0),
        slower=np.where(slow, 8.0, 0.0),
        deeper=np.where(here, overlap, 0.0),
        soft=slow,
        rim=~slow,
        shaded=np.zeros(count, bool),
    )
    nowhere, nothing = np.zeros(count, bool), np.zeros(count)
    onset = Onset(
        at=across.white_at - 3.0 - np.where(here, past, -1.0),
        error=np.full(count, error),
        rise=nothing,
        drop=nothing,
        white_at=across.white_at,
        steps=nowhere,
    )
    runs, _ = find_spill(
        across,
        falls,
        Suspect(slow, nowhere, nowhere, falls.deeper),
        onset,
        nothing,
        tolerance=3.0,
        centre=np.array([300.0, 200.0]),
        size=(600, 400),
    )
    return runs


@pytest.mark.parametrize("error", [1.5, 3.0, np.nan])
def test_a_slow_fall_from_an_outline_known_badly_is_only_possible(error: float) -> None:
    """Nor does white overlap far enough (1.5 px, and 2 px are sure) to be past it."""
    assert [run.sure for run in runs_with(past=0.5, error=error, overlap=1.5)] == [False]


@pytest.mark.parametrize(
    ("error", "overlap", "told"), [(0.6, 1.5, True), (1.5, 3.0, True), (np.nan, 1.5, False)]
)
def test_it_is_spill_where_outline_or_overlap_shows_it_or_cannot(
    error: float, overlap: float, told: bool
) -> None:
    """Before a background at the ceiling an overlap is never seen in full."""
    runs = runs_with(past=0.5, error=error, overlap=overlap, told=told)
    assert [run.sure for run in runs] == [True]
    assert runs[0].length_px == pytest.approx(200, abs=6)


def test_it_is_nothing_where_white_ends_within_the_tolerance_of_the_outline() -> None:
    assert runs_with(past=-1.0, error=0.6, overlap=1.5) == ()


@pytest.mark.parametrize(("past", "tangled"), [(-2.0, False), (30.0, True)])
def test_an_overlap_alone_must_go_on_for_long(past: float, tangled: bool) -> None:
    """Against an outline that is known, or where a strand is taken for it."""

    def sure(length: float) -> list[bool]:
        runs = runs_with(past=past, error=0.6, overlap=4.0, length=length, tangled=tangled)
        return [run.sure for run in runs]

    assert sure(60) == [True]
    assert True not in sure(32)
