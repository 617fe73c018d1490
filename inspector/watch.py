"""The hot folder as a stream of finished frames, the newest first.

`watch` yields typed changes. It knows what a finished file is (see `settle`), offers each state
of a file once, and looks round regularly, so that an event that never came loses no frame. What
feeds it is a `Source`: a real folder, or in tests a scripted one with its own clock.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Protocol

from inspector.files import Stamp
from inspector.rawnames import is_companion_name, is_raw_name
from inspector.settle import RETRY_S, Arrival, Sign


@dataclass(frozen=True)
class Finished:
    """A frame that is whole. ``waiting`` more are finished behind it.

    ``last``: it is not offered again unless it changes, so a failure to read it is final.
    """

    path: str
    stamp: Stamp
    waiting: int = 0
    last: bool = False


@dataclass(frozen=True)
class Vanished:
    """A frame that went away before it was finished."""

    path: str


@dataclass(frozen=True)
class Companion:
    """A picture of another kind lies beside the frames and is left alone; yielded once."""

    path: str


@dataclass(frozen=True)
class Notice:
    """One line on the watching itself: it polls, the folder is gone, the folder is back."""

    text: str


Change = Finished | Vanished | Companion | Notice


@dataclass(frozen=True)
class Seen:
    """Something happened to a file."""

    path: str
    sign: Sign = Sign.SEEN


@dataclass(frozen=True)
class Moved:
    """A file was renamed and is no longer where it was."""

    path: str


@dataclass(frozen=True)
class LookRound:
    """Something happened to a folder: look at everything now."""


@dataclass(frozen=True)
class Again:
    """The frame could not be read yet: offer it again after a while."""

    path: str
    stamp: Stamp


@dataclass(frozen=True)
class Stop:
    """End the watching."""


Message = Seen | Moved | LookRound | Again | Stop


class Source(Protocol):
    """What the watcher needs of the world."""

    @property
    def every(self) -> float:
        """Seconds from one look round to the next."""

    def now(self) -> float:
        """A steady clock, seconds."""

    def wait(self, seconds: float) -> list[Message]:
        """All messages that have come; waits for the first at most so long."""

    def scan(self) -> Iterable[tuple[str, Stamp]] | None:
        """All files that may be frames or companions, one by one; None while the folder is not
        there."""

    def there(self) -> bool:
        """Whether the folder is there."""

    def stamp(self, path: str) -> Stamp | None:
        """The stamp of one such file, None if it is not there or is none of the folder's."""

    def notices(self) -> list[str]:
        """What is to be said since the last call."""


def watch(
    source: Source,
    *,
    known: Mapping[str, Stamp] | None = None,
) -> Iterator[Change]:
    """Yield what happens in the hot folder until a `Stop` comes.

    What is a frame is told by its name; other files are passed over in silence.

    Parameters
    ----------
    source : Source
        The folder.
    known : mapping, optional
        Frames that need not be offered, in the state given.
    """
    return _Watching(source, dict(known or {})).run()


class _Watching:
    def __init__(self, source: Source, known: dict[str, Stamp]) -> None:
        self.source, self.known = source, known
        self.arrivals: dict[str, Arrival] = {}
        self.finished: dict[str, Arrival] = {}
        self.tries: dict[str, tuple[Stamp, int]] = {}
        self.next_look = source.now()
        self.folder_there = True
        self.companion_said = False

    def run(self) -> Iterator[Change]:
        while True:
            for message in self.source.wait(self.patience()):
                if isinstance(message, Stop):
                    return
                yield from self.take(message)
            if self.source.now() >= self.next_look:
                yield from self.look_round()
            yield from map(Notice, self.source.notices())
            yield from self.settle()
            frame = self.newest()
            if frame is not None:
                yield frame

    def patience(self) -> float:
        """Seconds until there is something to do without a message."""
        if self.finished:
            return 0.0
        times = [arrival.settled_at for arrival in self.arrivals.values()]
        return max(0.0, min([self.next_look, *times]) - self.source.now())

    def take(self, message: Message) -> Iterator[Change]:
        if isinstance(message, Seen):
            yield from self.see(message.path, self.source.stamp(message.path), message.sign)
        elif isinstance(message, Moved):
            self.forget(message.path)
        elif isinstance(message, LookRound):
            self.next_look = self.source.now()
        elif isinstance(message, Again):
            self.offer_again(message)

    def see(self, path: str, stamp: Stamp | None, sign: Sign) -> Iterator[Change]:
        if is_companion_name(path) and stamp is not None and not self.companion_said:
            self.companion_said = True
            yield Companion(path)
        if not is_raw_name(path) or stamp is None:  # `settle` tells of those that have gone
            return
        if self.known.get(path) == stamp:
            return
        now = self.source.now()
        arrival = self.finished.pop(path, None) or self.arrivals.get(path)
        if arrival is None:
            arrival = Arrival(stamp, first_seen=now, changed_at=now)
        self.arrivals[path] = arrival
        arrival.note(stamp, sign, now)

    def look_round(self) -> Iterator[Change]:
        files = self.source.scan()
        self.next_look = self.source.now() + self.source.every
        if self.folder_there != (files is not None):
            self.folder_there = files is not None
            yield Notice(
                "the hot folder is back"
                if self.folder_there
                else "the hot folder is gone; waiting for it to come back"
            )
        for path, stamp in files or ():
            waiting = self.finished.get(path)
            if waiting is None or waiting.stamp != stamp:
                yield from self.see(path, stamp, Sign.SEEN)

    def settle(self) -> Iterator[Change]:
        now = self.source.now()
        for path, arrival in list(self.arrivals.items()):
            if arrival.settled_at > now:
                continue
            stamp = self.source.stamp(path)
            if stamp is None:
                yield from self.lose(path)
            elif stamp != arrival.stamp:
                arrival.note(stamp, Sign.SEEN, now)
            else:
                self.finished[path] = self.arrivals.pop(path)

    def newest(self) -> Finished | None:
        """Hand over the newest finished frame, unless it has changed meanwhile."""
        if not self.finished:
            return None
        path = max(self.finished, key=self.age_key)
        arrival = self.finished.pop(path)
        if self.source.stamp(path) != arrival.stamp:
            self.arrivals[path] = arrival
            return None
        self.known[path] = arrival.stamp
        last = self.count(path, arrival.stamp) >= len(RETRY_S)
        return Finished(path, arrival.stamp, waiting=len(self.finished), last=last)

    def age_key(self, path: str) -> tuple[float, int, str]:
        arrival = self.finished[path]
        return arrival.first_seen, arrival.stamp.mtime_ns, path

    def offer_again(self, message: Again) -> None:
        if self.known.get(message.path) != message.stamp:
            return  # it has changed since and is on its way
        del self.known[message.path]
        tried, now = self.count(message.path, message.stamp), self.source.now()
        self.tries[message.path] = message.stamp, tried + 1
        pause = RETRY_S[min(tried, len(RETRY_S) - 1)]
        self.arrivals[message.path] = Arrival(
            message.stamp, first_seen=now, changed_at=now, closed=True, not_before=now + pause
        )

    def count(self, path: str, stamp: Stamp) -> int:
        """How often this state of the file was given back."""
        tried, times = self.tries.get(path, (None, 0))
        return times if tried == stamp else 0

    def lose(self, path: str) -> Iterator[Change]:
        self.forget(path)
        if self.source.there():
            yield Vanished(path)
        else:  # with its folder; it is found again when that is back
            self.next_look = self.source.now()

    def forget(self, path: str) -> None:
        self.arrivals.pop(path, None)
        self.finished.pop(path, None)
