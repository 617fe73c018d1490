"""What tells one state of a file from another, and how a file is written whole or not at all."""

from __future__ import annotations

import hashlib
import os
import re
import stat
from dataclasses import dataclass
from pathlib import Path

from inspector.rawnames import is_companion_name, is_raw_name

PART = ".part"
"""Ending of a file that is still being written by us."""


@dataclass(frozen=True, slots=True)
class Stamp:
    """Size in bytes and time of last change in nanoseconds; a file that keeps both is the same."""

    size: int
    mtime_ns: int


def stamp_of(path: Path | str) -> Stamp | None:
    """The stamp of a regular file, links followed; None if there is no such file."""
    try:
        found = Path(path).stat()
    except (OSError, ValueError):  # ValueError: a name with a null byte
        return None
    return Stamp(found.st_size, found.st_mtime_ns) if stat.S_ISREG(found.st_mode) else None


def write_whole(path: Path, data: bytes) -> None:
    """Write beside `path`, then rename: whoever looks finds the whole file or none."""
    part = path.with_name(path.name + PART)
    try:
        part.write_bytes(data)
        part.replace(path)
    except OSError:
        part.unlink(missing_ok=True)
        raise


def safe_name(path: Path | str, stamp: Stamp | None) -> str:
    """A file name for what is made of a frame: valid on every system, one for each key.

    The frame's own name stays legible; the digest of path, size and time tells frames of the
    same name apart.
    """
    text = os.fsencode(path) + repr(stamp).encode()
    legible = re.sub(r"[^\w.+-]+", "_", Path(path).name, flags=re.ASCII).lstrip(".-")[:80]
    return f"{legible or 'frame'}-{hashlib.sha256(text).hexdigest()[:8]}"


def raw_frames_in(folder: Path) -> tuple[list[Path], list[Path]]:
    """The raw frames directly inside a folder, by name, and the companions beside them.

    Raises
    ------
    OSError
        If the folder cannot be listed.
    """
    files = sorted(path for path in folder.iterdir() if path.is_file())
    return (
        [path for path in files if is_raw_name(path)],
        [path for path in files if is_companion_name(path)],
    )
