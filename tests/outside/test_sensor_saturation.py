"""ISO 12232: where mid grey lies under saturation, and what a frame of it must read.

ISO 12232:2006/2019: saturation speed S = 78 / H_sat and focal-plane exposure of mid grey
H_m = 10 / S (the constant 78 is from memory): mid grey lies at 10/78 = 12.8 % of saturation, also
published as 12.7 % (18 % over √2, half a stop of headroom).
"""

from __future__ import annotations

import numpy as np
import pytest
from plain import NOISY, frame_of_light

from inspector.levels import measure_levels


@pytest.mark.parametrize(
    ("reflector", "ev"),
    [
        (10 / 78, -2.963),  # mid grey, by the two exposures
        (0.18 / np.sqrt(2), -2.974),  # 18 % with half a stop of headroom
        (0.18, -2.474),  # 18 % without
        (1 / np.sqrt(2), -0.5),  # the 100 % reflector under that headroom
    ],
)
def test_grey_cards_read_as_far_under_saturation_as_the_standard_puts_them(
    reflector: float, ev: float
) -> None:
    """Green saturates at the white point: its stops under white are those under saturation."""
    levels = measure_levels(frame_of_light(np.full((200, 300), reflector), NOISY))
    assert np.median(levels.ev) == pytest.approx(ev, abs=0.003)
    assert not levels.white.any()


def test_half_a_stop_of_headroom_is_gone_just_beyond_root_two() -> None:
    """A highlight √2 above the 100 % reflector is at saturation: paper white, not before."""
    reflector = 1 / np.sqrt(2)
    for stops, white in ((0.46, False), (0.5, True)):
        light = np.full((200, 300), reflector * 2**stops)
        levels = measure_levels(frame_of_light(light, NOISY))
        assert np.median(levels.white) == white
