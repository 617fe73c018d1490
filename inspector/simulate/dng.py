"""Write a frame as a DNG file that any raw decoder reads back photosite for photosite.

Tags and their meaning: Adobe, *Digital Negative Specification* 1.4, chapters 4 and 5. The
matrices of the simulated camera are made up, see `colour_matrix`.
"""

from __future__ import annotations

import io
import os
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import tifffile
from numpy.typing import NDArray

from inspector.frame import BAYER, MONO, RGB, Frame, Shot
from inspector.simulate.exif import (
    ASCII,
    EXIF_PLACE,
    LONG,
    SHORT,
    append_exif,
    exif_time,
    overwrite_entry,
)

DEFAULT_CAMERA = "Simulated camera"
MAKE = "Simulated"

PHOTOMETRIC_CFA = 32803
PHOTOMETRIC_LINEAR = 34892

# Tag codes.
PHOTOMETRIC, MAKE_TAG, MODEL_TAG, ORIENTATION, DATE_TIME = 262, 271, 272, 274, 306
CFA_DIM, CFA_PATTERN, EXPOSURE_TIME, F_NUMBER = 33421, 33422, 33434, 33437
DNG_VERSION, DNG_BACKWARD_VERSION, UNIQUE_CAMERA_MODEL = 50706, 50707, 50708
CFA_PLANE_COLOUR, CFA_LAYOUT = 50710, 50711
BLACK_DIM, BLACK, BLACK_DELTA_H, BLACK_DELTA_V, WHITE = 50713, 50714, 50715, 50716, 50717
COLOUR_MATRIX, AS_SHOT_NEUTRAL, ILLUMINANT, ACTIVE_AREA = 50721, 50728, 50778, 50829

# TIFF field types.
BYTE, RATIONAL, SRATIONAL = 1, 5, 10

TILE = (512, 512)
"""Rows and columns of a compressed tile."""

D65 = 21  # Exif LightSource code

# XYZ (D65) to linear sRGB, IEC 61966-2-1:1999.
XYZ_TO_SRGB = np.array(
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
)

Tag = tuple[int, int, int, Any, bool]


def write_dng(
    path: Path | str,
    frame: Frame,
    *,
    bits: int = 14,
    stated_white: float | Sequence[float] | None = None,
    black_pattern: NDArray[np.float64] | None = None,
    black_columns: NDArray[np.float64] | None = None,
    black_rows: NDArray[np.float64] | None = None,
    masked: tuple[int, int, int, int] = (0, 0, 0, 0),
    lossless_jpeg: bool = False,
) -> None:
    """Write ``frame`` to ``path``: the same bytes for the same input, the whole file or none.

    Parameters
    ----------
    path : path
        Replaced if it exists. While writing, a hidden ``.part`` file lies beside it.
    frame : Frame
        Bayer, X-Trans, RGB or monochrome. ``frame.path`` is not used.
    bits : int
        Depth of the sensor's converter; no level may need more. Stored in 16-bit words.
    stated_white : float or sequence, optional
        WhiteLevel, by default ``frame.stated_clip``. A colour filter array has one plane and so
        one white level: of several the greatest is written.
    black_pattern : (h, w) array, optional
        BlackLevel over a repeating tile instead of ``frame.black``, origin at ``mosaic[0, 0]``;
        not for RGB.
    black_columns, black_rows : (W,) and (H,) arrays, optional
        BlackLevelDeltaH and BlackLevelDeltaV, added to the pattern.
    masked : four ints
        Photosites outside the visible area at top, left, bottom and right, filled with black.
    lossless_jpeg : bool
        Compress in tiles, as many cameras do (ITU-T T.81, process 14); needs imagecodecs.

    Raises
    ------
    ValueError
        If the levels do not fit into ``bits``, or the frame has unknown channels.
    """
    path = Path(path)
    _check(frame, bits, path.name)
    is_cfa = frame.mosaic.ndim == 2 and frame.channels != MONO
    white = np.asarray(frame.stated_clip if stated_white is None else stated_white)
    if frame.mosaic.ndim == 2:
        white = np.max(white)
    black = _black_tile(frame) if black_pattern is None else np.asarray(black_pattern)
    tags = [
        *_camera_tags(frame.shot, frame.orientation),
        *(_cfa_tags(frame) if is_cfa else ()),
        *_black_tags(black, black_columns, black_rows),
        _white_tag(white, samples=frame.mosaic.shape[2] if frame.mosaic.ndim == 3 else 1),
        *(_colour_tags(frame) if frame.channels != MONO else ()),
        *_active_area_tag(frame, masked),
        (EXIF_PLACE, LONG, 1, 0, True),  # becomes the pointer to the Exif sub-IFD
    ]
    how = _lossless_jpeg(bits) if lossless_jpeg else {}
    data = _tiff(_with_masked_border(frame, masked), tags, is_cfa=is_cfa, **how)
    append_exif(data, frame.shot)
    if not is_cfa:  # tifffile knows no LinearRaw with one sample
        overwrite_entry(data, PHOTOMETRIC, (PHOTOMETRIC, SHORT, 1, PHOTOMETRIC_LINEAR))
    _replace(path, data.getbuffer())


def _check(frame: Frame, bits: int, name: str) -> None:
    if frame.mosaic.size and int(frame.mosaic.max()) >= 1 << bits:
        raise ValueError(f"{name}: level {frame.mosaic.max()} does not fit into {bits} bits")
    if frame.channels not in (BAYER, RGB, MONO):
        raise ValueError(f"{name}: no DNG form for channels {frame.channels}")


def _tiff(
    pixels: NDArray[np.uint16], tags: Sequence[Tag], *, is_cfa: bool, **how: Any
) -> io.BytesIO:
    """A TIFF file of one picture, in memory."""
    data = io.BytesIO()
    with tifffile.TiffWriter(data, bigtiff=False, byteorder="<") as tif:
        tif.write(
            pixels,
            photometric=PHOTOMETRIC_CFA if is_cfa else "rgb" if pixels.ndim == 3 else "minisblack",
            planarconfig="contig" if pixels.ndim == 3 else None,
            metadata=None,
            software=False,
            extratags=sorted(tags, key=lambda tag: tag[0]),
            **how,
        )
    return data


def _lossless_jpeg(bits: int) -> dict[str, Any]:
    settings = {"lossless": True, "bitspersample": bits}
    return {"compression": "jpeg", "tile": TILE, "compressionargs": settings}


def colour_matrix(gains: NDArray[np.float64]) -> NDArray[np.float64]:
    """(3, 3) XYZ to camera RGB under D65, of a made-up camera.

    It sees in linear sRGB, scaled so that the white that `gains` neutralise is D65: the neutral
    that ColorMatrix1 foretells for D65 is the AsShotNeutral of the file.
    """
    return XYZ_TO_SRGB / np.asarray(gains)[:, None]


def rgb_gains(frame: Frame) -> NDArray[np.float64]:
    """(3,) white-balance gains of red, green and blue."""
    gains = frame.gains
    return gains[[0, 1, 3]] if frame.channels == BAYER else gains


def _black_tile(frame: Frame) -> NDArray[np.float64]:
    """BlackLevel of the frame as (h, w) or, for RGB, (1, 1, 3); one number where one will do."""
    if np.ptp(frame.black) == 0 and frame.mosaic.ndim == 2:
        return frame.black[:1, None]
    if frame.mosaic.ndim == 3:
        return frame.black[None, None]
    return frame.black[frame.pattern]


def _with_masked_border(frame: Frame, masked: tuple[int, int, int, int]) -> NDArray[np.uint16]:
    if not any(masked):
        return frame.mosaic
    top, left, bottom, right = masked
    border = ((top, bottom), (left, right), (0, 0))[: frame.mosaic.ndim]
    return np.pad(frame.mosaic, border, constant_values=int(frame.black.min()))


def _camera_tags(shot: Shot, orientation: int) -> list[Tag]:
    camera = shot.camera or DEFAULT_CAMERA
    tags: list[Tag] = [
        _text(MAKE_TAG, MAKE),
        _text(MODEL_TAG, camera),
        _text(UNIQUE_CAMERA_MODEL, camera),
        (ORIENTATION, SHORT, 1, orientation, True),
        (DNG_VERSION, BYTE, 4, bytes((1, 4, 0, 0)), True),
        (DNG_BACKWARD_VERSION, BYTE, 4, bytes((1, 1, 0, 0)), True),
    ]
    # LibRaw takes both from the first IFD of a DNG.
    if shot.shutter_s is not None:
        tags.append(_rational(EXPOSURE_TIME, [shot.shutter_s]))
    if shot.aperture_f is not None:
        tags.append(_rational(F_NUMBER, [shot.aperture_f]))
    if shot.taken_at is not None:
        tags.append(_text(DATE_TIME, exif_time(shot.taken_at)))
    return tags


def _cfa_tags(frame: Frame) -> list[Tag]:
    colours = frame.pattern
    if frame.channels == BAYER:
        colours = np.array([0, 1, 1, 2], np.uint8)[colours]
    return [
        (CFA_DIM, SHORT, 2, colours.shape, True),
        (CFA_PATTERN, BYTE, colours.size, colours.astype(np.uint8).tobytes(), True),
        (CFA_PLANE_COLOUR, BYTE, 3, bytes((0, 1, 2)), True),
        (CFA_LAYOUT, SHORT, 1, 1, True),
    ]


def _black_tags(
    tile: NDArray[np.float64],
    columns: NDArray[np.float64] | None,
    rows: NDArray[np.float64] | None,
) -> list[Tag]:
    tags: list[Tag] = [(BLACK_DIM, SHORT, 2, tile.shape[:2], True), _rational(BLACK, tile.ravel())]
    if columns is not None:
        tags.append(_rational(BLACK_DELTA_H, columns, signed=True))
    if rows is not None:
        tags.append(_rational(BLACK_DELTA_V, rows, signed=True))
    return tags


def _white_tag(white: NDArray[np.float64], *, samples: int) -> Tag:
    levels = tuple(round(float(level)) for level in np.broadcast_to(white, samples))
    return WHITE, LONG, samples, levels, True


def _colour_tags(frame: Frame) -> list[Tag]:
    gains = rgb_gains(frame)
    return [
        _rational(COLOUR_MATRIX, colour_matrix(gains).ravel(), signed=True),
        (ILLUMINANT, SHORT, 1, D65, True),
        _rational(AS_SHOT_NEUTRAL, 1 / gains),
    ]


def _active_area_tag(frame: Frame, masked: tuple[int, int, int, int]) -> list[Tag]:
    height, width = frame.mosaic.shape[:2]
    top, left = masked[:2]
    return [(ACTIVE_AREA, LONG, 4, (top, left, top + height, left + width), True)]


def _text(code: int, text: str) -> Tag:
    return code, ASCII, 0, text.encode("ascii", "replace"), True


def _rational(
    code: int, values: Sequence[float] | NDArray[np.float64], *, signed: bool = False
) -> Tag:
    """Numbers as fractions, to six places where 31 bits allow: 1/125 stays 1/125, 0.5 is 1/2."""
    flat: list[int] = []
    for value in map(float, values):
        places = max(1, min(1_000_000, int((2**31 - 1) / (abs(value) + 1))))
        fraction = Fraction(value).limit_denominator(places)
        flat += fraction.numerator, fraction.denominator
    return code, SRATIONAL if signed else RATIONAL, len(flat) // 2, tuple(flat), True


def _replace(path: Path, content: memoryview) -> None:
    """Put ``content`` at ``path`` in one step; a reader sees the old file or the whole new one."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_bytes(content)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
