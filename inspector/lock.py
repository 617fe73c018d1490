"""A lock on a report folder that vanishes with the process that holds it."""

from __future__ import annotations

import os
import sys
from pathlib import Path

NAME = "lock"


class LockedError(Exception):
    """Another process holds the lock; the message says which and what to do."""


class FolderLock:
    """Held from creation to `release` or the end of the process, however that comes.

    Raises
    ------
    LockedError
        If another process holds it.
    OSError
        If the folder cannot be written.
    """

    def __init__(self, folder: Path) -> None:
        self._file = os.open(folder / NAME, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            _lock(self._file)
        except OSError as error:
            owner = os.read(self._file, 20).decode("ascii", "replace").strip()
            os.close(self._file)
            raise LockedError(
                f"{folder}: another inspector writes into this report folder"
                f"{f' (process {owner})' if owner else ''}; stop it, or choose another folder "
                "with --report"
            ) from error
        os.ftruncate(self._file, 0)
        os.write(self._file, f"{os.getpid()}\n".encode())

    def release(self) -> None:
        """Let go. The file stays: removing it could let two processes hold two locks."""
        os.close(self._file)


if sys.platform == "win32":
    import msvcrt

    def _lock(file: int) -> None:
        # A byte far beyond the end, so that the owner's number stays readable.
        os.lseek(file, 1 << 30, os.SEEK_SET)
        msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
        os.lseek(file, 0, os.SEEK_SET)
else:
    import fcntl

    def _lock(file: int) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
