"""Suggestions for mistyped words."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """``; did you mean "dimming"?``; ``; known: ...`` where nothing is close and few are known; else empty."""
    listed = list(known)
    close = difflib.get_close_matches(word, listed, n=1, cutoff=0.6)
    if close:
        return f'; did you mean "{close[0]}"?'
    return f"; known: {', '.join(listed)}" if 0 < len(listed) <= 30 else ""
