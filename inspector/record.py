"""The record of a set: one row a frame in an SQLite file in the report folder.

A frame is known by its path, size and time of change. Every row is committed before the next
frame is judged, so the end of the process at any moment loses nothing that was said.
"""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from inspector.files import PART, Stamp
from inspector.lock import FolderLock

DATABASE = "record.sqlite"
MAPS = "maps"

MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        """
        CREATE TABLE frames (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            path BLOB NOT NULL,
            size INTEGER NOT NULL,
            mtime_ns INTEGER NOT NULL,
            judged_at TEXT NOT NULL,
            verdict TEXT NOT NULL,
            clip_map TEXT,
            record TEXT NOT NULL,
            UNIQUE (path, size, mtime_ns)
        )
        """,
        """
        CREATE TABLE earlier (
            folder BLOB NOT NULL,
            path BLOB NOT NULL,
            size INTEGER NOT NULL,
            mtime_ns INTEGER NOT NULL,
            PRIMARY KEY (folder, path)
        ) WITHOUT ROWID
        """,
    ),
)
"""Each step takes the record from the version of its place in the list to the next."""

VERSION = len(MIGRATIONS)


class RecordError(Exception):
    """A record that cannot be used; the message is one sentence with the remedy."""


@dataclass(frozen=True)
class Row:
    """One judged frame.

    ``path`` is absolute, ``judged_at`` ISO 8601 in UTC, ``clip_map`` relative to the report
    folder, ``record`` the contract's record. ``id`` grows with every judgement; 0 in a row that
    is yet to be stored.
    """

    path: str
    stamp: Stamp
    record: dict[str, Any]
    clip_map: str | None = None
    judged_at: str = ""
    id: int = 0

    @property
    def verdict(self) -> str:
        """``pass``, ``warn`` or ``unreadable``."""
        return str(self.record["verdict"])


class Store:
    """The record of one report folder, open for writing. Use it from one thread.

    Raises
    ------
    LockedError
        If another process writes there.
    RecordError
        If the record is damaged or of a newer version.
    OSError, sqlite3.OperationalError
        If the folder cannot be written now.
    """

    def __init__(self, folder: Path) -> None:
        (folder / MAPS).mkdir(parents=True, exist_ok=True)
        self._lock = FolderLock(folder)
        try:
            self._db = _open(folder / DATABASE)
            for part in (folder / MAPS).glob("*" + PART):  # left by a process that was killed
                part.unlink(missing_ok=True)
        except BaseException:
            self._lock.release()
            raise

    def close(self) -> None:
        """Close the file and let go of the lock."""
        with contextlib.suppress(sqlite3.Error):
            self._db.close()
        self._lock.release()

    def add(self, rows: Iterable[Row]) -> None:
        """Store rows in one transaction. A row of the same key is replaced.

        An unreadable row of the same path under another size or time goes: the file was not
        whole then, and is the same frame.
        """
        now = datetime.now(UTC).isoformat(timespec="milliseconds")
        with self._db:
            for row in rows:
                key = (os.fsencode(row.path), row.stamp.size, row.stamp.mtime_ns)
                self._db.execute(
                    "DELETE FROM frames WHERE path = ?1 AND (verdict = 'unreadable'"
                    " OR (size, mtime_ns) = (?2, ?3))",
                    key,
                )
                self._db.execute(
                    "INSERT INTO frames (path, size, mtime_ns, judged_at, verdict, clip_map,"
                    " record) VALUES (?, ?, ?, ?, ?, ?, ?)",
                    (*key, row.judged_at or now, row.verdict, row.clip_map, json.dumps(row.record)),
                )

    def known(self, *, unreadable: bool = False) -> dict[str, Stamp]:
        """The newest state of every frame, path to stamp; of unreadable ones only if asked."""
        found = self._db.execute(
            "SELECT path, size, mtime_ns FROM frames WHERE verdict != 'unreadable' OR ?"
            " ORDER BY id",
            (unreadable,),
        )
        return {os.fsdecode(path): Stamp(size, mtime) for path, size, mtime in found}

    def latest(self, count: int) -> list[Row]:
        """The last so many rows, in the order of judgement."""
        found = self._db.execute(
            "SELECT path, size, mtime_ns, record, clip_map, judged_at, id FROM frames"
            " ORDER BY id DESC LIMIT ?",
            (count,),
        )
        return [_row(*columns) for columns in found][::-1]

    def row(self, path: str, stamp: Stamp) -> Row | None:
        """The row of one frame in one state, None if it was not judged."""
        found = self._db.execute(
            "SELECT record, clip_map, judged_at, id FROM frames"
            " WHERE (path, size, mtime_ns) = (?, ?, ?)",
            (os.fsencode(path), stamp.size, stamp.mtime_ns),
        ).fetchone()
        if found is None:
            return None
        record, clip_map, judged_at, number = found
        return Row(path, stamp, json.loads(record), clip_map, judged_at, number)

    def earlier(self, folder: str) -> dict[str, Stamp] | None:
        """What lay in a hot folder before it was first watched; None if it never was."""
        found = self._db.execute(
            "SELECT path, size, mtime_ns FROM earlier WHERE folder = ?", (os.fsencode(folder),)
        ).fetchall()
        if not found:
            return None
        return {os.fsdecode(path): Stamp(size, mtime) for path, size, mtime in found if path}

    def set_earlier(self, folder: str, files: dict[str, Stamp]) -> None:
        """Remember what lies in a hot folder now, so that a later start leaves it alone too."""
        home = os.fsencode(folder)
        # The row without a path says that the folder was watched, though nothing lay there.
        rows = [(home, b"", 0, 0)]
        rows += [(home, os.fsencode(p), s.size, s.mtime_ns) for p, s in files.items()]
        with self._db:
            self._db.execute("DELETE FROM earlier WHERE folder = ?", (home,))
            self._db.executemany("INSERT INTO earlier VALUES (?, ?, ?, ?)", rows)


def read_rows(folder: Path, *, after: int = 0) -> Iterator[Row]:
    """The rows of a report folder in the order of judgement, also while a watcher writes it.

    Raises
    ------
    RecordError
        If there is no record, or it is damaged or of a newer version.
    """
    path = folder / DATABASE
    if not path.is_file():
        raise RecordError(f"{folder}: no record there; name the report folder of a watched set")
    db = _open(path, read_only=not os.access(folder, os.W_OK))
    try:
        found = db.execute(
            "SELECT path, size, mtime_ns, record, clip_map, judged_at, id FROM frames"
            " WHERE id > ? ORDER BY id",
            (after,),
        )
        yield from (_row(*columns) for columns in found)
    finally:
        db.close()


def _row(
    path: bytes,
    size: int,
    mtime: int,
    record: str,
    clip_map: str | None,
    judged_at: str,
    number: int,
) -> Row:
    stamp = Stamp(size, mtime)
    return Row(os.fsdecode(path), stamp, json.loads(record), clip_map, judged_at, number)


def _open(path: Path, *, read_only: bool = False) -> sqlite3.Connection:
    # Immutable: a folder that cannot be written, such as a disc, cannot hold SQLite's locks.
    uri = f"{path.resolve().as_uri()}{'?immutable=1' if read_only else ''}"
    db = sqlite3.connect(uri, uri=True, timeout=10)
    try:
        if _version(db) < VERSION:
            # Readers go on while a row is written, and a killed writer leaves no half row.
            db.execute("PRAGMA journal_mode = WAL")
            _migrate(db)
        if _version(db) > VERSION:
            raise RecordError(
                f"{path}: written by a newer inspector (record version {_version(db)}, this one "
                f"knows {VERSION}); update inspector, or choose another folder with --report"
            )
        db.execute("PRAGMA synchronous = NORMAL")
    except sqlite3.OperationalError:
        db.close()
        raise
    except sqlite3.DatabaseError as error:
        db.close()
        raise RecordError(
            f"{path}: damaged ({error}); move it away, or choose another folder with --report"
        ) from error
    except RecordError:
        db.close()
        raise
    return db


def _version(db: sqlite3.Connection) -> int:
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def _migrate(db: sqlite3.Connection) -> None:
    """Bring the tables up to date in one transaction; another process may be about to as well."""
    with db:
        db.execute("BEGIN IMMEDIATE")
        for step in MIGRATIONS[_version(db) :]:
            for statement in step:
                db.execute(statement)
        db.execute(f"PRAGMA user_version = {VERSION}")
