"""What a raw file's own tags say and LibRaw does not pass on: black map, white level, camera, time.

DNG tags are those of Adobe, *Digital Negative Specification* 1.4, chapter 5; they are read
with tifffile. Camera name and time of other files come from exifread. Both are loaded on use.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

# Both libraries log what they find odd in a file. Without a handler Python prints it.
for _name in ("tifffile", "exifread"):
    logging.getLogger(_name).addHandler(logging.NullHandler())

PHOTOMETRIC_CFA = 32803
PHOTOMETRIC_LINEAR = 34892

RATIONALS = {"RATIONAL": "u4", "SRATIONAL": "i4"}


@dataclass(frozen=True, eq=False)
class DngTags:
    """The levels that a DNG states, and its camera.

    Attributes
    ----------
    size : (width, height)
        Of the stored mosaic, masked border included.
    active : (top, left, bottom, right)
        Visible area; the black tile and the deltas start at its top left.
    black : (h, w, samples) float64, or None
        BlackLevel, a repeating tile.
    columns, rows : float64 arrays or None
        BlackLevelDeltaH, one a column of the active area, and BlackLevelDeltaV, one a row.
    white : (samples,) float64, or None
        WhiteLevel.
    neutral : (3,) float64, or None
        AsShotNeutral: a neutral's levels in red, green and blue.
    planes : tuple of int
        CFAPlaneColor: 0, 1, 2 are red, green, blue, 3 and above other colours.
    camera : str or None
        UniqueCameraModel.
    data_end : int
        Offset of the first byte behind the picture; a file that is shorter was cut.
    """

    size: tuple[int, int]
    active: tuple[int, int, int, int]
    black: NDArray[np.float64] | None
    columns: NDArray[np.float64] | None
    rows: NDArray[np.float64] | None
    white: NDArray[np.float64] | None
    neutral: NDArray[np.float64] | None
    planes: tuple[int, ...]
    camera: str | None
    data_end: int


@dataclass(frozen=True)
class CameraTags:
    """Camera name and time taken (ISO 8601, local) from the Exif tags, where they are there."""

    camera: str | None = None
    taken_at: str | None = None


def read_dng_tags(path: Path) -> DngTags | None:
    """Levels of the main picture of a DNG; None if the file is no DNG or its tags make no sense."""
    import tifffile

    try:
        with path.open("rb") as file:
            if file.read(4) not in (b"II*\0", b"MM\0*"):
                return None
            file.seek(0)
            with tifffile.TiffFile(file) as tif:
                return _dng_tags(tif)
    except (OSError, ValueError, KeyError, IndexError, TypeError, ZeroDivisionError):
        # tifffile.TiffFileError is a ValueError. LibRaw reads many a file that is out of order.
        return None


def read_camera_tags(path: Path) -> CameraTags:
    """Camera and time as Exif has them (CIPA DC-008: Make, Model, DateTimeOriginal)."""
    import exifread

    try:
        with path.open("rb") as file:
            tags = exifread.process_file(file, details=False, extract_thumbnail=False)
    except Exception:  # exifread raises whatever the broken file brought up; a name is not worth it
        return CameraTags()
    make, model = (str(tags.get(f"Image {key}", "")).strip() for key in ("Make", "Model"))
    camera = model if model.startswith(make) else f"{make} {model}".strip()
    taken = tags.get("EXIF DateTimeOriginal") or tags.get("Image DateTime")
    return CameraTags(camera=camera or None, taken_at=_iso_time(str(taken)))


def _dng_tags(tif: Any) -> DngTags | None:
    first = tif.pages.first
    if "DNGVersion" not in first.tags:
        return None
    page = next((p for p in _pages(tif) if _is_main(p)), None)
    if page is None:
        return None
    tags = page.tags
    height, width, samples = page.imagelength, page.imagewidth, page.samplesperpixel
    dim = tuple(_numbers(tags, "BlackLevelRepeatDim", (1, 1)).astype(int))
    black = _numbers(tags, "BlackLevel")
    active = _numbers(tags, "ActiveArea", (0, 0, height, width))
    top, left, bottom, right = (int(v) for v in active)
    return DngTags(
        size=(width, height),
        active=(top, left, bottom, right),
        black=None if black is None else black.reshape(*dim, samples),
        columns=_numbers(tags, "BlackLevelDeltaH"),
        rows=_numbers(tags, "BlackLevelDeltaV"),
        white=_numbers(tags, "WhiteLevel"),
        neutral=_numbers(first.tags, "AsShotNeutral"),
        planes=tuple(tags["CFAPlaneColor"].value) if "CFAPlaneColor" in tags else (0, 1, 2),
        camera=_text(first.tags, "UniqueCameraModel"),
        data_end=max(map(sum, zip(page.dataoffsets, page.databytecounts, strict=True))),
    )


def _pages(tif: Any) -> Any:
    """The pages in the order in which LibRaw meets them: each, then its sub-IFDs."""
    for page in tif.pages:
        yield page
        yield from page.pages or ()


def _is_main(page: Any) -> bool:
    return page.subfiletype == 0 and page.photometric in (PHOTOMETRIC_CFA, PHOTOMETRIC_LINEAR)


def _numbers(tags: Any, name: str, default: Any = None) -> Any:
    """Value of a tag as a flat float64 array."""
    if name not in tags:
        return None if default is None else np.asarray(default, np.float64)
    tag = tags[name]
    value = _fractions(tag) if tag.dtype.name in RATIONALS else np.ravel(tag.value)
    value = value.astype(np.float64)
    if value.size != tag.count or not np.isfinite(value).all():
        raise ValueError(f"{name} is cut short or not a number")
    return value


def _fractions(tag: Any) -> NDArray[np.float64]:
    """Quotients of a rational tag. Of more than 1024, tifffile's own value holds but half."""
    file = tag.parent.filehandle
    file.seek(tag.valueoffset)
    kind = np.dtype(tag.parent.byteorder + RATIONALS[tag.dtype.name])
    above, below = np.frombuffer(file.read(8 * tag.count), kind).reshape(-1, 2).T
    with np.errstate(divide="ignore", invalid="ignore"):  # refused by the caller
        return np.asarray(above / below.astype(np.float64))


def _text(tags: Any, name: str) -> str | None:
    value = tags[name].value if name in tags else None
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    return str(value).strip(" \0") or None if value is not None else None


def _iso_time(exif: str) -> str | None:
    try:
        return datetime.strptime(exif[:19], "%Y:%m:%d %H:%M:%S").isoformat()
    except ValueError:
        return None
