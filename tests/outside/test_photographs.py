"""Photographs without a white backdrop, seen through a filter array, never pass.

`astronaut` of scikit-image's wheel (NASA, public domain) and `grace_hopper.jpg` of matplotlib's
(public domain, from memory), their 8-bit levels taken for linear ones.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import matplotlib.cbook as cbook
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from plain import NOISY
from raw_frames import ORDERS, photograph

from inspector.decode import decode
from inspector.inspect import inspect
from inspector.simulate.camera import photograph as expose
from inspector.simulate.dng import write_dng


def astronaut() -> NDArray[np.float32]:
    levels: NDArray[np.float32] = photograph().astype(np.float32)
    return np.asarray((levels - 512) / (255 * 60), np.float32)


def hopper() -> NDArray[np.float32]:
    with Image.open(cbook.get_sample_data("grace_hopper.jpg", asfileobj=False)) as image:
        return np.asarray(np.asarray(image.convert("RGB")) / 255, np.float32)


PICTURES = {"astronaut": astronaut, "hopper": hopper}


@pytest.mark.parametrize("name", PICTURES)
@pytest.mark.parametrize("ev", [-3.0, -1.0, 0.0, 1.0, 2.0])
def test_it_never_passes(name: str, ev: float) -> None:
    light = PICTURES[name]() * np.float32(2.0**ev)
    frame = expose(light, camera=NOISY, seed=1)
    for look in ("silhouette", "filled"):
        verdict = inspect(frame, look=look).verdict
        assert verdict.word == "warn"
        assert verdict.reasons


@pytest.mark.parametrize("order", ORDERS)
def test_it_never_passes_through_a_file_of_any_order(tmp_path: Path, order: str) -> None:
    path = tmp_path / "photograph.dng"
    write_dng(path, expose(astronaut(), camera=replace(NOISY, pattern=order), seed=1))
    assert inspect(decode(path)).verdict.word == "warn"


@pytest.mark.parametrize("name", PICTURES)
@pytest.mark.parametrize("turn", [1, 2, 3])
def test_it_never_passes_upside_down_or_on_its_side(name: str, turn: int) -> None:
    light = np.ascontiguousarray(np.rot90(PICTURES[name](), turn))
    assert inspect(expose(light, camera=NOISY, seed=1)).verdict.word == "warn"
