"""Printing that holds up nothing else."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable


class Speaker(threading.Thread):
    """Prints what it is told, in order, on a thread of its own.

    A terminal can stand still for minutes: Ctrl-S, text being selected, a pager. Frames are
    judged and recorded meanwhile.
    """

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self._lines: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._error: Exception | None = None

    def run(self) -> None:
        """The thread's body."""
        try:
            while (line := self._lines.get()) is not None:
                line()
        except Exception as error:  # nobody reads on, or the disk behind a redirection is full
            self._error = error

    def tell(self, line: Callable[[], None]) -> None:
        """Have something printed. Raises what went wrong with something before."""
        if self._error is not None:
            raise self._error
        self._lines.put(line)

    def finish(self) -> None:
        """Wait until all is printed."""
        self._lines.put(None)
        self.join()
        if self._error is not None:
            raise self._error
