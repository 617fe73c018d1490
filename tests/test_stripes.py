"""A frame cut into stripes: nothing is lost, and what is measured does not depend on the cuts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from raw_frames import frame_of

from inspector import stripes as module
from inspector.levels import measure_levels
from inspector.stripes import at_once, stripes

SCALES = {"RGGB": (2, 4, 6), "X-Trans": (3, 6, 9), "mono": (1, 2), "rgb": (1, 3)}
KINDS = tuple(SCALES)


@given(data=st.data(), kind=st.sampled_from(KINDS), height=st.integers(9, 120))
def test_every_row_lies_in_one_stripe(data: st.DataObject, kind: str, height: int) -> None:
    scale = data.draw(st.sampled_from(SCALES[kind]))
    frame = frame_of(kind, size=(height, 12))
    size = data.draw(st.integers(1, 2 * frame.mosaic.nbytes))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "STRIPE_BYTES", size)
        parts = stripes(frame, scale)
    np.testing.assert_array_equal(np.concatenate([p.mosaic for _, p in parts]), frame.mosaic)
    order = np.concatenate([np.arange(height // scale)[rows] for rows, _ in parts])
    np.testing.assert_array_equal(order, np.arange(height // scale))
    for rows, part in parts:
        # A whole pattern and a whole working pixel start each of them.
        assert rows.start * scale % frame.pattern.shape[0] == 0
        assert part.mosaic.shape[0] // scale == rows.stop - rows.start


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("orientation", [1, 6, 8])
def test_a_frame_in_many_stripes_is_measured_as_in_one(
    monkeypatch: pytest.MonkeyPatch, kind: str, orientation: int
) -> None:
    frame = frame_of(kind, size=(77, 66), orientation=orientation, clip=9000)
    frame = replace(frame, mosaic=np.minimum(frame.mosaic, 9000))
    whole = measure_levels(frame)
    assert len(stripes(frame, whole.scale)) == 1
    monkeypatch.setattr(module, "STRIPE_BYTES", 1000)
    assert len(stripes(frame, whole.scale)) > 5
    cut = measure_levels(frame)
    for name in ("rendered", "ev", "white", "blown"):
        np.testing.assert_array_equal(getattr(cut, name), getattr(whole, name))


def test_results_come_in_the_order_of_the_items() -> None:
    assert at_once(lambda n: n * n, range(50)) == [n * n for n in range(50)]


def test_a_failure_in_a_thread_is_not_lost() -> None:
    with pytest.raises(ZeroDivisionError):
        at_once(lambda n: 1 // n, [2, 1, 0])
