"""A silhouette that is not ours: `horse` of scikit-image's wheel (Andreas Preuss, CC0).

328 x 400, True on the background; the horse is one piece of 43,412 pixels with one hole of six.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, cells, frame_of_light, held, overlap
from scipy import ndimage
from skimage import data, measure

from inspector.decode import decode
from inspector.inspect import Inspection, inspect, record, zone_mask
from inspector.simulate.dng import write_dng
from inspector.zones import BACKDROP, SUBJECT

ENLARGED = 3


def horse() -> NDArray[np.bool_]:
    """(984, 1200) True on the horse."""
    background: NDArray[np.bool_] = data.horse()  # type: ignore[no-untyped-call]
    return np.asarray(cells(~background, ENLARGED) > 0)


def light(*, wall_ev: float = 0.4, horse_ev: float = -5.0) -> NDArray[np.float32]:
    """The horse before a wall that loses a fifth of a stop towards its corners."""
    subject = horse()
    y, x = np.mgrid[0 : subject.shape[0], 0 : subject.shape[1]]
    off = np.hypot(x / subject.shape[1] - 0.5, y / subject.shape[0] - 0.5)
    return blurred(np.where(subject, 2.0**horse_ev, 2.0 ** (wall_ev - 0.4 * off**2)))


def truth() -> NDArray[np.uint8]:
    return np.where(horse(), SUBJECT, BACKDROP).astype(np.uint8)


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> Inspection:
    """Through a file and LibRaw."""
    path: Path = tmp_path_factory.mktemp("horse") / "horse.dng"
    write_dng(path, frame_of_light(light(), NOISY))
    return inspect(decode(path))


def test_the_shape_is_the_published_one() -> None:
    background: NDArray[np.bool_] = data.horse()  # type: ignore[no-untyped-call]
    assert background.shape == (328, 400)
    assert np.count_nonzero(~background) == 43_412
    assert ndimage.label(~background, np.ones((3, 3)))[1] == 1
    assert ndimage.label(background)[1] == 2


def test_its_zones_overlap(seen: Inspection) -> None:
    backdrop, subject = overlap(zone_mask(seen), truth())
    assert backdrop >= 0.98
    assert subject >= 0.98


def test_it_passes(seen: Inspection) -> None:
    told = record(seen)
    assert (told["verdict"], told["reasons"]) == ("pass", [])
    assert told["backdrop"]["white_fraction"] == pytest.approx(1, abs=1e-3)
    assert told["subject"]["depth_ev"] == pytest.approx(5, abs=0.1)
    assert told["subject"]["area_fraction"] == pytest.approx(43_412 / (328 * 400), abs=0.005)
    assert told["edge"]["spill_fraction"] == 0


def test_its_edge_is_as_long_as_its_outline(seen: Inspection) -> None:
    """Its contour by scikit-image's `perimeter`, less what steps of the enlarging add."""
    background: NDArray[np.bool_] = data.horse()  # type: ignore[no-untyped-call]
    length = ENLARGED * measure.perimeter_crofton(~background, 4)  # type: ignore[no-untyped-call]
    assert seen.edge.length_px == pytest.approx(length, rel=0.05)


@pytest.mark.parametrize(
    ("wall_ev", "horse_ev", "code"),
    [(-0.3, -5.5, "background-short"), (0.4, -3.0, "subject-light")],
)
def test_it_warns_where_it_should(wall_ev: float, horse_ev: float, code: str) -> None:
    frame = frame_of_light(light(wall_ev=wall_ev, horse_ev=horse_ev), NOISY)
    assert [r.code for r in inspect(frame).verdict.reasons] == [code]


@pytest.mark.parametrize("orientation", [3, 6, 8])
def test_it_passes_however_the_camera_is_held(orientation: int) -> None:
    frame = held(frame_of_light(light(), NOISY), orientation)
    i = inspect(frame)
    assert i.verdict.word == "pass"
    assert min(overlap(zone_mask(i), truth())) >= 0.98


def test_it_passes_with_the_empty_wall_as_plate() -> None:
    plate = inspect(frame_of_light(np.where(horse(), 2.0**0.38, light()), NOISY))
    i = inspect(frame_of_light(light(), replace(NOISY, pattern="GBRG")), plate=plate)
    assert plate.verdict.is_plate
    assert i.verdict.word == "pass"
    assert min(overlap(zone_mask(i), truth())) >= 0.98
