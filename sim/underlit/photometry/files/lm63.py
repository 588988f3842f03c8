"""LM-63 (IES, 1986, 1991, 1995, 2002, 2019): the North American text format of measured fixtures.

Sources: ANSI/IESNA LM-63-02, table of contents and definitions as published; I. Ashdown, "Parsing the IESNA LM-63
photometric data file" (1998) for 1986 to 1995. Horizontal angles run counter-clockwise from the photometric horizontal,
which lies along the length of the opening; its width lies across, along 90 deg (ies2rad manual page, Radiance: "the 0
degree plane along the x-axis, the IES photometric horizontal or length. The IES width is oriented along the y axis").
So horizontal angle 0 is azimuth 0 of `Photometry`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from underlit.photometry.files.distribution import (
    FileFormat,
    Opening,
    OpeningShape,
    Photometry,
    checked_intensity,
    checked_light,
    checked_opening,
    full_turn,
)
from underlit.photometry.files.text import MAX_VALUES, Numbers, PhotometryFileError, quoted
from underlit.spectra.grid import FloatArray

TILT_LINE = re.compile(r"^[ \t]*TILT[ \t]*=[ \t]*(.*)$", re.IGNORECASE)
VERSION_LINE = re.compile(r"^\s*(?:IESNA|IES)\s*[:_ ]?\s*(?:LM-63-)?(\d{2,4})?\b", re.IGNORECASE)
_KEYWORD = re.compile(r"^\s*\[\s*([^\]]{1,60})\]\s*(.*)$")
_LUMENS_KEYWORD = re.compile(r"(ABSOLUTE|LUMINAIRE|TOTAL).*LUMENS", re.IGNORECASE)
FOOT_M = 0.3048
"""International foot of 1959, exact."""
MOST_LABEL_LINES = 2000
MOST_TILT_ANGLES = 1000
MOST_ANGLES = 20_000


@dataclass(frozen=True)
class _Label:
    year: int
    keywords: tuple[tuple[str, str], ...]
    tilt: str
    tilt_line: int


def parse_lm63(lines: list[str]) -> Photometry:
    """A fixture from the lines of an LM-63 file. Raises PhotometryFileError with line and reason."""
    label = _label(lines)
    notes: list[str] = []
    numbers = Numbers(lines, label.tilt_line)
    factor = _tilt(label, numbers, notes)
    lamps = numbers.count("the number of lamps", 0, 100_000)
    per_lamp = numbers.one("the lumens per lamp")
    factor *= _positive(numbers, "the candela multiplier")
    n_vertical = numbers.count("the number of vertical angles", 2, MOST_ANGLES)
    n_horizontal = numbers.count("the number of horizontal angles", 1, MOST_ANGLES)
    if n_vertical * n_horizontal > MAX_VALUES:
        raise PhotometryFileError(f"{n_vertical} x {n_horizontal} intensities: at most {MAX_VALUES}", numbers.line)
    _refuse_other_types(numbers)
    opening = _opening(numbers, label.year, notes)
    ballast = _positive(numbers, "the ballast factor")
    factor *= ballast * _second_factor(numbers, label.year, notes)
    watts = numbers.one("the input watts")
    vertical = _vertical(numbers, n_vertical)
    horizontal = numbers.rising(n_horizontal, "horizontal angles", -360, 720)
    angles_line = numbers.line
    raw = numbers.many(n_vertical * n_horizontal, "intensities").reshape(n_horizontal, n_vertical)
    values, clipped = checked_intensity(raw * factor, numbers.line)
    azimuth, intensity, closed = full_turn(horizontal, values, angles_line)
    stated = _stated_lumens(label.keywords)
    lamp_lumens = lamps * per_lamp * ballast if lamps > 0 and per_lamp > 0 else None
    if numbers.left():
        notes.append("text after the last intensity is ignored")
    return checked_light(
        Photometry(
            FileFormat.LM63, str(label.year), np.radians(azimuth), np.radians(vertical), intensity, stated,
            lamp_lumens, watts if watts > 0 else None, opening, label.keywords, (*notes, *clipped, *closed),
        )
    )  # fmt: skip


def _label(lines: list[str]) -> _Label:
    year = 1986
    first = next((line for line in lines if line.strip()), "")
    match = VERSION_LINE.match(first)
    if match:
        said = int(match[1] or 91)
        year = said if said > 100 else (1900 if said > 50 else 2000) + said
    keywords: list[tuple[str, str]] = []
    for index, line in enumerate(lines[:MOST_LABEL_LINES]):
        tilt = TILT_LINE.match(line)
        if tilt:
            return _Label(year, tuple(keywords), tilt[1].strip(), index + 1)
        keyword = _KEYWORD.match(line)
        if keyword:
            keywords.append((keyword[1].strip().upper(), keyword[2].strip()))
    raise PhotometryFileError("no line starts with TILT=: this is not an LM-63 file, or its beginning is missing")


def _tilt(label: _Label, numbers: Numbers, notes: list[str]) -> float:
    """The tilt factor of a level fixture: the share of its light that is left."""
    said = label.tilt.strip("\"' \x1a<>").upper()
    if said == "NONE":
        return 1.0
    if said != "INCLUDE":
        reason = f"TILT={quoted(label.tilt)[1:-1]} names another file; write the factors here after TILT=INCLUDE"
        raise PhotometryFileError(f"{reason}, or TILT=NONE for LEDs", label.tilt_line)
    numbers.count("the lamp-to-luminaire geometry", 1, 3)
    n = numbers.count("the number of tilt angles", 1, MOST_TILT_ANGLES)
    angles = numbers.rising(n, "tilt angles", -180, 360)
    factors = numbers.many(n, "tilt factors")
    if (factors < 0).any() or (factors > 100).any():
        raise PhotometryFileError("tilt factors must lie between 0 and 100", numbers.line)
    level = float(np.interp(0.0, angles, factors))
    if not level > 0:
        raise PhotometryFileError("the tilt factor of a level lamp is 0: no light", numbers.line)
    notes.append(
        f"its tilt factors are for lamps that dim when tilted; the factor of a level fixture, {level:g}, is used"
    )
    return level


def _positive(numbers: Numbers, what: str) -> float:
    value = numbers.one(what)
    if not value > 0:
        raise PhotometryFileError(f"{what} must be more than 0 (got {value:g})", numbers.line)
    return value


def _refuse_other_types(numbers: Numbers) -> None:
    kind = numbers.count("the photometric type", 1, 3)
    if kind != 1:
        letter = {2: "B", 3: "A"}[kind]
        reason = f"type {letter} photometry ({kind}) has another axis; only type C (1) can be used"
        raise PhotometryFileError(f"{reason}: ask the maker for type C", numbers.line)


def _second_factor(numbers: Numbers, year: int, notes: list[str]) -> float:
    """The ballast-lamp photometric factor of 1986 and 1991; later it is reserved for other uses and scales nothing."""
    value = numbers.one("the second factor (ballast-lamp or future use)")
    if year >= 1995:
        if abs(value - 1) > 0.2:
            notes.append(f"the number reserved for future use is {value:g}; it is ignored")
        return 1.0
    if not value > 0:
        raise PhotometryFileError(f"the ballast-lamp factor must be more than 0 (got {value:g})", numbers.line)
    return value


def _vertical(numbers: Numbers, count: int) -> FloatArray:
    angles = numbers.rising(count, "vertical angles", -1e-9, 180)
    return np.maximum(angles, 0.0)


def _opening(numbers: Numbers, year: int, notes: list[str]) -> Opening:
    """The opening as a flat face seen from below; negative sizes are diameters (LM-63-02 table 1; 1991 5.11)."""
    units = numbers.count("the units of the opening (1 feet, 2 metres)", 1, 2)
    width, length, height = numbers.many(3, "sizes of the opening") * (FOOT_M if units == 1 else 1.0)
    line = numbers.line
    across, along, up = abs(width), abs(length), abs(height)
    negative = (width < 0) + (length < 0)
    shape = OpeningShape.RECTANGULAR
    if negative and min(width, length) < 0 and max(width, length) <= 0:
        shape = OpeningShape.ROUND
        across, along = across or along, along or across
    elif negative and not (year >= 2002 and height < 0):
        shape = OpeningShape.ROUND
    elif not negative and height < 0 and (across == 0) != (along == 0):
        across, along = across or up, along or up  # a cylinder lying level, 1991
    if up > 0 or height < 0:
        notes.append("the opening has luminous sides; all light is assumed to start on its lower face")
    return checked_opening(shape, along, across, up, line)


def _stated_lumens(keywords: tuple[tuple[str, str], ...]) -> float | None:
    """Lumens of the whole fixture where a keyword says them (no standard keyword does)."""
    for key, text in keywords:
        match = re.match(r"\d{1,7}(?:\.\d{1,6})?(?=$|\s|lm)", text)
        if match and _LUMENS_KEYWORD.search(key):
            return float(match[0]) or None
    return None
