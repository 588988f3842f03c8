"""All sessions of a server: found by a visitor's key, kept in folders of their own, put away when long unused."""

from __future__ import annotations

import re
import threading
import time
from pathlib import Path

from underlit.app.light import LightService
from underlit.app.session import Session

MOST_OPEN = 64
"""So many sessions are held in memory; of more, the longest unused goes back to disk."""
EARLIER_FOLDER = "desks"
"""Beside the folder of sessions: where an earlier release kept them."""
_KEY = re.compile(r"[A-Za-z0-9-]{8,64}")


class Sessions:
    """Sessions by visitor."""

    def __init__(self, folder: Path, service: LightService) -> None:
        self._folder, self._service = folder, service
        earlier = folder.with_name(EARLIER_FOLDER)
        if earlier.is_dir() and not folder.exists():
            earlier.rename(folder)
        self._open: dict[str, Session] = {}
        self._lock = threading.Lock()

    def of(self, visitor: str) -> Session:
        """A visitor's session, fetched from disk or new. Raises ValueError for a key that none was given."""
        if not _KEY.fullmatch(visitor):
            raise ValueError("not a visitor's key")
        with self._lock:
            session = self._open.get(visitor)
            if session is None:
                folder = self._folder / visitor
                folder.mkdir(parents=True, exist_ok=True)
                session = Session(visitor, folder, self._service)
                session.recall()
                self._open[visitor] = session
            session.last_used = time.monotonic()
            self._put_away()
            return session

    def _put_away(self) -> None:
        while len(self._open) > MOST_OPEN:
            unused = [d for d in self._open.values() if not d.listeners]
            if not unused:
                return
            oldest = min(unused, key=lambda session: session.last_used)
            for side in oldest.variants:
                self._service.forget(f"{oldest.name}/{side}")
            del self._open[oldest.name]
