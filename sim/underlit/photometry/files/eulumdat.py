"""EULUMDAT (A. Stockmar, Licht '90, pp. 641-644): the European text format of measured fixtures, with one item on each line.

Sources: the item list as published (Stockmar 1990 and EULUMDAT/2, CIBSE National Lighting Conference 1998, pp. 353-362).
C-planes follow the (C, gamma) system of CIE 121 and EN 13032-1: C0 lies across a long lamp and C90 along it, counted
counter-clockwise seen from above; a road fixture on its arm has C90 along the arm, where LM-63 has 0. So azimuth 0 of
`Photometry` is C90, C180 points to the back and C0 to the front. The format itself does not say where "front" is, and
makers differ: a fixture whose light falls the wrong way is turned in the scene.
"""

from __future__ import annotations

import re

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
from underlit.photometry.files.text import MAX_VALUES, Numbers, PhotometryFileError, number, quoted, whole
from underlit.spectra.grid import FloatArray

MOST_PLANES = 3600
MOST_ANGLES = 3601
MOST_LAMP_SETS = 100
_SET_LINES = 6
_DIRECT_RATIOS = 10
_LAYOUTS = ((0, 1), (1, 1), (2, 1), (3, 1), (0, 2), (1, 2))
_STARTS_AS_NUMBER = re.compile(r"\s*[+-]?\d", re.ASCII)
_SYMMETRIES = ("none", "axial", "C0-C180", "C90-C270", "both planes")


class _Head:
    """Items before the numbers, one a line, counted from 1 as in the published list.

    Blank lines before the first item or between all of them are no items: the layout is the first in which items 2 to 7
    are numbers.
    """

    def __init__(self, lines: list[str]) -> None:
        self.lines = lines
        self.first, self.stride = next((layout for layout in _LAYOUTS if self._fits(*layout)), (0, 1))

    def _fits(self, first: int, stride: int) -> bool:
        head = self.lines[first + stride : first + 7 * stride : stride]
        blank = [*self.lines[:first], *(self.lines[first + 1 : first + 13 : 2] if stride == 2 else [])]
        return len(head) == 6 and not any(map(str.strip, blank)) and all(_STARTS_AS_NUMBER.match(line) for line in head)

    def line(self, item: int) -> int:
        """Line of the file on which an item stands, counted from 1."""
        return self.first + (item - 1) * self.stride + 1

    def text(self, item: int) -> str:
        """An item's text, empty where the file ended before."""
        return self.lines[self.line(item) - 1].strip() if self.line(item) <= len(self.lines) else ""

    def value(self, item: int, what: str, *, empty: float | None = None) -> float:
        """The number an item is; ``empty`` stands for an empty line where that may be."""
        text, line = self.text(item).strip("\x1a"), self.line(item)
        if line > len(self.lines) or (not text and empty is None):
            raise PhotometryFileError(f"{what} is missing", min(line, len(self.lines)))
        if not text:
            return float(empty or 0.0)
        return number(text.split()[0], what, line, decimal_comma=True)

    def count(self, item: int, what: str, low: int, high: int) -> int:
        """The whole number an item is."""
        return whole(self.value(item, what), what, self.line(item), low, high)


def parse_eulumdat(lines: list[str]) -> Photometry:
    """A fixture from the lines of a EULUMDAT file. Raises PhotometryFileError with line and reason."""
    head = _Head(lines)
    symmetry = head.count(3, "the symmetry (Isym)", 0, 4)
    n_planes = head.count(4, "the number of C-planes", 1, MOST_PLANES)
    n_angles = head.count(6, "the number of angles in a C-plane", 2, MOST_ANGLES)
    if n_planes * n_angles > MAX_VALUES:
        raise PhotometryFileError(f"{n_planes} x {n_angles} intensities: at most {MAX_VALUES}", head.line(6))
    used = _used_planes(symmetry, n_planes, head.line(4))
    notes: list[str] = []
    opening = _opening(head, notes)
    lumens, watts, absolute, next_item = _lamps(head, notes)
    numbers = Numbers(lines, head.line(next_item) - 1, decimal_comma=True)
    numbers.many(_DIRECT_RATIOS, "direct ratios")
    planes = numbers.rising(n_planes, "C-plane angles", 0, 360)
    planes_line = numbers.line
    angles = numbers.rising(n_angles, "angles in a C-plane", 0, 180)
    raw = numbers.many(len(used) * n_angles, "intensities").reshape(len(used), n_angles)
    factor = head.value(24, "the conversion factor for intensities", empty=1.0) or 1.0
    if not factor > 0:
        raise PhotometryFileError(f"the conversion factor must be more than 0 (got {factor:g})", head.line(24))
    values, clipped = checked_intensity(raw * (factor * lumens / 1000.0), numbers.line)
    azimuth, intensity = _turned(planes, used, values, symmetry, planes_line)
    ratio = head.value(23, "the light output ratio", empty=0.0)
    stated = lumens * (ratio / 100 if ratio > 0 else 1.0) if ratio > 0 or absolute else None
    tilt = head.value(25, "the tilt at measurement", empty=0.0)
    if tilt:
        notes.append(f"measured with the fixture tilted by {tilt:g} deg; the intensities are used as they are")
    found = Photometry(
        FileFormat.EULUMDAT, "1", np.radians(azimuth), np.radians(angles), intensity, stated,
        None if absolute else lumens, watts, opening, _keywords(head), (*notes, *clipped),
    )  # fmt: skip
    return checked_light(found)


def _used_planes(symmetry: int, count: int, line: int) -> list[int]:
    """Which of the C-planes stand in the file, in its order, counted from 0."""
    parts = {2: 2, 3: 4, 4: 4}.get(symmetry, 1)
    if count % parts or (parts > 1 and count < 4):
        kind = _SYMMETRIES[symmetry]
        raise PhotometryFileError(
            f"symmetry {symmetry} ({kind}) needs planes in multiples of {parts} (got {count})", line
        )
    if symmetry == 0:
        return list(range(count))
    if symmetry == 1:
        return [0]
    if symmetry == 2:
        return list(range(count // 2 + 1))
    if symmetry == 3:
        return [(3 * count // 4 + k) % count for k in range(count // 2 + 1)]
    return list(range(count // 4 + 1))


def _turned(
    planes: FloatArray, used: list[int], values: FloatArray, symmetry: int, line: int
) -> tuple[FloatArray, FloatArray]:
    """The planes of the file over a full turn, azimuth [deg] from the fixture's length: C - 90."""
    degrees = planes[used]
    if symmetry == 3:
        degrees = np.where(degrees > 180, degrees - 360, degrees)
    span = {1: (0.0, 0.0), 2: (0.0, 180.0), 3: (-90.0, 90.0), 4: (0.0, 90.0)}.get(symmetry)
    if symmetry > 1 and span and (abs(degrees[0] - span[0]) > 0.01 or abs(degrees[-1] - span[1]) > 0.01):
        said = f"C{degrees[0] % 360:g} to C{degrees[-1]:g}"
        wanted = f"C{span[0] % 360:g} to C{span[1]:g}"
        raise PhotometryFileError(f"symmetry {symmetry} needs planes from {wanted} (got {said})", line)
    azimuth, intensity, _ = full_turn(degrees, values, line)
    return azimuth - 90.0, intensity


def _opening(head: _Head, notes: list[str]) -> Opening:
    """Luminous area (items 16 to 21) [m], or the whole fixture's (13 to 15) where no area is given; width 0 is round."""
    length = head.value(16, "the length of the luminous area", empty=0.0)
    width = head.value(17, "the width of the luminous area", empty=0.0)
    sides = [head.value(side, "the height of the luminous area", empty=0.0) for side in range(18, 22)]
    item = 16
    if length == 0 and width == 0:
        item = 13
        length = head.value(13, "the length of the luminaire", empty=0.0)
        width = head.value(14, "the width of the luminaire", empty=0.0)
        if length:
            notes.append("no luminous area is given: the whole underside is assumed to give light")
    if min(length, width, *sides) < 0:
        raise PhotometryFileError("sizes must not be negative", head.line(item))
    if max(sides) > 0:
        notes.append("the opening has luminous sides; all light is assumed to start on its lower face")
    shape = OpeningShape.ROUND if width == 0 else OpeningShape.RECTANGULAR
    return checked_opening(shape, length / 1000, (width or length) / 1000, max(sides) / 1000, head.line(item))


def _lamps(head: _Head, notes: list[str]) -> tuple[float, float | None, bool, int]:
    """Lumens, watts, whether they are the fixture's own (a negative number of lamps), and the item after the lamps."""
    sets = head.count(26, "the number of lamp sets", 1, MOST_LAMP_SETS)
    lamps = head.value(27, "the number of lamps", empty=1.0)
    lumens = head.value(29, "the lumens of the lamps")
    if not lumens > 0:
        raise PhotometryFileError(
            f"the lumens of the lamps must be more than 0 (got {quoted(head.text(29))})", head.line(29)
        )
    watts = head.value(32, "the watts", empty=0.0)
    if sets > 1:
        notes.append(f"it lists {sets} sets of lamps; the first is used")
    return lumens, watts if watts > 0 else None, lamps < 0, 27 + _SET_LINES * sets


def _keywords(head: _Head) -> tuple[tuple[str, str], ...]:
    items = {1: "COMPANY", 8: "TEST", 9: "LUMINAIRE", 10: "LUMCAT", 12: "DATE", 28: "LAMP", 30: "COLOUR", 31: "CRI"}
    return tuple((name, head.text(item)) for item, name in items.items() if head.text(item))
