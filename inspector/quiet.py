"""Keep a C library's own words out of the terminal."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_ONE_AT_A_TIME = threading.Lock()


@contextmanager
def standard_error_closed() -> Iterator[None]:
    """Send what is written to file descriptor 2 nowhere while the block runs.

    LibRaw prints a line there for a damaged file, beside the error it returns. The descriptor
    belongs to the whole process, so that blocks of several threads follow one another.
    """
    with _ONE_AT_A_TIME:
        try:
            kept = os.dup(2)
        except OSError:  # a process without a terminal may have none
            yield
            return
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 2)
        os.close(nowhere)
        try:
            yield
        finally:
            os.dup2(kept, 2)
            os.close(kept)
