"""The edge profile against the normal distribution: a Gaussian blur's edge spread function.

ISO 12233 judges an edge by its spread; for a Gaussian blur of sigma s it is the normal
distribution's cumulative function (scipy.stats.norm), 10 to 90 % over 2.563 s.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import test_extras
from numpy.typing import NDArray
from scipy.stats import norm

from inspector.edge import SpillRun
from inspector.report.extras import profile


@pytest.mark.parametrize("sigma", [2.0, 5.0])
def test_a_blurred_edge_reads_as_the_normal_distribution(sigma: float) -> None:
    height, width, edge = 200, 400, 200.0
    x = np.arange(width) + 0.5
    dark = 2.0**-5
    light = dark + (1 - dark) * norm.cdf((edge - x) / sigma)  # white on the left
    level = np.broadcast_to(light, (height, width))
    i = test_extras.with_mosaic(np.rint(512 + 4000 * level).astype(np.uint16), ("L",))
    frame = replace(i.frame, gains=np.ones(1))
    i = replace(i, frame=frame, levels=replace(i.levels, frame=frame))
    y = np.arange(60.0, 140.0)
    points = np.column_stack((np.full(len(y), edge), y))
    run = _run(points)
    found = profile(replace(i, edge=replace(i.edge, spill=(run,))))
    assert found is not None
    # A site is read at its centre, so a whole offset reads half a pixel further on.
    offset = np.array(found["offset_px"]) + 0.5
    expected = np.log2(dark + (1 - dark) * norm.cdf(-offset / sigma))
    assert np.array(found["ev"]) == pytest.approx(expected, abs=0.02)


def _run(points: NDArray[np.float64]) -> SpillRun:
    n = len(points)
    depths, inward = np.full(n, 10.0), np.tile([1.0, 0.0], (n, 1))
    box = (200, 60, 201, 140)
    return SpillRun("3 o'clock", box, 80.0, 10.0, True, points, depths, inward, slice(0, n))
