"""One problem of a file that people write, in one line: where, what is wrong, and what would be right."""

from __future__ import annotations

import re
from dataclasses import dataclass

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
KeyPath = tuple[str | int, ...]


@dataclass(frozen=True)
class Problem:
    """One problem: where (file, line and key, as far as known), what is wrong, and what would be right."""

    message: str
    key: KeyPath = ()
    file: str = ""
    line: int = 0

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.file and self.line else self.file
        return ": ".join(part for part in (place, key_text(self.key), self.message) if part)


def key_text(key: KeyPath) -> str:
    """A key path as people read it: ``fixture[0].lens.beam_angle``."""
    text = ""
    for part in key:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            word = part if _BARE_KEY.fullmatch(part) else repr(part)
            text += f".{word}" if text else word
    return text


def shown(value: object, limit: int = 60) -> str:
    """A value as a message quotes it, shortened when long."""
    text = {True: "true", False: "false"}[value] if isinstance(value, bool) else repr(value)
    return text if len(text) <= limit else text[: limit - 3] + "..."
