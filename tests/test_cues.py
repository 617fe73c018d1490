"""What slow falls and overlaps say of an edge, point for point."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, disc, frame_of_light

from inspector.across import Across, look_across
from inspector.clean_part import compare_falls
from inspector.cues import find_cues, spill_by_cues
from inspector.levels import measure_levels
from inspector.zones import find_zones


@pytest.fixture(scope="module")
def disc_edge() -> Across:
    """The clean edge of a dark disc, 750 px long, before a background 0.3 stop over white."""
    light = np.where(disc((600, 400), (300, 200), 120), 2.0**-5, 2.0**0.3)
    levels = measure_levels(frame_of_light(blurred(light, 0.9), NOISY))
    zones = find_zones(levels)
    assert zones.begins is not None
    away = cv2.distanceTransform((~zones.backdrop).astype(np.uint8), cv2.DIST_L2, 5)
    return look_across(
        levels, zones, zones.begins, np.asarray(away, np.float32), core=2.0**-5, tolerance=3.0
    )


def verdict(
    edge: Across,
    *,
    slower: float,
    overlap: float = 0.0,
    rim: bool,
    told: bool = False,
    spokes: bool = False,
    later: float = 0.0,
    sharp: bool = False,
    glow: float = 0.0,
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_]]:
    """Where 200 px of the edge were given these cues, where they are sure, and where possible.

    ``glow`` is by how much longer light falls on the last half of the edge.
    """
    along = np.cumsum(edge.outline.step)
    there = (along > 100) & (along < 300)
    across = replace(
        edge, told=np.full(along.size, told), tangled=(along % 24 < 10) & np.bool_(spokes)
    )
    falls = replace(
        compare_falls(across, blur=0.9, tolerance=3.0),
        slower=np.where(there, slower, glow * (along > 400)),
        soft=there,
        later=np.where(there, later, 0.0),
        sharp=np.full(along.size, sharp),
        rim=~there | np.bool_(rim),
        shaded=np.zeros_like(there),
    )
    cues = find_cues(across, falls, np.where(there, overlap, 0.0), tolerance=3.0)
    return there, *spill_by_cues(across, falls, cues)


@pytest.mark.parametrize(("spokes", "is_spill"), [(False, True), (True, False)])
def test_a_faint_band_is_spill_where_nothing_hangs_before_it(
    disc_edge: Across, spokes: bool, is_spill: bool
) -> None:
    """Before a backdrop at the ceiling; spokes dim the light, too."""
    there, sure, possible = verdict(
        disc_edge, slower=2.0, overlap=1.0, rim=False, told=False, spokes=spokes
    )
    assert (sure[there].mean() > 0.9) == is_spill
    assert sure.any() == is_spill
    assert not possible[~there].any()


@pytest.mark.parametrize(
    ("slower", "overlap", "told", "is_spill"),
    [
        (2.4, 1.6, False, True),
        (1.6, 1.6, False, False),
        (2.4, 0.9, False, False),
        (2.4, 1.6, True, False),
    ],
)
def test_both_cues_together_are_spill_though_light_starts_to_fall_as_before_a_rim(
    disc_edge: Across, slower: float, overlap: float, told: bool, is_spill: bool
) -> None:
    there, sure, _ = verdict(disc_edge, slower=slower, overlap=overlap, rim=True, told=told)
    assert (sure[there].mean() > 0.9) == is_spill
    assert sure.any() == is_spill


@pytest.mark.parametrize(
    ("slower", "overlap", "later", "sharp", "told", "is_spill"),
    [
        (1.2, 0.8, 0.5, False, False, True),
        (0.6, 0.8, 0.5, False, False, False),
        (4.5, 0.8, 0.5, False, False, False),
        (1.2, 0.5, 0.5, False, False, False),
        (1.2, 0.8, 0.3, False, False, False),
        (1.2, 0.8, 1.1, False, False, False),
        (1.2, 0.8, 0.5, True, False, False),
        (1.2, 0.8, 0.5, False, True, False),
    ],
)
def test_slight_cues_are_spill_together_where_light_falls_later_from_the_start(
    disc_edge: Across,
    slower: float,
    overlap: float,
    later: float,
    sharp: bool,
    told: bool,
    is_spill: bool,
) -> None:
    """A rim starts to fall sharply, falls for long, or is longer in its first part alone."""
    there, sure, _ = verdict(
        disc_edge, slower=slower, overlap=overlap, rim=True, told=told, later=later, sharp=sharp
    )
    assert (sure[there].mean() > 0.9) == is_spill
    assert sure.any() == is_spill


@pytest.mark.parametrize(
    ("overlap", "told", "spokes", "is_spill"),
    [
        (9.0, False, False, True),
        (5.0, False, False, False),
        (9.0, True, False, False),
        (9.0, False, True, False),
    ],
)
def test_light_that_reaches_far_and_ends_sharply_is_spill_only_over_the_ceiling(
    disc_edge: Across, overlap: float, told: bool, spokes: bool, is_spill: bool
) -> None:
    """Under it a seam or a gap may dim the light, too; strands, and what reaches less far, may."""
    there, sure, possible = verdict(
        disc_edge, slower=1.0, overlap=overlap, rim=True, told=told, spokes=spokes
    )
    assert (sure[there].mean() > 0.9) == is_spill
    assert sure.any() == is_spill
    assert possible[there].mean() > 0.9


@pytest.mark.parametrize(
    ("slower", "later", "sharp", "glow", "told", "is_spill"),
    [
        (3.0, 1.3, False, 0.0, False, True),
        (3.0, 1.3, False, 2.0, False, False),
        (3.0, 1.3, False, 0.0, True, False),
        (3.0, 0.7, False, 0.0, False, False),
        (3.0, 1.3, True, 0.0, False, False),
        (2.0, 1.3, False, 0.0, False, False),
    ],
)
def test_a_slow_fall_is_spill_over_the_ceiling_where_the_rest_of_the_edge_is_clean(
    disc_edge: Across,
    slower: float,
    later: float,
    sharp: bool,
    glow: float,
    told: bool,
    is_spill: bool,
) -> None:
    """Unless all of the edge glows, an overlap would show, or it starts to fall as at a rim."""
    there, sure, _ = verdict(
        disc_edge, slower=slower, rim=True, told=told, later=later, sharp=sharp, glow=glow
    )
    assert (sure[there].mean() > 0.9) == is_spill
    assert sure.any() == is_spill
