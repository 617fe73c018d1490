"""From a raw file to a `Frame`. The only module that imports rawpy (LibRaw)."""

from __future__ import annotations

import math
import os
import stat
from pathlib import Path

import numpy as np
import rawpy
from numpy.typing import NDArray

from inspector.black import level_black
from inspector.filter_array import PROBE, FilterArray, find_filter_array, unfiltered
from inspector.frame import BAYER, MONO, RGB, Frame, Shot
from inspector.quiet import standard_error_closed
from inspector.rawnames import is_companion_name
from inspector.rawtags import DngTags, read_camera_tags, read_dng_tags

MAX_PIXELS = 400_000_000
"""Above this a header is taken for damaged: no single-shot camera comes near it."""

LEVELS = float(np.iinfo(np.uint16).max)
"""The greatest level that LibRaw's 16-bit mosaic holds."""

# LibRaw's flip (bit 0 mirrors left-right, bit 1 up-down, bit 2 transposes) to the Exif orientation.
ORIENTATION = {0: 1, 1: 2, 2: 4, 3: 3, 4: 5, 5: 8, 6: 6, 7: 7}

# Remedies.
AGAIN = "copy the file again or take the frame again"
OTHER = "such frames cannot be judged, use another camera"

Levels = NDArray[np.float64]


class DecodeError(Exception):
    """A file that gives no frame. One sentence: which file, what is wrong, what to do."""


def decode(path: Path | str) -> Frame:
    """Read the raw frame at `path`, which is opened read-only.

    Black that changes from row to row, column to column or in a larger pattern is levelled out:
    every photosite is raised to the highest black of its channel, so that one black level a
    channel holds, as the DNG specification's rescaling expects.

    Raises
    ------
    DecodeError
        If the file is missing, not readable, not raw, damaged, or of a sensor that has no
        red, green and blue (or a single) channel.
    """
    path = Path(path)
    _check_file(path)
    try:
        with rawpy.RawPy() as raw:
            with standard_error_closed():
                _open(raw, path)
                _check_size(raw, path)
                raw.unpack()
            return _frame(raw, path)
    except rawpy.LibRawFileUnsupportedError as error:
        raise DecodeError(
            f"{path}: not a raw frame of a known kind; set the camera to record raw files"
        ) from error
    except rawpy.LibRawTooBigError as error:
        raise DecodeError(f"{path}: the picture is too large to decode; {AGAIN}") from error
    except MemoryError as error:
        raise DecodeError(f"{path}: not enough memory; close other programs") from error
    except (rawpy.LibRawError, OSError, RuntimeError, ValueError) as error:
        raise DecodeError(f"{path}: damaged or cut short ({_reason(error)}); {AGAIN}") from error


def _check_file(path: Path) -> None:
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise DecodeError(f"{path}: a folder, not a raw frame; name the files in it")
        if not stat.S_ISREG(status.st_mode):
            raise DecodeError(f"{path}: not a regular file; name a raw frame")
        if is_companion_name(path):
            raise DecodeError(
                f"{path}: a developed picture or a note, not a raw frame; name the raw file"
            )
        if status.st_size == 0:
            raise DecodeError(f"{path}: the file is empty; {AGAIN}")
        with path.open("rb"):
            pass
    except FileNotFoundError as error:
        raise DecodeError(f"{path}: no such file; check the name") from error
    except PermissionError as error:
        raise DecodeError(f"{path}: may not be read; change its permissions") from error
    except (OSError, ValueError) as error:
        raise DecodeError(f"{path}: cannot be opened ({_reason(error)}); check the name") from error


def _reason(error: Exception) -> str:
    """LibRaw's errors carry bytes, the system's a number and a text."""
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    text = error.args[0] if error.args else type(error).__name__
    return text.decode("utf-8", "replace") if isinstance(text, bytes) else str(text)


def _open(raw: rawpy.RawPy, path: Path) -> None:
    try:
        raw.open_file(os.fspath(path))
    except UnicodeEncodeError:  # a name that is not UTF-8
        with path.open("rb") as file:
            raw.open_buffer(file)


def _check_size(raw: rawpy.RawPy, path: Path) -> None:
    """Refuse before any memory is asked for."""
    s = raw.sizes
    if s.raw_width * s.raw_height > MAX_PIXELS:
        raise DecodeError(
            f"{path}: the header claims {s.raw_width} × {s.raw_height} pixels, more than "
            f"{MAX_PIXELS // 1_000_000} megapixels; {AGAIN}"
        )
    if s.width == 0 or s.height == 0:
        raise DecodeError(f"{path}: the header claims a picture without pixels; {AGAIN}")


def _frame(raw: rawpy.RawPy, path: Path) -> Frame:
    mosaic, filters = _mosaic(raw, path)
    dng = _matching(read_dng_tags(path), raw)
    if dng is not None and dng.data_end > path.stat().st_size:
        raise DecodeError(f"{path}: cut short before the end of the picture; {AGAIN}")
    if dng is not None and dng.planes != (0, 1, 2):  # LibRaw goes by the place, not the colour
        raise DecodeError(f"{path}: a sensor with other colours than red, green, blue; {OTHER}")
    black = _level_dng_black(mosaic, filters, dng, raw) if dng else None
    if black is None:
        black = np.array(raw.black_level_per_channel, np.float64)[filters.index]
    if black.max() >= LEVELS:
        raise DecodeError(f"{path}: the header claims a black level of {black.max():.0f}; {AGAIN}")
    return Frame(
        path=str(path),
        mosaic=mosaic,
        pattern=filters.pattern,
        channels=filters.channels,
        black=black,
        stated_clip=_stated_clip(raw, filters.index, black, dng),
        gains=_gains(raw, filters.channels, dng),
        orientation=ORIENTATION.get(raw.sizes.flip, 1),
        shot=_shot(raw, path, dng),
    )


def _mosaic(raw: rawpy.RawPy, path: Path) -> tuple[NDArray[np.uint16], FilterArray]:
    """Owned copy of the visible area, and what lies over its photosites."""
    view = raw.raw_image_visible
    if view.ndim == 2 and raw.num_colors == 1:
        return np.array(view, order="C"), unfiltered(MONO)
    names = raw.color_desc.decode("ascii", "replace")
    if names not in ("RGB", "RGBG"):
        raise DecodeError(
            f"{path}: a sensor with the colours {names}, not red, green, blue; {OTHER}"
        )
    if view.ndim == 3:
        if raw.num_colors != 3:
            raise DecodeError(
                f"{path}: {raw.num_colors} samples a pixel, which cannot be judged; "
                "record a single raw shot"
            )
        return np.array(view[:, :, :3], order="C"), unfiltered(RGB)
    filters = find_filter_array(_colour_probe(raw), names)
    if filters is None:
        raise DecodeError(
            f"{path}: a colour filter array that is neither Bayer nor X-Trans; {OTHER}"
        )
    return np.array(view, order="C"), filters


def _colour_probe(raw: rawpy.RawPy) -> NDArray[np.uint8]:
    """LibRaw's colour index of the sites in the corner of the visible area.

    `raw_pattern` starts at the masked border instead, and for X-Trans reads LibRaw's table at
    negative places there; so each site is asked for by itself.
    """
    top, left, side = raw.sizes.top_margin, raw.sizes.left_margin, range(PROBE)
    return np.array([[raw.raw_color(top + y, left + x) for x in side] for y in side], np.uint8)


def _matching(dng: DngTags | None, raw: rawpy.RawPy) -> DngTags | None:
    """The tags, if they are those of the picture which LibRaw unpacked."""
    s = raw.sizes
    return dng if dng is not None and dng.size == (s.raw_width, s.raw_height) else None


def _level_dng_black(
    mosaic: NDArray[np.uint16], filters: FilterArray, dng: DngTags, raw: rawpy.RawPy
) -> Levels | None:
    """Black per channel after levelling; None if the file's tags do not fit the picture.

    LibRaw rounds an odd corner of the active area up to the next even site and leaves the black
    tile where it was, so the tile is turned to the visible area here.
    """
    s = raw.sizes
    down, right = s.top_margin - dng.active[0], s.left_margin - dng.active[1]
    if dng.black is None or down < 0 or right < 0:
        return None
    rows = None if dng.rows is None else dng.rows[down : down + s.height]
    columns = None if dng.columns is None else dng.columns[right : right + s.width]
    if (rows is not None and rows.size != s.height) or (
        columns is not None and columns.size != s.width
    ):
        return None
    tile = np.roll(dng.black, (-down, -right), axis=(0, 1))
    pattern, count = filters.pattern, len(filters.channels)
    if mosaic.ndim == 2:
        return level_black(mosaic, pattern, count, tile=tile[..., 0], rows=rows, columns=columns)
    if tile.shape[2] != count:
        return None
    planes = [
        level_black(mosaic[..., c], pattern, 1, tile=tile[..., c], rows=rows, columns=columns)
        for c in range(count)
    ]
    return np.concatenate(planes)


def _stated_clip(
    raw: rawpy.RawPy, index: NDArray[np.intp], black: Levels, dng: DngTags | None
) -> Levels:
    """Saturation as the file states it: per channel where it does so, else one for all."""
    if dng is not None and dng.white is not None and dng.white.size == len(index):
        per_channel = dng.white
    else:
        levels = raw.camera_white_level_per_channel
        per_channel = np.array(levels or [raw.white_level] * 4, np.float64)[index]
    for stated in (per_channel, np.full(len(index), float(raw.white_level))):
        if np.all(stated > black):
            return stated
    return np.full(len(index), LEVELS)


def _gains(raw: rawpy.RawPy, channels: tuple[str, ...], dng: DngTags | None) -> Levels:
    """As-shot multipliers over the smallest; daylight's, or none, where the file has no as-shot.

    The two greens share one, that of LibRaw's first green. For a DNG they are the inverse of
    AsShotNeutral: LibRaw's own contain a correction for planes of unequal range, which
    black and clip level per channel make already.
    """
    if channels == MONO:
        return np.ones(1)
    rgb: Levels
    sources = [np.array(raw.camera_whitebalance[:3]), np.array(raw.daylight_whitebalance[:3])]
    if dng is not None and dng.neutral is not None and np.all(dng.neutral > 0):
        sources.insert(0, 1 / dng.neutral)
    for rgb in (*sources, np.ones(3)):
        if rgb.shape == (3,) and np.all(np.isfinite(rgb)) and np.all(rgb > 0):
            break
    rgb = rgb / rgb.min()
    return np.asarray(rgb[[0, 1, 1, 2]] if channels == BAYER else rgb)


def _shot(raw: rawpy.RawPy, path: Path, dng: DngTags | None) -> Shot:
    """Exposure from LibRaw; camera and missing time from the tags."""
    try:
        other = raw.other
    except (OSError, OverflowError, ValueError):  # a time stamp that the system's clock cannot say
        return Shot(camera=read_camera_tags(path).camera)
    camera = dng.camera if dng is not None else None
    # LibRaw gives local time; no time at all comes as the first second of 1970.
    taken_at = other.timestamp.isoformat() if other.timestamp.year > 1970 else None
    if camera is None or taken_at is None:
        tags = read_camera_tags(path)
        camera, taken_at = camera or tags.camera, taken_at or tags.taken_at
    return Shot(
        camera=camera,
        iso=_positive(other.iso_speed),
        shutter_s=_positive(other.shutter_speed),
        aperture_f=_positive(other.aperture),
        taken_at=taken_at,
    )


def _positive(value: float) -> float | None:
    """LibRaw keeps these in single precision and says 0 for unknown."""
    return float(f"{value:.7g}") if math.isfinite(value) and value > 0 else None
