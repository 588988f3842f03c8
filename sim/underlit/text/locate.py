"""On which line of a TOML text each key stands. ``tomllib`` has read the text before, so it is valid."""

from __future__ import annotations

import re
from bisect import bisect_right

from underlit.text.problem import KeyPath

_SPACE = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}\n#]*")
_STRINGS = (
    re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}', re.DOTALL),
    re.compile(r"'''.*?'{3,5}", re.DOTALL),
    re.compile(r'"(?:[^"\\]|\\.)*"'),
    re.compile(r"'[^']*'"),
)


def key_lines(text: str) -> dict[KeyPath, int]:
    """The line, from 1, of every key, table and array element of a valid TOML text."""
    return _Locator(text).run()


class _Locator:
    def __init__(self, text: str) -> None:
        self.text = text
        self.position = 0
        self.newlines = [match.start() for match in re.finditer("\n", text)]
        self.lines: dict[KeyPath, int] = {}
        self.last_index: dict[KeyPath, int] = {}

    def run(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        self._skip_space()
        while self.position < len(self.text):
            if self.text[self.position] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip_space()
        return self.lines

    def _skip_space(self) -> None:
        match = _SPACE.match(self.text, self.position)
        if match:
            self.position = match.end()

    def _mark(self, path: KeyPath, position: int) -> None:
        self.lines.setdefault(path, bisect_right(self.newlines, position - 1) + 1)

    def _header(self) -> KeyPath:
        start = self.position
        many = self.text.startswith("[[", start)
        self.position += 2 if many else 1
        names = self._dotted_key()
        self.position = self.text.index("]]" if many else "]", self.position) + (2 if many else 1)
        path: KeyPath = ()
        for depth, name in enumerate(names):
            path = (*path, name)
            self._mark(path, start)
            if many and depth == len(names) - 1:
                self.last_index[path] = self.last_index.get(path, -1) + 1
            if path in self.last_index:
                path = (*path, self.last_index[path])
        self._mark(path, start)
        return path

    def _dotted_key(self) -> list[str]:
        names = []
        while True:
            self._skip_space()
            start = self.position
            self._skip_string() or self._skip(_BARE_KEY)
            names.append(self.text[start : self.position].strip("\"'"))
            self._skip_space()
            if not self.text.startswith(".", self.position):
                return names
            self.position += 1

    def _pair(self, table: KeyPath) -> None:
        start = self.position
        path = table
        for name in self._dotted_key():
            path = (*path, name)
            self._mark(path, start)
        if self.position == start:
            raise ValueError("not a valid TOML text")
        self._skip_space()
        self.position += 1
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        self._skip_space()
        opening = self.text[self.position : self.position + 1]
        if opening == "[":
            self._items(path, "]")
        elif opening == "{":
            self._items(path, "}")
        elif not self._skip_string():
            self._skip(_SCALAR)

    def _items(self, path: KeyPath, closing: str) -> None:
        self.position += 1
        index = 0
        while True:
            self._skip_space()
            if self.text.startswith(",", self.position):
                self.position += 1
                continue
            if self.text.startswith(closing, self.position):
                self.position += 1
                return
            if closing == "]":
                self._mark((*path, index), self.position)
                self._value((*path, index))
                index += 1
            else:
                self._pair(path)

    def _skip_string(self) -> bool:
        return any(self._skip(pattern) for pattern in _STRINGS)

    def _skip(self, pattern: re.Pattern[str]) -> bool:
        match = pattern.match(self.text, self.position)
        if match:
            self.position = match.end()
        return match is not None
