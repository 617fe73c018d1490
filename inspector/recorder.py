"""Keeps the verdicts while the disk refuses them, and stores them once it takes them again."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from pathlib import Path

from inspector.files import Stamp
from inspector.record import Row, Store


class Recorder:
    """The store of a report folder that may be full, read-only or gone for a while.

    Raises
    ------
    LockedError, RecordError
        As `Store`: what no waiting mends.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._store: Store | None = None
        self._rows: list[Row] = []
        self._earlier: tuple[str, dict[str, Stamp]] | None = None
        self._failing = False
        self._said = self._try()

    @property
    def waiting(self) -> int:
        """How many verdicts are not stored yet."""
        return len(self._rows)

    def known(self, hot_folder: str) -> tuple[dict[str, Stamp], dict[str, Stamp] | None]:
        """The frames already judged and readable, and what is to be left alone (None on a first
        start)."""
        if self._store is None:
            return {}, None
        return self._store.known(), self._store.earlier(hot_folder)

    def row(self, path: str, stamp: Stamp) -> Row | None:
        """The stored row of one frame in one state; None if there is none, or while that is
        unknown."""
        return None if self._store is None else self._store.row(path, stamp)

    def latest(self, count: int) -> list[Row]:
        """The last so many stored rows, in the order of judgement; none while that is unknown."""
        return [] if self._store is None else self._store.latest(count)

    def missing(self, hot_folder: str, frames: Mapping[str, Stamp]) -> int:
        """How many frames have no row and are not to be left alone; 0 while that is unknown."""
        if self._store is None:
            return 0
        known = self._store.known(unreadable=True)
        earlier = self._store.earlier(hot_folder) or {}
        return sum(stamp not in (known.get(p), earlier.get(p)) for p, stamp in frames.items())

    def set_earlier(self, hot_folder: str, files: dict[str, Stamp]) -> None:
        """Remember what lay in the hot folder before it was watched."""
        self._earlier = (hot_folder, files)

    def add(self, row: Row) -> None:
        """Take a verdict; it is stored by the next `flush`."""
        self._rows.append(row)

    def flush(self) -> str | None:
        """Store what waits. A sentence when recording stops or goes on, else None."""
        said, self._said = self._said, None
        return self._try() or said

    def close(self) -> None:
        """Close the store, if it is open."""
        if self._store is not None:
            self._store.close()
            self._store = None

    def _try(self) -> str | None:
        try:
            self._write()
        except (OSError, sqlite3.DatabaseError) as error:
            # A store that has failed may sit on a disk that is gone: open it afresh next time.
            self.close()
            return self._failed(error)
        failing, self._failing = self._failing, False
        return f"{self.folder}: recording again, no verdict is missing" if failing else None

    def _write(self) -> None:
        if self._store is None:
            self._store = Store(self.folder)
        if self._earlier is not None:
            self._store.set_earlier(*self._earlier)
            self._earlier = None
        if self._rows:
            self._store.add(self._rows)
            self._rows = []

    def _failed(self, error: OSError | sqlite3.DatabaseError) -> str | None:
        failing, self._failing = self._failing, True
        why = error.strerror if isinstance(error, OSError) else str(error)
        if failing:
            return None
        return (
            f"{self.folder}: verdicts cannot be recorded ({why}); they are still shown, and kept "
            "until there is room and leave to write"
        )
