"""Ctrl-C and the other ways to be told to stop.

The first Ctrl-C raises KeyboardInterrupt: a trace keeps what was counted. A second one ends the process at once, for the
threads of a trace cannot be stopped inside a kernel or its compiler; so does SIGTERM. While files are being written
nothing is raised (drawing libraries do not survive that): the first Ctrl-C lets them be finished, and an end at once
clears away first what is not in place yet.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from types import FrameType

from underlit.results.atomic import remove_own

INTERRUPTED = 130
TERMINATED = 143
"""Exit statuses, as shells count them: 128 and the number of the signal."""
_SHOW_CURSOR = "\x1b[?25h\n"


class Phase(StrEnum):
    """What the process is at, as it is told when it stops there."""

    PREPARING = "stopped before the trace began; nothing was written"
    WORKING = "stopped; nothing was written"
    UNKEPT = "stopped; nothing was kept"
    RESUMABLE = "stopped; the rows that were finished are kept, and the same command goes on from there"
    TRACING = "stopped before every light was counted; nothing was written"
    TELLING = "stopped after the trace; nothing was written"
    WRITING = "stopped while writing; no half-written file is left"


class Stops:
    """How often the process was told to stop, what it was at, and into which folder it is writing."""

    def __init__(self) -> None:
        self.interrupts = 0
        self.phase = Phase.PREPARING
        self.folder: Path | None = None

    def on_interrupt(self, number: int, frame: FrameType | None) -> None:
        """SIGINT: stop in good order, then end."""
        self.interrupts += 1
        if self.phase is Phase.WRITING:
            if self.interrupts > 2:
                self._end(INTERRUPTED)
            # One may have stopped the trace already, whose result is what is being written.
            self.interrupts = 2
            sys.stderr.write("\nfinishing the files; press Ctrl-C again to end at once\n")
            return
        if self.interrupts > 1 or self.phase is Phase.WORKING:
            # work that leaves nothing behind need not be unwound, which a compiler would not survive
            self._end(INTERRUPTED)
        if self.phase is Phase.TRACING:
            sys.stderr.write("\nstopping: what was counted is kept; press Ctrl-C again to end at once\n")
        raise KeyboardInterrupt

    def on_terminate(self, number: int, frame: FrameType | None) -> None:
        """SIGTERM: end."""
        self._end(TERMINATED)

    def _end(self, status: int) -> None:
        if self.folder is not None:
            remove_own(self.folder)
        sys.stderr.write(f"\n{self.phase}\n")
        end_now(status)


def end_now(status: int) -> None:
    """End the process without waiting for its threads; gives the terminal its cursor back."""
    if sys.stderr.isatty():
        sys.stderr.write(_SHOW_CURSOR)
    sys.stderr.flush()
    os._exit(status)


@contextmanager
def listening() -> Iterator[Stops]:
    """Handle SIGINT and SIGTERM in this block (in the main thread; elsewhere signals stay as they are)."""
    stops = Stops()
    if threading.current_thread() is not threading.main_thread():
        yield stops
        return
    old = {
        signal.SIGINT: signal.signal(signal.SIGINT, stops.on_interrupt),
        signal.SIGTERM: signal.signal(signal.SIGTERM, stops.on_terminate),
    }
    try:
        yield stops
    finally:
        for number, handler in old.items():
            signal.signal(number, handler)
