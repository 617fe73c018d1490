"""Stops under white and the 8-bit code that a neutral development writes.

IEC 61966-2-1:1999 (sRGB), as in colour-science; the development is LibRaw's own, with its gamma
set to that of the standard, no automatic brightening, the camera's white balance, its own colours.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import colour
import numpy as np
import pytest
import rawpy
from numpy.typing import NDArray
from plain import NOISY, frame_of_light

from inspector.decode import decode
from inspector.levels import WHITE, measure_levels
from inspector.simulate.dng import write_dng

PUBLISHED = [(-1 / 3, 230), (-0.5, 219), (-1, 188), (-2, 137), (-3, 99), (-5, 49)]


def code(level: float) -> int:
    """8-bit sRGB code of a linear level, by colour-science."""
    return round(255 * float(colour.cctf_encoding(min(level, 1.0), function="sRGB")))


def developed(path: Path) -> NDArray[np.uint8]:
    with rawpy.imread(str(path)) as raw:
        picture = raw.postprocess(
            half_size=True,
            use_camera_wb=True,
            no_auto_bright=True,
            adjust_maximum_thr=0,
            output_color=rawpy.ColorSpace.raw,
            gamma=(2.4, 12.92),
            user_flip=0,
        )
    return np.asarray(picture, np.uint8)


@pytest.mark.parametrize(("ev", "level"), PUBLISHED)
def test_published_codes(ev: float, level: int) -> None:
    assert code(2.0**ev) == level


@pytest.mark.parametrize(("ev", "level"), PUBLISHED)
def test_a_surface_that_reads_so_many_stops_develops_to_its_code(
    tmp_path: Path, ev: float, level: int
) -> None:
    path = tmp_path / "fencer.dng"
    write_dng(path, frame_of_light(np.full((200, 300), 2.0**ev), NOISY))
    frame = decode(path)
    assert np.median(measure_levels(frame).ev) == pytest.approx(ev, abs=0.005)
    assert np.median(developed(path), axis=(0, 1)) == pytest.approx([level] * 3, abs=1)


def test_the_limit_of_paper_white_develops_to_the_brightest_codes() -> None:
    """0.98 of white is -0.029 stop: code 253, under the 255 of an exposure a third of a stop up."""
    assert code(WHITE) == 253
    assert code(WHITE * 2 ** (1 / 3)) == 255


@pytest.mark.parametrize(("number", "ev"), [(242, -0.171), (250, -0.065)])
def test_codes_near_white_are_a_sixth_of_a_stop(number: int, ev: float) -> None:
    linear = float(colour.cctf_decoding(number / 255, function="sRGB"))
    assert np.log2(linear) == pytest.approx(ev, abs=1e-3)


@pytest.mark.parametrize("ev", [-0.5, -0.1, 0.1, 0.6])
@pytest.mark.parametrize("order", ["RGGB", "GBRG"])
def test_every_bayer_order_develops_alike(tmp_path: Path, ev: float, order: str) -> None:
    path = tmp_path / "fencer.dng"
    light = np.full((200, 300), 2.0**ev)
    write_dng(path, frame_of_light(light, replace(NOISY, pattern=order)))
    assert np.median(developed(path), axis=(0, 1)) == pytest.approx([code(2.0**ev)] * 3, abs=1)
