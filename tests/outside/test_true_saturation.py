"""Saturation levels that files state wrongly, as documented, and the clip finder on such frames.

LibRaw issue 82: compressed files of one camera clip at 16372 under a stated 17220. rawpy pull
request 122: another states 15488, photographers give about 13200 at ISO 160 and 320, and 15180
to 15200 at ISO 100. LibRaw issue 277: another is reported as 4095, its 14-bit files reach 15872.
LibRaw issue 344 and rawpy pull request 102: the stated level is a table's constant or the bit
depth's, so an underexposed frame never reaches it. Black levels are from memory.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, disc, frame_of_light

from inspector.clip import find_pile_up
from inspector.inspect import inspect
from inspector.levels import measure_clip
from inspector.simulate import Camera

DOCUMENTED = [
    # black, true, stated, error in stops of trusting the stated level
    (512, 16372, 17220, 0.075),
    (2048, 13200, 15488, 0.27),
    (2048, 15190, 15488, 0.033),
    (0, 15872, 4095, -1.95),
    (512, 15778, 16383, 0.056),  # the samples' own camera
]

documented = pytest.mark.parametrize(("black", "true", "stated", "error"), DOCUMENTED)


def channel(black: float, clip: float, *, gain: float = 1.0) -> NDArray[np.int64]:
    """Histogram of a silhouette before a wall 0.3 to 0.9 stop over white: half of it clips."""
    rng = np.random.default_rng(5)
    v = np.concatenate([2 ** rng.normal(-5, 1, 60_000), 2 ** rng.uniform(0.3, 0.9, 60_000) / gain])
    v += np.sqrt(v / 40_000) * rng.standard_normal(v.size)
    raw = np.minimum(black + (clip - black) * v, clip + 2 * rng.standard_normal(v.size))
    return np.bincount(np.rint(np.maximum(raw, 0)).astype(np.int64), minlength=65536)


@documented
def test_the_errors_are_those_of_the_threads(
    black: float, true: float, stated: float, error: float
) -> None:
    assert np.log2((stated - black) / (true - black)) == pytest.approx(error, abs=0.01)


@documented
def test_the_pile_up_is_found_whatever_the_file_states(
    black: float, true: float, stated: float, error: float
) -> None:
    found = find_pile_up(channel(black, true), black=black, stated=stated)
    assert found == pytest.approx(true, abs=0.002 * (true - black))


@documented
def test_a_channel_that_does_not_clip_has_no_pile_up(
    black: float, true: float, stated: float, error: float
) -> None:
    """Red, whose gain is 2.5, stays under its clip."""
    assert find_pile_up(channel(black, true, gain=2.5), black=black, stated=stated) is None


def camera(black: float, true: float, stated: float) -> Camera:
    return replace(
        NOISY, bits=14, black=(black,) * 4, clip=(true,) * 4, stated_clip=stated, red_gain=2.2
    )


@documented
def test_a_whole_frame_reads_its_stops_right(
    black: float, true: float, stated: float, error: float
) -> None:
    """Backdrop 0.6 stop over white, subject 5 under, though the file is wrong by that much."""
    light = blurred(np.where(disc((600, 400), (300, 200), 90), 2.0**-5, 2.0**0.6))
    frame = frame_of_light(light, camera(black, true, stated))
    clip = measure_clip(frame)
    assert clip.level == pytest.approx(np.full(4, true), abs=0.002 * (true - black))
    x = inspect(frame).exposure
    assert x.depth_ev == pytest.approx(5, abs=0.1)
    assert x.white_fraction == pytest.approx(1, abs=1e-3)


@documented
def test_an_underexposed_frame_never_shows_its_clip(
    black: float, true: float, stated: float, error: float
) -> None:
    """The stated level stands, and the record says so, unless sites above it prove it wrong."""
    light = blurred(np.where(disc((600, 400), (300, 200), 90), 2.0**-9, 2.0**-4))
    clip = measure_clip(frame_of_light(light, camera(black, true, stated)))
    assert clip.source == "metadata"
    assert (clip.level >= stated).all()
