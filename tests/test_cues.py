"""What slow falls and overlaps say of an edge, point for point."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from plain import NOISY, blurred, disc, frame_of_light

from inspector.across import look_across
from inspector.clean_part import compare_falls
from inspector.cues import find_cues, spill_by_cues
from inspector.levels import measure_levels
from inspector.zones import find_zones


@pytest.mark.parametrize(("spokes", "is_spill"), [(False, True), (True, False)])
def test_a_faint_band_is_spill_where_nothing_hangs_before_it(spokes: bool, is_spill: bool) -> None:
    """Before a backdrop at the ceiling; spokes dim the light, too."""
    light = np.where(disc((600, 400), (300, 200), 120), 2.0**-5, 2.0**0.3)
    levels = measure_levels(frame_of_light(blurred(light, 0.9), NOISY))
    zones = find_zones(levels)
    assert zones.begins is not None
    away = cv2.distanceTransform((~zones.backdrop).astype(np.uint8), cv2.DIST_L2, 5)
    clean = look_across(
        levels, zones, zones.begins, np.asarray(away, np.float32), core=2.0**-5, tolerance=3.0
    )
    along = np.cumsum(clean.outline.step)
    across = replace(
        clean, told=np.zeros(along.size, bool), tangled=(along % 24 < 10) & np.bool_(spokes)
    )
    falls = compare_falls(across, blur=0.9, tolerance=3.0)
    faint = (along > 100) & (along < 300)
    falls = replace(
        falls, slower=np.where(faint, 2.0, 0.0), soft=faint, rim=~faint, shaded=np.zeros_like(faint)
    )
    cues = find_cues(across, falls, np.where(faint, 1.0, 0.0), tolerance=3.0)
    sure, possible = spill_by_cues(across, falls, cues)
    assert (sure[faint].mean() > 0.9) == is_spill
    assert sure.any() == is_spill
    assert not possible[~faint].any()
