"""The queue of heavy work: one piece at a time for all sessions, one thread of the processor, after what traces.

A session has at most one piece of each kind; a newer one takes the older one's place. What was found is kept for a while, so that
a page that is loaded again finds it.
"""

from __future__ import annotations

import logging
import os
import sys
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

MOST_KEPT = 200
"""So many ended pieces of work are kept, the newest."""
NICENESS = 5
"""Steps by which heavy work stands back where the system can tell threads apart (Linux)."""
FEWEST_PHOTONS = 1 << 16


class Cancelled(Exception):
    """Raised inside a piece of work that is no longer wanted."""


class State(StrEnum):
    """How a piece of work is."""

    WAITING = "waiting"
    WORKING = "working"
    DONE = "done"
    FAILED = "failed"
    CANCELLED = "cancelled"


@dataclass(eq=False)
class Job:
    """A piece of work of a session. work: called with this job; what it returns becomes `result`; a ValueError says in one line
    what people can put right.
    """

    session: str
    kind: str
    work: Callable[[Job], Any]
    state: State = State.WAITING
    said: str = ""
    result: Any = None
    trouble: str = ""
    _unwanted: threading.Event = field(default_factory=threading.Event)

    def tell(self, said: str, done: int = 0, total: int = 0) -> None:
        """Say what is being done and how much of it is. Raises Cancelled once nobody wants it."""
        if self._unwanted.is_set():
            raise Cancelled
        self.said = f"{said}, {done} of {total}" if total > 1 else said

    def cancel(self) -> None:
        """Nobody wants it any more; it ends at its next step."""
        self._unwanted.set()
        if self.state is State.WAITING:
            self.state = State.CANCELLED

    @property
    def stopping(self) -> bool:
        """Whether it was cancelled and still works on its last step."""
        return self.state is State.WORKING and self._unwanted.is_set()

    @property
    def ended(self) -> bool:
        """Whether nothing more will come."""
        return self.state not in (State.WAITING, State.WORKING)


class Jobs:
    """The thread of heavy work and its queue. effort: share of the usual photons; below 1 quicker and less exact."""

    def __init__(self, effort: float = 1.0) -> None:
        self._effort = effort
        self._queue: list[Job] = []
        self._latest: OrderedDict[tuple[str, str], Job] = OrderedDict()
        self._wake = threading.Condition()
        self._stopped = False
        self._thread = threading.Thread(target=self._run, name="heavy", daemon=True)

    def start(self) -> None:
        """Begin to work."""
        self._thread.start()

    def stop(self) -> None:
        """Cancel everything and let the thread end."""
        with self._wake:
            self._stopped = True
            for job in self._latest.values():
                job.cancel()
            self._wake.notify_all()

    def photons(self, usual: int) -> int:
        """Photons to use where a piece of work usually takes so many."""
        return max(FEWEST_PHOTONS, round(self._effort * usual))

    def ask(self, session: str, kind: str, work: Callable[[Job], Any]) -> Job:
        """Put work in the queue, in place of this session's older piece of the kind."""
        job = Job(session, kind, work)
        with self._wake:
            older = self._latest.pop((session, kind), None)
            if older is not None:
                older.cancel()
            self._queue = [waiting for waiting in self._queue if not waiting.ended]
            self._queue.append(job)
            self._latest[session, kind] = job
            self._forget()
            self._wake.notify_all()
        return job

    def latest(self, session: str, kind: str) -> Job | None:
        """The newest piece of a kind, under way or ended."""
        return self._latest.get((session, kind))

    def before(self, job: Job) -> int:
        """How many pieces come before one that waits, the one under way too."""
        with self._wake:
            ahead = self._queue[: self._queue.index(job)] if job in self._queue else []
            return sum(not other.ended for other in ahead)

    def _forget(self) -> None:
        ended = [key for key, job in self._latest.items() if job.ended]
        for key in ended[: max(0, len(self._latest) - MOST_KEPT)]:
            del self._latest[key]

    # -- the thread -----------------------------------------------------------------------------------------
    def _run(self) -> None:
        if sys.platform == "linux":
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), NICENESS)
        while True:
            with self._wake:
                while not self._queue and not self._stopped:
                    self._wake.wait()
                if self._stopped:
                    return
                job = self._queue[0]
                if not job.ended:
                    job.state = State.WORKING
            if job.state is State.WORKING:
                _do(job)
            with self._wake:
                self._queue.remove(job)


def _do(job: Job) -> None:
    try:
        job.tell("")
        job.result = job.work(job)
        job.state = State.DONE
    except Cancelled:
        job.state = State.CANCELLED
    except ValueError as problem:
        job.trouble, job.state = str(problem), State.FAILED
    except Exception as problem:  # one session's fault must not end the others' work
        logging.getLogger(__name__).exception("heavy work failed")
        job.trouble, job.state = f"this could not be done ({problem})", State.FAILED
