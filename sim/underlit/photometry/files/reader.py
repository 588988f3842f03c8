"""Read a photometric file of either format."""

from __future__ import annotations

from pathlib import Path

from underlit.photometry.files.distribution import Photometry
from underlit.photometry.files.eulumdat import parse_eulumdat
from underlit.photometry.files.lm63 import TILT_LINE, VERSION_LINE, parse_lm63
from underlit.photometry.files.text import MAX_BYTES, PhotometryFileError, decode, lines_of


def read_photometry(path: str | Path) -> Photometry:
    """The fixture that a file describes, LM-63 or EULUMDAT by what stands in it.

    Raises PhotometryFileError, one line with file, line and reason, also where the file cannot be read.
    """
    file = Path(path)
    try:
        with file.open("rb") as stream:
            raw = stream.read(MAX_BYTES + 1)
    except (OSError, ValueError) as problem:
        raise PhotometryFileError(
            f"cannot be read: {getattr(problem, 'strerror', None) or problem}", 0, file.name
        ) from None
    return parse_photometry(raw, name=file.name)


def parse_photometry(raw: bytes, *, name: str = "") -> Photometry:
    """The same from a file's bytes; ``name`` is what messages call it. Raises PhotometryFileError."""
    try:
        lines = lines_of(decode(raw))
        if not any(line.strip() for line in lines):
            raise PhotometryFileError("the file is empty")
        first = next(line for line in lines if line.strip())
        if first.lstrip().startswith(("<", "{")):
            raise PhotometryFileError("this is XML or JSON: give an LM-63 or EULUMDAT file", 1)
        is_lm63 = VERSION_LINE.match(first) or any(TILT_LINE.match(line) for line in lines[:2000])
        return parse_lm63(lines) if is_lm63 else parse_eulumdat(lines)
    except PhotometryFileError as problem:
        raise PhotometryFileError(problem.reason, problem.line, name) from None
