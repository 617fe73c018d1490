"""What other readers make of the DNG files: tifffile (pixels, tags) and exifread (Exif).

Tags: Adobe, *Digital Negative Specification* 1.4, chapter 4; CIPA DC-008 (Exif 2.31), 4.6.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import exifread
import numpy as np
import pytest
import tifffile
from raw_frames import ORDERS, SHOT, frame_of, photograph

from inspector.decode import decode
from inspector.frame import Frame
from inspector.simulate.dng import write_dng

# DNG 1.4, CFAPattern: 0 red, 1 green, 2 blue.
CFA = {"R": 0, "G": 1, "B": 2}


def remosaicked(order: str) -> Frame:
    """The photograph seen through a filter array."""
    rgb = photograph()
    mosaic = np.empty(rgb.shape[:2], np.uint16)
    for site, colour in enumerate(order):
        y, x = divmod(site, 2)
        mosaic[y::2, x::2] = rgb[y::2, x::2, CFA[colour]]
    return frame_of(order, mosaic=mosaic)


@pytest.mark.parametrize("order", ORDERS)
def test_tifffile_and_decode_agree_on_a_photograph(tmp_path: Path, order: str) -> None:
    path = tmp_path / "astronaut.dng"
    frame = remosaicked(order)
    write_dng(path, frame)
    read = decode(path)
    np.testing.assert_array_equal(tifffile.imread(path), read.mosaic)
    with tifffile.TiffFile(path) as tif:
        pattern = tif.pages.first.tags["CFAPattern"].value
    assert pattern == bytes(CFA[colour] for colour in order)
    # Each channel of ours holds the photograph's own colour.
    rgb = photograph()
    for c, colour in enumerate(("R", "G", "G", "B")):
        y, x = np.argwhere(read.pattern == c)[0]
        np.testing.assert_array_equal(read.mosaic[y::2, x::2], rgb[y::2, x::2, CFA[colour]])


@pytest.mark.parametrize("kind", ["X-Trans", "mono", "rgb"])
def test_tifffile_reads_the_same_pixels(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "frame.dng"
    write_dng(path, frame_of(kind))
    with tifffile.TiffFile(path) as tif:
        page = tif.pages.first
        np.testing.assert_array_equal(page.asarray().squeeze(), decode(path).mosaic)
        # 32803 CFA, 34892 LinearRaw, which is also that of a monochrome sensor.
        assert page.photometric == (32803 if kind == "X-Trans" else 34892)


def test_tags(tmp_path: Path) -> None:
    path = tmp_path / "frame.dng"
    frame = frame_of("GRBG", black=(511.5, 512, 513, 514.25))
    write_dng(path, frame, masked=(2, 4, 6, 8))
    with tifffile.TiffFile(path) as tif:
        tags = {tag.name: tag.value for tag in tif.pages.first.tags}
    assert tags["ImageWidth"] == 66 + 4 + 8
    assert tags["ImageLength"] == 48 + 2 + 6
    assert tags["ActiveArea"] == (2, 4, 50, 70)
    assert tags["CFARepeatPatternDim"] == (2, 2)
    assert tags["BlackLevelRepeatDim"] == (2, 2)
    # Row, column order from the corner of the active area: G1 R / B G2.
    assert tags["BlackLevel"] == (512, 1, 1023, 2, 2057, 4, 513, 1)
    assert tags["WhiteLevel"] == 16000
    assert tags["AsShotNeutral"] == (1, 2, 1, 1, 2, 3)
    assert tags["DNGVersion"] == bytes((1, 4, 0, 0))
    assert tags["UniqueCameraModel"] == SHOT.camera


def test_exif(tmp_path: Path) -> None:
    path = tmp_path / "frame.dng"
    write_dng(path, replace(frame_of(), orientation=6, shot=replace(SHOT, iso=640.0)))
    with path.open("rb") as file:
        tags = exifread.process_file(file, details=False)
    assert tags["EXIF ISOSpeedRatings"].values == [640]
    assert str(tags["Image ExposureTime"]) == "1/125"
    assert str(tags["Image FNumber"]) == "8"
    assert tags["Image Orientation"].values == [6]
    assert str(tags["Image DateTime"]) == "2024:05:03 19:20:11"
    assert str(tags["EXIF DateTimeOriginal"]) == "2024:05:03 19:20:11"
    assert str(tags["Image Model"]) == SHOT.camera
