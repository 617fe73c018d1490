"""The set as the page sees it: a log of what happened, which any number of pages follow."""

from __future__ import annotations

import json
import secrets
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import PurePath
from typing import Any

from inspector.clip_memory import NAMES, Levels
from inspector.files import Stamp
from inspector.page.view import view
from inspector.record import Row
from inspector.terminal import plain


@dataclass(frozen=True)
class Shown:
    """A frame on the page. ``key`` is all that a page knows of its file.

    ``levels`` are the clip levels of R, G1, G2, B by which it was judged.
    """

    key: str
    path: str
    stamp: Stamp
    clip_map: str | None
    size: tuple[int, int]
    verdict: str
    empty: bool
    levels: Levels | None
    view: dict[str, Any] = field(repr=False)


@dataclass(frozen=True)
class Message:
    """One server-sent event: what happened, JSON, and the id after which a page goes on."""

    id: str
    event: str
    data: str


class Feed:
    """Written by the thread that follows the set, read by those that serve pages.

    Ids are ``epoch.place``: a page that comes back with one gets what it missed; one from before
    a restart gets everything.
    """

    def __init__(self, name: str) -> None:
        self.name = plain(name)
        self.closed = False
        self._epoch = secrets.token_hex(4)
        self._lock = threading.Lock()
        self._log: list[tuple[str, str]] = []
        self._frames: dict[str, Shown] = {}
        self._count = 0
        self._plate: str | None = None
        self._note: dict[str, str] | None = None
        self._listeners: set[Callable[[], None]] = set()

    def add(self, row: Row) -> None:
        """A frame was judged. It takes the place of an unreadable or the same state of it."""
        with self._lock:
            self._count += 1
            shown = _shown(row, f"{self._epoch}-{self._count}")
            gone = [f.key for f in self._frames.values() if _replaces(shown, f)]
            for key in gone:
                del self._frames[key]
            self._frames[shown.key] = shown
            self._note_down("frame", {**shown.view, "gone": gone})

    def take_plate(self, path: str) -> None:
        """From now on frames are judged against this plate."""
        with self._lock:
            self._plate = path
            self._note_down("plate", self._plate_data())

    def say(self, text: str) -> None:
        """One line on the watching itself; of a path that it begins with, the name is shown."""
        at = f"{datetime.now():%H:%M}"
        with self._lock:
            self._note = {"at": at, "text": plain(_without_folder(text))}
            self._note_down("note", self._note)

    def close(self) -> None:
        """End all streams."""
        with self._lock:
            self.closed = True
            self._wake()

    def frame(self, key: str) -> Shown | None:
        """The frame of a key, None if it is none of this feed's."""
        with self._lock:
            return self._frames.get(key)

    def messages(self, last: str | None) -> list[Message]:
        """What came after the id ``last``; the whole set if there is no such id here."""
        with self._lock:
            place = self._place(last)
            if place is None:
                return [Message(self._id(len(self._log)), "set", self._whole())]
            return [
                Message(self._id(n + 1), event, data)
                for n, (event, data) in enumerate(self._log[place:], place)
            ]

    def listen(self, wake: Callable[[], None]) -> None:
        """Call ``wake``, from any thread, whenever something happened."""
        with self._lock:
            self._listeners.add(wake)

    def forget(self, wake: Callable[[], None]) -> None:
        """No longer call ``wake``."""
        with self._lock:
            self._listeners.discard(wake)

    def _id(self, place: int) -> str:
        return f"{self._epoch}.{place}"

    def _place(self, last: str | None) -> int | None:
        epoch, _, place = (last or "").partition(".")
        if epoch != self._epoch or not place.isdecimal() or int(place) > len(self._log):
            return None
        return int(place)

    def _whole(self) -> str:
        frames = [frame.view for frame in self._frames.values()]
        whole = {"name": self.name, "frames": frames, "plate": self._plate_data()}
        return json.dumps(whole | {"note": self._note}, allow_nan=False)

    def _plate_data(self) -> dict[str, str | None] | None:
        if self._plate is None:
            return None
        keys = [f.key for f in self._frames.values() if f.path == self._plate]
        return {"name": plain(PurePath(self._plate).name), "key": keys[-1] if keys else None}

    def _note_down(self, event: str, data: Mapping[str, Any] | None) -> None:
        self._log.append((event, json.dumps(data, allow_nan=False)))
        self._wake()

    def _wake(self) -> None:
        for wake in self._listeners:
            wake()


def _shown(row: Row, key: str) -> Shown:
    frame = row.record["frame"]
    size = int(frame["width"]), int(frame["height"])
    empty = bool(row.record.get("plate"))
    shown = {"key": key, **view(row)}
    told = row.record["clip"]["levels"]
    levels = tuple(told.get(name) for name in NAMES)
    known = None if None in levels else levels
    return Shown(key, row.path, row.stamp, row.clip_map, size, row.verdict, empty, known, shown)


def _without_folder(text: str) -> str:
    path, colon, rest = text.partition(": ")
    return f"{PurePath(path).name}{colon}{rest}" if PurePath(path).is_absolute() else text


def _replaces(new: Shown, old: Shown) -> bool:
    return new.path == old.path and (old.verdict == "unreadable" or new.stamp == old.stamp)
