"""The Exif sub-IFD of a TIFF file in memory, which the library that writes the file leaves out.

Exif tags: CIPA DC-008; field types and directories: TIFF 6.0.
"""

from __future__ import annotations

import io
import struct
from datetime import datetime

import tifffile

from inspector.frame import Shot

EXIF_IFD, EXIF_PLACE, ISO_SPEED, DATE_TIME_ORIGINAL = 34665, 34664, 34855, 36867

# TIFF field types.
ASCII, SHORT, LONG = 2, 3, 4


def exif_time(iso_time: str) -> str:
    """Exif writes ``YYYY:MM:DD hh:mm:ss`` where ISO 8601 has dashes and a T."""
    return datetime.fromisoformat(iso_time).strftime("%Y:%m:%d %H:%M:%S")


def append_exif(data: io.BytesIO, shot: Shot) -> None:
    """Append the Exif sub-IFD, the only place where LibRaw looks for ISO, and point to it.

    tifffile writes no Exif sub-IFD and refuses its pointer, so a tag one code lower keeps the
    place. TIFF 6.0 lets an IFD lie anywhere at an even offset.
    """
    entries: list[tuple[int, int, int, bytes]] = []
    if shot.iso is not None and shot.iso < 65535:  # as much as the tag can hold
        entries.append((ISO_SPEED, SHORT, 1, struct.pack("<HH", round(shot.iso), 0)))
    text = b""
    if shot.taken_at is not None:
        text = exif_time(shot.taken_at).encode("ascii") + b"\0"
        entries.append((DATE_TIME_ORIGINAL, ASCII, len(text), b""))

    start = data.seek(0, io.SEEK_END)
    start += data.write(b"\0" * (start % 2))
    text_at = start + 2 + 12 * len(entries) + 4
    data.write(struct.pack("<H", len(entries)))
    for code, kind, count, value in entries:
        data.write(struct.pack("<HHI", code, kind, count) + (value or struct.pack("<I", text_at)))
    data.write(struct.pack("<I", 0) + text)

    overwrite_entry(data, EXIF_PLACE, (EXIF_IFD, LONG, 1, start))


def overwrite_entry(data: io.BytesIO, code: int, entry: tuple[int, int, int, int]) -> None:
    """Replace the directory entry of tag ``code`` in the first IFD: code, type, count, value."""
    data.seek(0)
    with tifffile.TiffFile(data) as tif:
        entry_at = tif.pages.first.tags[code].offset
    data.seek(entry_at)
    data.write(struct.pack("<HHII", *entry))
