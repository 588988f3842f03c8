"""Bytes to lines and numbers, with the place of everything that is wrong."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from underlit.spectra.grid import FloatArray

MAX_BYTES = 8 * 2**20
"""A photometric file is some kilobytes of text; a much larger file is something else."""
MAX_VALUES = 400_000
"""Most intensities a file may hold: a quarter of a degree one way and half a degree the other."""
LONGEST_NUMBER = 40

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eEdD][+-]?\d{1,4})?", re.ASCII)
_WORD = re.compile(r"[^\s,;\x00\x1a]+")


class PhotometryFileError(ValueError):
    """A photometric file that cannot be used; its text is one line: file, line where known, reason."""

    def __init__(self, reason: str, line: int = 0, file: str = "") -> None:
        self.reason, self.line, self.file = reason, line, file
        place = ", ".join(part for part in (file, f"line {line}" if line else "") if part)
        super().__init__(f"{place}: {reason}" if place else reason)


def decode(raw: bytes) -> str:
    """The text of a file in UTF-8, UTF-16 with its mark, or else Latin-1. Raises PhotometryFileError."""
    if len(raw) > MAX_BYTES:
        raise PhotometryFileError(f"larger than {MAX_BYTES // 2**20} MiB: this is not a photometric file")
    try:
        if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
            return raw.decode("utf-16")
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
            raise PhotometryFileError("this is not a text file") from None
        text = raw.decode("latin-1")
    if "\0" in text[:4096].rstrip("\0\x1a\r\n "):
        raise PhotometryFileError("this is not a text file: it has zero bytes")
    return text


def lines_of(text: str) -> list[str]:
    """Lines ended by CR LF (or CR CR LF), LF or a lone CR, and by nothing else: Latin-1 texts hold other breaks."""
    return text.replace("\r\r\n", "\n").replace("\r\n", "\n").replace("\r", "\n").split("\n")


def quoted(text: str) -> str:
    """What stands in the file, as a message quotes it: one short printable line."""
    shown = "".join(letter if letter.isprintable() else "?" for letter in text.strip()[:31])
    return f"'{shown[:28]}...'" if len(shown) > 30 else f"'{shown}'"


def number(text: str, what: str, line: int, *, decimal_comma: bool = False) -> float:
    """One finite number. Raises PhotometryFileError that says what was expected on which line."""
    plain = text.strip().replace(",", ".") if decimal_comma else text.strip()
    if len(plain) > LONGEST_NUMBER or not _NUMBER.fullmatch(plain):
        raise PhotometryFileError(f"{what} must be a number (got {quoted(text)})", line)
    value = float(plain.replace("d", "e").replace("D", "e"))
    if abs(value) > 1e12:
        raise PhotometryFileError(f"{what} is too large (got {quoted(text)})", line)
    return value


def whole(value: float, what: str, line: int, low: int, high: int) -> int:
    """A whole number from ``low`` to ``high``. Raises PhotometryFileError."""
    if value != round(value) or not low <= value <= high:
        raise PhotometryFileError(f"{what} must be a whole number from {low} to {high} (got {value:g})", line)
    return round(value)


class Numbers:
    """The numbers of a text from one of its lines on, however they are wrapped: by spaces, commas, semicolons, lines.

    ``line`` is that of the number read last, counted from 1.
    """

    def __init__(self, lines: list[str], first: int, *, decimal_comma: bool = False) -> None:
        self.line = first + 1
        self._decimal_comma = decimal_comma
        self._words = self._walk(lines, first)

    def _walk(self, lines: list[str], first: int) -> Iterator[tuple[int, str]]:
        for index in range(first, len(lines)):
            # a comma is decimal in the one format, a break between numbers in the other
            text = lines[index].replace(",", ".") if self._decimal_comma else lines[index]
            for match in _WORD.finditer(text):
                yield index + 1, match[0]

    def one(self, what: str) -> float:
        """The next number."""
        found = next(self._words, None)
        if found is None:
            raise PhotometryFileError(f"the file ends before {what}", self.line)
        self.line = found[0]
        return number(found[1], what, self.line)

    def count(self, what: str, low: int, high: int) -> int:
        """The next number, a whole one from ``low`` to ``high``."""
        return whole(self.one(what), what, self.line, low, high)

    def many(self, count: int, what: str) -> FloatArray:
        """The next ``count`` numbers, (count,) float64."""
        values: list[float] = []
        while len(values) < count:
            found = next(self._words, None)
            if found is None:
                raise PhotometryFileError(f"the file ends after {len(values)} of {count} {what}", self.line)
            self.line = found[0]
            values.append(number(found[1], f"number {len(values) + 1} of {count} {what}", self.line))
        return np.array(values)

    def rising(self, count: int, what: str, low: float, high: float) -> FloatArray:
        """The next ``count`` angles [deg], rising, from ``low`` to ``high``."""
        angles = self.many(count, what)
        if (np.diff(angles) <= 0).any():
            at = int(np.argmax(np.diff(angles) <= 0))
            raise PhotometryFileError(f"{what} must rise (got {angles[at]:g} then {angles[at + 1]:g})", self.line)
        if angles[0] < low or angles[-1] > high:
            wide = f"{angles[0]:g} to {angles[-1]:g}"
            raise PhotometryFileError(f"{what} must lie within {low:g} and {high:g} deg (got {wide})", self.line)
        return angles

    def left(self) -> bool:
        """Whether anything stands after the number read last."""
        return next(self._words, None) is not None
