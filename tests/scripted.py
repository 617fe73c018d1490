"""A folder that exists in a script only, with its own clock: drives the watcher without waiting."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from inspector.files import Stamp
from inspector.settle import Sign
from inspector.watch import Change, LookRound, Message, Moved, Seen, Stop, watch


@dataclass
class ScriptedFolder:
    """A `watch.Source`. What happens is given as (time, action); the clock jumps there.

    ``tells``: events are sent. ``tells_closing``: also of opening and closing, as inotify does.
    """

    script: list[tuple[float, Callable[[ScriptedFolder], None]]]
    until: float
    tells: bool = True
    tells_closing: bool = True
    every: float = 5.0
    files: dict[str, Stamp] = field(default_factory=dict)
    here: bool = True
    clock: float = 0.0
    inbox: list[Message] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    looks: int = 0

    def __post_init__(self) -> None:
        self.script = sorted(self.script, key=lambda step: step[0])

    # What the watcher asks for.

    def now(self) -> float:
        return self.clock

    def wait(self, seconds: float) -> list[Message]:
        end = self.clock + seconds
        while not self.inbox and self.script and self.script[0][0] <= end:
            when, act = self.script.pop(0)
            self.clock = max(self.clock, when)
            act(self)
        if not self.inbox:
            self.clock = end
        if self.clock >= self.until:
            self.inbox.append(Stop())
        messages, self.inbox = self.inbox, []
        return messages

    def scan(self) -> list[tuple[str, Stamp]] | None:
        self.looks += 1
        return list(self.files.items()) if self.here else None

    def there(self) -> bool:
        return self.here

    def stamp(self, path: str) -> Stamp | None:
        return self.files.get(path) if self.here else None

    def notices(self) -> list[str]:
        said, self.said = self.said, []
        return said

    # What others do to the folder.

    def tell(self, path: str, sign: Sign) -> None:
        if self.tells:
            self.inbox.append(Seen(path, sign if self.tells_closing else Sign.SEEN))

    def open(self, path: str) -> None:
        self.files[path] = Stamp(0, self._time())
        self.tell(path, Sign.SEEN)
        self._tell_handle(path, Sign.OPENED)

    def append(self, path: str, count: int) -> None:
        self.files[path] = Stamp(self.files[path].size + count, self._time())
        self.tell(path, Sign.WRITTEN)

    def close(self, path: str) -> None:
        self._tell_handle(path, Sign.CLOSED)

    def read(self, path: str) -> None:
        self._tell_handle(path, Sign.OPENED)
        self._tell_handle(path, Sign.RELEASED)

    def put(self, path: str, count: int = 100) -> None:
        self.open(path)
        self.append(path, count)
        self.close(path)

    def set_time(self, path: str, mtime_ns: int) -> None:
        self.files[path] = Stamp(self.files[path].size, mtime_ns)
        self.tell(path, Sign.SEEN)

    def rename(self, old: str, new: str) -> None:
        self.files[new] = self.files.pop(old)
        if self.tells:
            self.inbox += [Moved(old), Seen(new, Sign.CLOSED)]

    def remove(self, path: str) -> None:
        del self.files[path]
        self.tell(path, Sign.SEEN)

    def nudge(self) -> None:
        self.inbox.append(LookRound())

    def _tell_handle(self, path: str, sign: Sign) -> None:
        if self.tells and self.tells_closing:
            self.inbox.append(Seen(path, sign))

    def _time(self) -> int:
        return round(self.clock * 1e9)


def follow(
    folder: ScriptedFolder, known: dict[str, Stamp] | None = None
) -> Iterator[tuple[float, Change]]:
    """What the watcher yields, and when."""
    changes = watch(folder, known=known)
    for change in changes:
        yield folder.clock, change
