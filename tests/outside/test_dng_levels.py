"""Levels, gains and colours against the rules of the DNG specification.

Adobe, *Digital Negative Specification* 1.4, chapter 4 (BlackLevel, BlackLevelDeltaH and V,
WhiteLevel, AsShotNeutral, ColorMatrix1) and chapter 5, "Mapping Raw Values to Linear Reference
Values". That the rescaling takes the highest black is from memory.
"""

from __future__ import annotations

from pathlib import Path

import colour
import numpy as np
import pytest
from numpy.typing import NDArray
from raw_frames import frame_of

from inspector.decode import decode
from inspector.frame import Frame
from inspector.simulate.dng import colour_matrix, write_dng


def channels_of(frame: Frame) -> NDArray[np.intp]:
    """The channel of every site."""
    y, x = np.indices(frame.mosaic.shape)
    channel = frame.pattern[y % frame.pattern.shape[0], x % frame.pattern.shape[1]]
    return np.asarray(channel, np.intp)


def linear(frame: Frame) -> NDArray[np.float64]:
    """The frame's own `v` at every site, channel by channel."""
    channel = channels_of(frame)
    black, clip = frame.black[channel], frame.stated_clip[channel]
    return np.asarray((frame.mosaic - black) / (clip - black), np.float64)


def by_the_book(
    raw: NDArray[np.uint16],
    tile: NDArray[np.float64],
    rows: NDArray[np.float64],
    columns: NDArray[np.float64],
    white: float,
) -> NDArray[np.float64]:
    """Chapter 5, written out site by site."""
    height, width = raw.shape
    black = np.empty(raw.shape)
    for y in range(height):
        for x in range(width):
            black[y, x] = tile[y % tile.shape[0], x % tile.shape[1]] + rows[y] + columns[x]
    return np.asarray((raw - black) / (white - black.max()), np.float64)


@pytest.mark.parametrize(
    ("raw", "value"), [(512, 0.0), (4096, 0.225821), (8448, 0.500032), (16383, 1.0)]
)
def test_worked_values(tmp_path: Path, raw: int, value: float) -> None:
    """Black 512, white 16383, worked from the formula."""
    frame = frame_of(mosaic=np.full((24, 24), raw, np.uint16), clip=16383)
    write_dng(tmp_path / "frame.dng", frame)
    np.testing.assert_allclose(linear(decode(tmp_path / "frame.dng")), value, atol=1e-6)


@pytest.mark.parametrize("kind", ["GBRG", "X-Trans", "mono"])
@pytest.mark.parametrize("shape", [(1, 1), (2, 2), (4, 4), (3, 5), (8, 1)])
@pytest.mark.parametrize("delta", [0, 4])
def test_patterned_black(tmp_path: Path, kind: str, shape: tuple[int, int], delta: int) -> None:
    rng = np.random.default_rng(3)
    frame = frame_of(kind, size=(36, 40))
    height, width = frame.mosaic.shape
    tile = rng.integers(500, 530, shape).astype(np.float64)
    rows, columns = (np.rint(rng.uniform(-delta, delta, [n])) for n in (height, width))
    path = tmp_path / "frame.dng"
    write_dng(path, frame, black_pattern=tile, black_rows=rows, black_columns=columns)
    read = decode(path)
    book = by_the_book(frame.mosaic, tile, rows, columns, 16000)
    # The book has one highest black for all, we one a channel: that much of the scale apart.
    spread = (read.black.max() - read.black.min()) / (16000 - read.black.max())
    np.testing.assert_allclose(linear(read), book, rtol=spread + 1e-9, atol=1e-9)


@pytest.mark.parametrize("kind", ["RGGB", "GBRG"])
def test_black_begins_at_the_active_area(tmp_path: Path, kind: str) -> None:
    """LibRaw shows the mosaic from the next even row and column on."""
    frame = frame_of(kind, size=(24, 30))
    tile = np.arange(500.0, 515).reshape(3, 5)
    rows, columns = np.arange(24.0) ** 2, np.arange(30.0) * 3
    path = tmp_path / "frame.dng"
    write_dng(
        path,
        frame,
        black_pattern=tile,
        black_rows=rows,
        black_columns=columns,
        masked=(3, 7, 1, 2),
    )
    read = decode(path)
    assert read.mosaic.shape == (23, 29)
    black = np.tile(tile, (8, 6)) + rows[:, None] + columns
    np.testing.assert_array_equal(
        read.mosaic - read.black[channels_of(read)], (frame.mosaic - black)[1:, 1:]
    )


def test_black_of_each_plane_of_an_rgb_file(tmp_path: Path) -> None:
    frame = frame_of("rgb", black=(400.5, 500, 600))
    path = tmp_path / "frame.dng"
    write_dng(path, frame, black_rows=np.arange(48.0) % 2)
    read = decode(path)
    assert read.black.tolist() == [401.5, 501, 601]
    np.testing.assert_array_equal(read.mosaic[1::2], frame.mosaic[1::2])
    np.testing.assert_array_equal(read.mosaic[::2], frame.mosaic[::2] + 1)


def test_gains_are_the_inverse_of_the_neutral(tmp_path: Path) -> None:
    """AsShotNeutral (0.5, 1, 0.625): when green just clips on a neutral, red has 1 stop left."""
    frame = frame_of()
    frame.gains[:] = 1 / np.array([0.5, 1, 1, 0.625])
    write_dng(tmp_path / "frame.dng", frame)
    gains = decode(tmp_path / "frame.dng").gains
    np.testing.assert_allclose(gains, [2, 1, 1, 1.6], rtol=1e-12)
    np.testing.assert_allclose(np.log2(gains), [1, 0, 0, 0.678], atol=5e-4)


def test_colour_matrix_foretells_the_neutral_under_d65() -> None:
    """The white of CIE D65 by colour-science (CIE 15, 2° observer) through ColorMatrix1."""
    gains = np.array([2.1, 1.0, 1.7])
    xy = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    camera = colour_matrix(gains) @ colour.xy_to_XYZ(xy)
    # The sRGB matrix of IEC 61966-2-1 has four decimals.
    np.testing.assert_allclose(camera * gains, 1, atol=5e-4)
