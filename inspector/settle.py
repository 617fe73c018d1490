"""When a file in the hot folder is finished: a rule on facts and times, without a file system."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from inspector.files import Stamp

CLOSED_S = 0.05
"""Stillness after the writer has closed the file or renamed it into place; copying programs
set its time just after."""
STILL_S = 1.0
"""Stillness that must do where the system does not tell of closing."""
OPEN_S = 20.0
"""Stillness of a file that a writer holds open or has yet to fill, in case its closing was
missed."""
RETRY_S = (0.5, 2.0)
"""Waits before a file that could not be read is offered again."""


class Sign(Enum):
    """What the system told of a file."""

    SEEN = "seen"
    OPENED = "opened"
    WRITTEN = "written"
    RELEASED = "released"
    CLOSED = "closed"


@dataclass
class Arrival:
    """A file on its way. Times are those of one steady clock, seconds."""

    stamp: Stamp
    first_seen: float
    changed_at: float
    closed: bool = False
    writing: bool = False
    not_before: float = 0.0

    def note(self, stamp: Stamp, sign: Sign, now: float) -> None:
        """Take in what was seen."""
        if stamp != self.stamp:
            self.closed = self.closed and stamp.size == self.stamp.size  # only its time was set
            self.stamp, self.changed_at = stamp, now
        if sign is Sign.CLOSED:
            self.writing, self.closed, self.changed_at = False, True, now
        elif sign is Sign.WRITTEN:
            self.writing, self.closed, self.changed_at = True, False, now
        elif sign is Sign.OPENED:
            self.writing = True
        elif sign is Sign.RELEASED:
            self.writing = False

    @property
    def settled_at(self) -> float:
        """When the file counts as finished if nothing more happens."""
        if self.closed and self.stamp.size:
            still = CLOSED_S
        else:
            still = OPEN_S if self.writing or self.stamp.size == 0 else STILL_S
        return max(self.changed_at + still, self.not_before)
