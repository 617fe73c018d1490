"""A frame's black, clip, gains, pattern and orientation against LibRaw's own development.

With half-size output, linear gamma and camera colours LibRaw writes for each 2 × 2 cell
(raw - black) / (white - black) × multiplier, cut at 1, the two greens averaged (LibRaw's
documentation of `half_size`, `output_color` and `gamm`); the same follows from the Frame.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rawpy
from numpy.typing import NDArray
from PIL import Image, ImageOps
from raw_frames import ORDERS, frame_of, photograph

from inspector.decode import decode
from inspector.frame import Frame, as_viewed
from inspector.simulate.dng import write_dng


def developed(path: Path, *, turned: bool = False) -> NDArray[np.float64]:
    """(H / 2, W / 2, 3) linear camera colours, 1 at the white point."""
    with rawpy.imread(str(path)) as raw:
        picture = raw.postprocess(
            half_size=True,
            use_camera_wb=True,
            output_color=rawpy.ColorSpace.raw,
            output_bps=16,
            gamma=(1, 1),
            no_auto_bright=True,
            adjust_maximum_thr=0,
            user_flip=None if turned else 0,
        )
    return picture / 65535


def foretold(frame: Frame) -> NDArray[np.float64]:
    """The same from the Frame, by the definitions of v and r."""
    height, width = (n - n % 2 for n in frame.mosaic.shape)
    planes = []
    for c in range(4):
        y, x = np.argwhere(frame.pattern == c)[0]
        v = (frame.mosaic[y:height:2, x:width:2] - frame.black[c]) / (
            frame.stated_clip[c] - frame.black[c]
        )
        planes.append(np.clip(v * frame.gains[c], 0, 1))
    r, g1, g2, b = planes
    return np.stack([r, (g1 + g2) / 2, b], axis=-1)


# Whole raw levels and 16-bit products: a part of a 14-bit level.
STEP = 1 / 16384


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("masked", [(0, 0, 0, 0), (3, 5, 1, 1), (2, 5, 4, 1)])
def test_levels(tmp_path: Path, order: str, masked: tuple[int, int, int, int]) -> None:
    path = tmp_path / "frame.dng"
    write_dng(path, frame_of(order, size=(49, 67)), masked=masked)
    ours = foretold(decode(path))
    theirs = developed(path)[: ours.shape[0], : ours.shape[1]]
    np.testing.assert_allclose(ours, theirs, atol=STEP)


@pytest.mark.parametrize("order", ORDERS)
def test_levels_of_a_black_per_channel(tmp_path: Path, order: str) -> None:
    path = tmp_path / "frame.dng"
    write_dng(path, frame_of(order, black=(500, 505, 510, 515)))
    # LibRaw takes the lowest black off the white level, we each channel's own: 15 in 15500.
    np.testing.assert_allclose(foretold(decode(path)), developed(path), atol=15 / 15500 + STEP)


def test_photograph(tmp_path: Path) -> None:
    rgb = photograph()
    mosaic = rgb[..., 1].copy()
    mosaic[0::2, 0::2] = rgb[0::2, 0::2, 0]
    mosaic[1::2, 1::2] = rgb[1::2, 1::2, 2]
    path = tmp_path / "astronaut.dng"
    write_dng(path, frame_of("RGGB", mosaic=mosaic))
    np.testing.assert_allclose(foretold(decode(path)), developed(path), atol=STEP)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_turns_as_libraw_and_pillow_turn(tmp_path: Path, orientation: int) -> None:
    """CIPA DC-008, tag 274; LibRaw's flip and Pillow's `exif_transpose` carry it out."""
    path = tmp_path / "frame.dng"
    frame = frame_of("RGGB", size=(48, 66), orientation=orientation)
    write_dng(path, frame)
    read = decode(path)
    picture = foretold(read)
    viewed = as_viewed(picture, read.orientation)
    np.testing.assert_allclose(viewed, developed(path, turned=True), atol=STEP)

    grey = np.round(picture[..., 1] * 255).astype(np.uint8)
    image = Image.fromarray(grey)
    image.getexif()[274] = read.orientation
    turned = np.asarray(ImageOps.exif_transpose(image))
    np.testing.assert_array_equal(as_viewed(grey, read.orientation), turned)
    assert read.size == (turned.shape[1] * 2, turned.shape[0] * 2)
