"""What to tell people about a scene that was read, besides its problems."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from underlit.text.problem import KeyPath, key_text


@dataclass(frozen=True)
class UsedEntry:
    """An entry of the catalogue that a scene refers to, and from where."""

    key: KeyPath
    kind: str
    name: str
    file: Path
    own: bool
    hides_shipped: bool

    @property
    def note(self) -> str:
        """That a user's own entry replaces a shipped one; empty where it does not."""
        if not self.hides_shipped:
            return ""
        return f'{self.kind} "{self.name}" is your own entry in {self.file}; the shipped entry of that name is not used'


@dataclass(frozen=True)
class RenamedKey:
    """A key that a file gives under its former name; it counts as the new one."""

    key: KeyPath
    new: str
    file: str = ""
    line: int = 0

    @property
    def note(self) -> str:
        """Where it stands, and both names."""
        place = f"{self.file}:{self.line}: " if self.file and self.line else ""
        return f"{place}{key_text(self.key)}: this key is now called {self.new}; the old name still works"
