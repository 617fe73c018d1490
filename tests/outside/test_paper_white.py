"""Paper white against LibRaw's own development: neutral, the camera's white balance, no
brightening, its own maximum left alone.

What we call paper white comes out as 255 in all channels, what we call short does not. The limit
itself, 0.98 of white, is 253 under the default gamma (BT.709, as LibRaw's documentation of `gamm`
has it): between 0.98 and 1 a cell is as good as white and not 255 yet.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import rawpy
import sets
from numpy.typing import NDArray
from plain import NOISY
from raw_frames import ORDERS

from inspector.decode import decode
from inspector.frame import Frame
from inspector.levels import Levels, measure_levels
from inspector.simulate import Camera, Scene
from inspector.simulate.dng import write_dng

WIDE_OPEN = replace(NOISY, red_gain=2.1, blue_gain=1.6, black=(512,) * 4, orientation=1)
"""The file states the level at which the sensor truly clips, so that LibRaw knows it too."""


def developed(path: Path, saturation: int | None = None) -> NDArray[np.uint8]:
    """(H / 2, W / 2, 3) one pixel a cell; ``saturation`` over black instead of the stated one."""
    with rawpy.imread(str(path)) as raw:
        picture = raw.postprocess(
            half_size=True,
            use_camera_wb=True,
            no_auto_bright=True,
            adjust_maximum_thr=0,
            output_color=rawpy.ColorSpace.raw,
            user_flip=0,
            user_sat=saturation,
        )
    return np.asarray(picture, np.uint8)


def through_a_file(
    tmp_path: Path, scene: Scene, camera: Camera
) -> tuple[Frame, Levels, NDArray[np.uint8]]:
    path = tmp_path / "fencer.dng"
    write_dng(path, sets.photographed(scene, camera)[0])
    frame = decode(path)
    levels = measure_levels(frame)
    assert levels.scale == 2  # one working pixel a cell
    return frame, levels, developed(path)


@pytest.mark.parametrize(
    ("scene", "order"),
    [(sets.CLEAN, "RGGB"), (sets.SPILT, "RGGB"), (sets.HOT, "RGGB")]
    + [(sets.SHORT_CORNER, order) for order in ORDERS],
)
def test_what_we_call_paper_white_develops_to_white_and_what_we_call_short_does_not(
    tmp_path: Path, scene: Scene, order: str
) -> None:
    _, levels, picture = through_a_file(tmp_path, scene, replace(WIDE_OPEN, pattern=order))
    white = levels.white == 1
    short = levels.white == 0
    assert white.sum() > 50_000
    assert short.sum() > 20_000
    assert (white | short).all()
    darkest = picture.min(axis=2)
    assert darkest[white].min() >= 253
    assert darkest[short].max() < 255
    # All but the few cells right at the limit are 255.
    full = (levels.rendered >= 1.005).all(axis=2) | (levels.rendered >= levels.top * 0.999).all(2)
    assert (darkest[white & full] == 255).all()
    assert (darkest[white] == 255).mean() > 0.995


@pytest.mark.parametrize("scene", [sets.SHORT_CORNER, sets.SPILT])
def test_part_clipped_cells_come_out_with_a_tint(tmp_path: Path, scene: Scene) -> None:
    """A channel is at 255 (but where only one green of the cell clips), another is not."""
    _, levels, picture = through_a_file(tmp_path, scene, WIDE_OPEN)
    at_clip = (levels.rendered >= 0.98 * levels.top).any(axis=2)
    part = at_clip & (levels.white == 0)
    assert part.any()
    assert np.median(picture[part].max(axis=1)) == 255
    assert (picture[part].min(axis=1) < 255).all()


@pytest.mark.parametrize("scene", [sets.CLEAN, sets.LIT])
def test_the_subject_develops_dark(tmp_path: Path, scene: Scene) -> None:
    """At `depth` stops under white the median of the core is that code, BT.709's gamma."""
    path = tmp_path / "fencer.dng"
    write_dng(path, sets.photographed(scene, WIDE_OPEN)[0])
    i = sets.seen(scene, WIDE_OPEN)
    depth = i.exposure.depth_ev
    assert depth is not None
    level = 2.0**-depth
    expected = 255 * (4.5 * level if level < 0.018 else 1.099 * level**0.45 - 0.099)
    green = developed(path)[..., 1]
    assert np.median(green[i.edge.core]) == pytest.approx(expected, abs=3)


def test_a_file_that_states_too_high_a_level_would_develop_grey_and_still_is_white(
    tmp_path: Path,
) -> None:
    """Told the level that we measure (`user_sat`), LibRaw writes white again."""
    camera = replace(WIDE_OPEN, stated_clip=16383)
    path = tmp_path / "fencer.dng"
    write_dng(path, sets.photographed(sets.CLEAN, camera)[0])
    levels = measure_levels(decode(path))
    inside = levels.white == 1
    assert inside.mean() > 0.5
    found = round(float(levels.clip.level.min())) - 512
    assert (developed(path)[inside].min(axis=1) < 255).mean() > 0.5
    assert (developed(path, found)[inside].min(axis=1) >= 253).mean() > 0.999
