"""Ctrl-C and the other ways to be told to stop.

The first Ctrl-C raises KeyboardInterrupt: a trace keeps what was counted. A second one ends the process at once, for the
threads of a trace cannot be stopped inside a kernel or its compiler. So does SIGTERM. While files are being written both
raise instead, so that what is half written is cleared away first.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

INTERRUPTED = 130
TERMINATED = 143
"""Exit statuses, as shells count them: 128 and the number of the signal."""
_SHOW_CURSOR = "\x1b[?25h\n"


class Terminated(BaseException):
    """SIGTERM came while files were being written."""


class Stops:
    """How often the process was told to stop, and what to do about it."""

    def __init__(self) -> None:
        self.interrupts = 0
        self.writing = False

    def on_interrupt(self, number: int, frame: FrameType | None) -> None:
        """SIGINT: first raise, then end."""
        self.interrupts += 1
        if self.interrupts > 1 and not (self.writing and self.interrupts == 2):
            end_now(INTERRUPTED)
        if not self.writing:
            sys.stderr.write("\nstopping: what was counted is kept; Ctrl-C again ends at once\n")
        raise KeyboardInterrupt

    def on_terminate(self, number: int, frame: FrameType | None) -> None:
        """SIGTERM: end, after clearing away what is half written."""
        if self.writing:
            raise Terminated
        end_now(TERMINATED)

    @contextmanager
    def while_writing(self) -> Iterator[None]:
        """Mark a stretch in which half-written files may lie about."""
        self.writing = True
        try:
            yield
        finally:
            self.writing = False


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
