"""The real hot folder: its files, and the system's events about them."""

from __future__ import annotations

import contextlib
import logging
import os
import queue
import stat
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from watchdog.events import FileSystemEvent, FileSystemEventHandler
from watchdog.observers import Observer
from watchdog.observers.api import BaseObserver

from inspector.files import Stamp
from inspector.mounts import network_kind
from inspector.settle import Sign
from inspector.watch import LookRound, Message, Moved, Seen

POLL_S = 1.0
"""From one look round to the next where no events come, seconds."""
LOOK_S = 5.0
"""The same beside events, in case one was lost."""
LOOK_SHARE = 0.05
"""Largest share of the time that looking round may take; a huge folder is looked at less often."""

TELLS_CLOSING = sys.platform == "linux"
"""Whether the system says when a writer closes a file (inotify(7) does)."""

Inbox = queue.SimpleQueue[Message]

# Stopped while it waits, watchdog logs an error; unheard, it would end up in the terminal.
logging.getLogger("watchdog").addHandler(logging.NullHandler())


class HotFolder:
    """A `watch.Source` on a real folder. Use as a context manager.

    Parameters
    ----------
    folder : Path
        Links in it are resolved once; paths that it gives begin with the result.
    inbox : SimpleQueue
        Where its events go; others may put messages there too.
    subfolders : bool
        Whether to look into subfolders.
    follow_links : bool
        Whether links that lead out of the folder are followed.
    poll : float, optional
        Look every so many seconds and use no events. By itself on a network share.
    """

    def __init__(
        self,
        folder: Path,
        inbox: Inbox,
        *,
        subfolders: bool = False,
        follow_links: bool = False,
        poll: float | None = None,
    ) -> None:
        self.folder = os.path.realpath(folder)
        self._inbox, self._subfolders, self._follow_links = inbox, subfolders, follow_links
        self._notices: list[str] = []
        self._poll = poll
        self._observer: BaseObserver | None = None
        self._identity = self._identify()
        self._scan_s = 0.0
        self._link_said = False

    def __enter__(self) -> HotFolder:
        kind = network_kind(Path(self.folder)) if self._poll is None else None
        if kind is not None:
            self._poll_instead(f"the hot folder is on a {kind} share, which sends no events")
        self._start_events()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop_events()

    @property
    def every(self) -> float:
        """Seconds from one look round to the next."""
        pause = LOOK_S if self._poll is None else self._poll
        return max(pause, self._scan_s / LOOK_SHARE)

    def now(self) -> float:
        """A steady clock, seconds."""
        return time.monotonic()

    def wait(self, seconds: float) -> list[Message]:
        """All messages that have come; waits for the first at most so long."""
        messages: list[Message] = []
        with contextlib.suppress(queue.Empty):
            if seconds:
                messages.append(self._inbox.get(timeout=seconds))
            while True:
                messages.append(self._inbox.get_nowait())
        return messages

    def notices(self) -> list[str]:
        """What is to be said since the last call."""
        said, self._notices = self._notices, []
        return said

    def there(self) -> bool:
        """Whether the folder is there."""
        return self._identify() is not None

    def scan(self) -> Iterator[tuple[str, Stamp]] | None:
        """All visible regular files, one by one; None while the folder is not there."""
        identity = self._identify()
        if identity is None:
            self._stop_events()
        elif identity != self._identity or self._observer is None:  # mounted, or made afresh
            self._stop_events()
            self._start_events()
        self._identity = identity
        return self._timed_files() if identity is not None else None

    def stamp(self, path: str) -> Stamp | None:
        """The stamp of a visible regular file of the folder."""
        if not self._is_ours(path):
            return None
        try:
            found = os.lstat(path)
            if stat.S_ISLNK(found.st_mode):
                if not self._may_follow(path):
                    return None
                found = Path(path).stat()
        except OSError:
            return None
        return Stamp(found.st_size, found.st_mtime_ns) if stat.S_ISREG(found.st_mode) else None

    def _identify(self) -> tuple[int, int] | None:
        try:
            found = Path(self.folder).stat()
        except OSError:
            return None
        return (found.st_dev, found.st_ino) if stat.S_ISDIR(found.st_mode) else None

    def _is_ours(self, path: str) -> bool:
        inside = Path(path).relative_to(self.folder).parts
        return not any(part.startswith(".") for part in inside) and (
            self._subfolders or len(inside) == 1
        )

    def _timed_files(self) -> Iterator[tuple[str, Stamp]]:
        begin = self.now()
        yield from self._files(self.folder, {self.folder})
        self._scan_s = self.now() - begin

    def _files(self, folder: str, visited: set[str]) -> Iterator[tuple[str, Stamp]]:
        later: list[os.DirEntry[str]] = []
        try:
            with os.scandir(folder) as entries:
                for entry in entries:
                    if entry.name.startswith("."):
                        continue
                    if entry.is_symlink() or _is_folder(entry):
                        later.append(entry)
                        continue
                    stamp = self.stamp(entry.path)
                    if stamp is not None:
                        yield entry.path, stamp
        except OSError:  # gone since, or not ours to read
            return
        # Real folders before links, so that a link to one never hides it under another name.
        for entry in sorted(later, key=lambda entry: (entry.is_symlink(), entry.name)):
            yield from self._links_and_folders(entry, visited)

    def _links_and_folders(
        self, entry: os.DirEntry[str], visited: set[str]
    ) -> Iterator[tuple[str, Stamp]]:
        if entry.is_symlink() and not self._may_follow(entry.path):
            return
        if not _is_folder(entry):
            stamp = self.stamp(entry.path)
            if stamp is not None:
                yield entry.path, stamp
            return
        real = os.path.realpath(entry.path)
        if self._subfolders and real not in visited:
            visited.add(real)
            yield from self._files(entry.path, visited)

    def _may_follow(self, link: str) -> bool:
        if self._follow_links:
            return True
        real = os.path.realpath(link)
        inside = Path(real).is_relative_to(self.folder)
        if not inside and not self._link_said:
            self._link_said = True
            self._notices.append(
                f"{link}: a link that leads out of the hot folder, left alone as all such; "
                "--follow-links takes them"
            )
        return inside

    def _start_events(self) -> None:
        if self._poll is not None:
            return
        observer = Observer()
        try:
            observer.schedule(_Listener(self._inbox), self.folder, recursive=self._subfolders)
            observer.start()
        except OSError as error:  # no folder, or the system's limit of watches is reached
            observer.stop()
            if self.there():
                self._poll_instead(f"the system gives no events ({error.strerror})")
            return
        self._observer = observer

    def _poll_instead(self, why: str) -> None:
        self._poll = POLL_S
        self._notices.append(f"{why}; looking into it every {POLL_S:g} s instead")

    def _stop_events(self) -> None:
        observer, self._observer = self._observer, None
        if observer is not None:
            observer.stop()
            observer.join()


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:  # a link that leads to itself
        return False


class _Listener(FileSystemEventHandler):
    """Puts the system's events into the inbox; runs on watchdog's thread."""

    SIGNS = {  # noqa: RUF012
        "created": Sign.SEEN,
        "opened": Sign.OPENED,
        "modified": Sign.WRITTEN,
        "closed_no_write": Sign.RELEASED,
        "closed": Sign.CLOSED,
    }

    def __init__(self, inbox: Inbox) -> None:
        self._inbox = inbox

    def on_any_event(self, event: FileSystemEvent) -> None:
        path = os.fsdecode(event.src_path)
        if event.is_directory:
            if event.event_type in ("created", "moved", "deleted"):
                self._inbox.put(LookRound())
        elif event.event_type == "moved":
            self._inbox.put(Moved(path))
            self._inbox.put(Seen(os.fsdecode(event.dest_path), Sign.CLOSED))
        else:
            sign = self.SIGNS.get(event.event_type, Sign.SEEN)
            self._inbox.put(Seen(path, sign if TELLS_CLOSING else Sign.SEEN))
