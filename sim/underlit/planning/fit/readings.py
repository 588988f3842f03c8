"""Meter readings from a csv file: read and checked all at once, every problem with its line and column.

Columns, in any order (only `value` and a place are needed): `name` of a reading spot of the scene, or `x`, `y` and `z`
or `above_substrate`; `value` in umol/m2/s; `medium` (air or water); `immersion_factor` and `corrected` (yes where the
underwater correction is in the value already); `lid` (on or off), `dimming` and `above_rim` (height of the fixtures)
where they were not as the scene says. A reading in the open, away from the tank, has in place of its place `under_light`,
how far below the middle of the light the head was held, and `light`, its name, where the scene has several. Lengths carry
their unit in the cell ("17.5 in") or in the head of the column ("x [in]"). Rows without a value and lines that begin with
# are passed over.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

import numpy as np

from underlit.scene.model import Scene
from underlit.scene.targets import SPOT_ABOVE_SUBSTRATE_M, Spot
from underlit.text.problem import Problem, shown
from underlit.text.suggest import did_you_mean
from underlit.units import QuantityError, parse_flux, parse_length

T = TypeVar("T")

COLUMNS = (
    "name", "x", "y", "z", "above_substrate", "value", "medium", "immersion_factor", "corrected", "lid", "dimming",
    "above_rim", "under_light", "light",
)  # fmt: skip
PASSED_OVER = ("note", "predicted", "number")
"""Columns of the reading sheet that say nothing to the fit."""
LENGTHS = ("x", "y", "z", "above_substrate", "above_rim", "under_light")
OPEN_AIR_M = (0.05, 2.0)
"""How far below a light a head is held in the open: nearer, single LEDs show; farther, the room does."""
IMMERSION_FACTORS = (1.0, 1.6)
"""A flat diffuser's lies between 1.1 and 1.35 (common practice, no source); beyond these it is a slip of the pen."""
MOST_PPFD = 5000.0
SURFACE_SLACK_M = 0.01
"""A head this near to the water line may be either in air or under water."""
_HEADER = re.compile(r"\s*([A-Za-z_ ]+?)\s*(?:[\[(]\s*([^\])]*?)\s*[\])])?\s*")


class LidState(StrEnum):
    """Whether the lid lay on the tank."""

    ON = "on"
    OFF = "off"


class Medium(StrEnum):
    """What the meter's head was in."""

    AIR = "air"
    WATER = "water"


class Correction(StrEnum):
    """Where the underwater correction of a reading is."""

    NOT_NEEDED = "read in air"
    IN_VALUE = "in the value"
    MADE_HERE = "done here with the immersion factor"
    TAKEN_AS_IN_VALUE = "not given; assumed to be in the value"


@dataclass(frozen=True)
class Setting:
    """How the tank was set up for a reading: the lid; height of all fixtures over the rim [m], None as in the scene.

    under: the fixture in whose light alone the head was held, in the open, away from the tank; empty for a reading in the
    tank.
    """

    lid: LidState
    above_rim: float | None = None
    under: str = ""


@dataclass(frozen=True)
class Reading:
    """One reading. at: x, y, z of the head's face [m]; ppfd: what the meter says once corrected for water [umol/m2/s].

    line: in its file, 0 for one made in code; dimming: fraction of full power, None as in the scene.
    """

    name: str
    at: tuple[float, float, float]
    ppfd: float
    setting: Setting
    medium: Medium = Medium.WATER
    dimming: float | None = None
    line: int = 0
    correction: Correction = Correction.IN_VALUE


class ReadingsError(ValueError):
    """What is wrong with a file of readings, one problem a line."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        super().__init__("\n".join(str(p) for p in problems))


def read_readings(path: str | Path, scene: Scene) -> list[Reading]:
    """The readings of a csv file taken in the tank of `scene`. Raises ReadingsError with all problems."""
    file = Path(path)
    try:
        text = file.read_text("utf-8-sig")
    except OSError as error:
        raise ReadingsError([Problem(f"cannot be read: {error.strerror or error}", (), str(file))]) from None
    except UnicodeDecodeError:
        raise ReadingsError([Problem("is not a text in UTF-8", (), str(file), 1)]) from None
    table = _Table(str(file), scene)
    readings = table.read(text)
    if table.problems:
        raise ReadingsError(table.problems)
    if not readings:
        raise ReadingsError([Problem("holds no reading: no row has a value", ("value",), str(file), 1)])
    return readings


def made_reading(
    scene: Scene, name: str, at: tuple[float, float, float], ppfd: float, *, lid: LidState | None = None,
    above_rim: float | None = None, dimming: float | None = None,
) -> Reading:  # fmt: skip
    """A reading in code, of a meter whose value is already corrected for water. Metres, umol/m2/s."""
    state = lid or (LidState.OFF if scene.lid is None else LidState.ON)
    medium = Medium.WATER if at[2] < scene.water_level_m else Medium.AIR
    return Reading(name, at, ppfd, Setting(state, above_rim), medium, dimming)


OPEN_RIM_M = 1.0
"""Height over its tank's rim at which a light is traced for readings in the open: what the tank sends back does not count on a
head that faces up."""


def open_reading(
    scene: Scene, fixture: str, below: float, ppfd: float, *, name: str = "in the open", dimming: float | None = None,
    line: int = 0,
) -> Reading:  # fmt: skip
    """A reading in air, `below` the middle of a light of the tank [m], away from the tank, with no other light on."""
    setting, at = Setting(LidState.OFF, under=fixture), open_place(scene, fixture, below)
    return Reading(name, at, ppfd, setting, Medium.AIR, dimming, line, Correction.NOT_NEEDED)


def open_place(scene: Scene, fixture: str, below: float) -> tuple[float, float, float]:
    """Where the model has the head of a reading in the open: under the light, which is traced high over its tank [m]."""
    number = scene.light_number
    light = next(f for f in scene.tank_scenes[number].fixtures if f.name == fixture)
    x, y, _ = scene.tank_scenes[number].fixture_centre_m(light)
    dx, dy, dz = scene.rack[number - 1].offset_m if number else (0.0, 0.0, 0.0)
    rim = dz + scene.tank_scenes[number].tank.inside_m[2]
    return x + dx, y + dy, rim + OPEN_RIM_M - below


def split_rows(text: str) -> list[tuple[int, list[str]]]:
    """(line, cells) of each row that says anything; commas part the cells, or semicolons where the first row has
    them.
    """
    lines = text.splitlines()
    first = next((line for line in lines if line.strip() and not line.lstrip().startswith("#")), "")
    delimiter = ";" if ";" in first else "," if "," in first else "\t"
    rows = []
    for number, line in enumerate(lines, 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        cells = next(csv.reader(io.StringIO(line), delimiter=delimiter, skipinitialspace=True), [])
        if any(cell.strip() for cell in cells):
            rows.append((number, [cell.strip() for cell in cells]))
    return rows


class _Table:
    """A file of readings on its way to readings; gathers what is wrong with it."""

    def __init__(self, file: str, scene: Scene) -> None:
        self.file, self.scene = file, scene
        self.problems: list[Problem] = []
        self.line = 0
        self.cells: dict[str, str] = {}
        self.units: dict[str, str] = {}

    def wrong(self, column: str, what: str, got: str | None = None) -> None:
        """Note a problem of a column in the line at hand."""
        message = what if got is None else f"{what} (got {shown(got)})"
        self.problems.append(Problem(message, (column,) if column else (), self.file, self.line))

    def read(self, text: str) -> list[Reading]:
        """All readings; what is wrong goes to `problems`."""
        rows = split_rows(text)
        if not rows:
            self.line = 1
            self.wrong("", "is empty; the first row must name the columns, such as name, value")
            return []
        columns = self._columns(*rows[0])
        if self.problems:
            return []
        readings = []
        for line, cells in rows[1:]:
            self.line = line
            if len(cells) > len(columns) and any(cells[len(columns) :]):
                self.wrong(
                    "", f"has {len(cells)} cells under {len(columns)} columns; put a text with a comma in quotes"
                )
                continue
            self.cells = {c: v for c, v in zip(columns, cells, strict=False) if v}
            if "value" in self.cells:
                before = len(self.problems)
                made = self._reading()
                if made is not None and len(self.problems) == before:
                    readings.append(made)
        return readings

    def _columns(self, line: int, cells: list[str]) -> list[str]:
        self.line = line
        columns = []
        for cell in cells:
            match = _HEADER.fullmatch(cell)
            name = re.sub(r"\s+", "_", match[1].strip().lower()) if match else cell
            known = name in COLUMNS or name in PASSED_OVER
            if not known and cell:
                self.wrong("", f"there is no such column{did_you_mean(name, COLUMNS)}", cell)
            elif name in columns and cell:
                self.wrong(name, "the column appears twice")
            elif match and match[2] and name == "value":
                self._tried(name, lambda text: parse_flux(text, "ppfd"), f"1 {match[2]}")
            elif match and match[2] and name in LENGTHS:
                self.units[name] = match[2]
                self._tried(name, parse_length, f"1 {match[2]}")
            columns.append(name)
        if "value" not in columns:
            self.wrong("value", "the column is missing; it holds what the meter showed")
        if not {"name", "under_light"} & set(columns) and not {"x", "y"} <= set(columns):
            self.wrong(
                "name", "location missing: give name (a spot of the scene), or x and y; in the open, under_light"
            )
        return columns

    def _tried(self, column: str, read: Callable[[str], T], cell: str) -> T | None:
        """What `read` makes of a cell, None after noting why it cannot."""
        try:
            return read(cell)
        except (QuantityError, ValueError) as problem:
            self.wrong(column, str(problem), cell)
            return None

    def _length(self, column: str) -> float | None:
        cell = self.cells.get(column)
        if cell is None:
            return None
        if column in self.units and re.fullmatch(r"[-+0-9.,eE]+", cell):
            cell = f"{cell.replace(',', '.')} {self.units[column]}"
        return self._tried(column, parse_length, cell)

    def _number(self, column: str, low: float, high: float, what: str) -> float | None:
        cell = self.cells.get(column)
        if cell is None:
            return None
        try:
            value = float(cell.replace(",", "."))
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            self.wrong(column, f"must be {what}", cell)
            return None
        return value

    def _word(self, column: str, words: tuple[str, ...]) -> str | None:
        cell = self.cells.get(column)
        if cell is not None and cell.lower() not in words:
            self.wrong(column, f"must be {' or '.join(words)}", cell)
            return None
        return None if cell is None else cell.lower()

    # -- one reading ------------------------------------------------------------------------------------------
    def _reading(self) -> Reading | None:
        if "under_light" in self.cells:
            return self._in_the_open()
        if "light" in self.cells:
            self.wrong("light", "is for a reading in the open: give under_light as well", self.cells["light"])
        at = self._place()
        shown_value = self._value()
        setting, dimming = self._setting(), self._dimming()
        if at is None or shown_value is None or setting is None:
            return None
        medium = self._medium(at[2])
        factor, correction = self._immersion(medium)
        name = self.cells.get("name") or f"line {self.line}"
        return Reading(name, at, shown_value * factor, setting, medium, dimming, self.line, correction)

    def _in_the_open(self) -> Reading | None:
        """A reading in air below a light, away from the tank."""
        given = next((c for c in ("x", "y", "z", "above_substrate", "above_rim") if c in self.cells), None)
        if given is not None:
            self.wrong(given, "a reading in the open (under_light) has no place in the tank: leave it empty")
        if self._word("medium", tuple(Medium)) == Medium.WATER:
            self.wrong("medium", "a reading in the open (under_light) is in air", "water")
        if self._word("lid", tuple(LidState)) == LidState.ON:
            self.wrong("lid", "a reading in the open (under_light) is without a lid", "on")
        below, fixture = self._length("under_light"), self._light()
        value, dimming = self._value(), self._dimming()
        if below is not None and not OPEN_AIR_M[0] <= below <= OPEN_AIR_M[1]:
            span = f"{100 * OPEN_AIR_M[0]:.0f} to {OPEN_AIR_M[1]:.0f} m".replace(" to ", " cm to ")
            self.wrong("under_light", f"the head must be held {span} below the light", self.cells["under_light"])
        if below is None or fixture is None or value is None:
            return None
        return open_reading(
            self.scene,
            fixture,
            below,
            value,
            name=self.cells.get("name") or f"line {self.line}",
            dimming=dimming,
            line=self.line,
        )

    def _light(self) -> str | None:
        known = [fixture.name for fixture in self.scene.tank_scenes[self.scene.light_number].fixtures]
        name = self.cells.get("light", known[0] if len(known) == 1 else None)
        if name in known:
            return name
        said = "is missing: the scene has several lights" if name is None else "the scene has no such light"
        self.wrong("light", f"{said}; name one of {', '.join(known)}", name)
        return None

    def _value(self) -> float | None:
        cell = self.cells["value"]
        if re.fullmatch(r"[-+0-9.,eE]+", cell):
            cell = f"{cell.replace(',', '.')} umol/m2/s"
        value = self._tried("value", lambda text: parse_flux(text, "ppfd"), cell)
        if value is not None and not 0 < value <= MOST_PPFD:
            said = f"must be above 0 and at most {MOST_PPFD:g} umol/m2/s; leave it empty where nothing was read"
            self.wrong("value", said, self.cells["value"])
            return None
        return value

    def _place(self) -> tuple[float, float, float] | None:
        scene, before = self.scene, len(self.problems)
        x, y, z, over = (self._length(column) for column in ("x", "y", "z", "above_substrate"))
        if len(self.problems) > before:
            return None
        if z is not None and over is not None:
            self.wrong("z", "the height is given twice (z, above_substrate): remove one")
            return None
        if x is None and y is None:
            spot = self._spot()
            if spot is None:
                return None
            x, y, high = scene.spot_centre_m(spot)
            z = high if z is None and over is None else z
        if x is None or y is None:
            self.wrong("x" if x is None else "y", "is missing: a place needs x and y")
            return None
        if not self._in_plan(x, y):
            return None
        bed = float(scene.bed_heights_m(np.array(x), np.array(y)))
        if z is None:
            z = bed + (SPOT_ABOVE_SUBSTRATE_M if over is None else over)
        top = scene.tank.inside_m[2]
        if not bed <= z <= top:
            where = f"between the substrate ({100 * bed:.1f} cm here) and the rim ({100 * top:.1f} cm)"
            self.wrong(
                "z" if "z" in self.cells else "above_substrate", f"the head must lie {where}", f"{100 * z:.1f} cm"
            )
            return None
        return x, y, z

    def _in_plan(self, x: float, y: float) -> bool:
        from shapely import contains_xy

        if contains_xy(self.scene.tank.inside_outline.polygon, x, y):
            return True
        length, depth, _ = self.scene.tank.inside_m
        for column, value, size in (("x", x, length), ("y", y, depth)):
            if not 0 < value < size:
                self.wrong(column, f"must lie inside the tank, 0 to {100 * size:.1f} cm", f"{100 * value:.1f} cm")
                return False
        self.wrong("x", "the place lies outside the panes of this tank", f"{100 * x:.1f}, {100 * y:.1f} cm")
        return False

    def _spot(self) -> Spot | None:
        name = self.cells.get("name")
        if name is None:
            self.wrong("name", "location missing: give the name of a spot of the scene, or x and y")
            return None
        found = next((spot for spot in self.scene.spots if spot.name.lower() == name.lower()), None)
        if found is None:
            known = [spot.name for spot in self.scene.spots]
            said = (
                "the scene has no such spot" + did_you_mean(name, known)
                if known
                else "the scene has no spots; give x and y"
            )
            self.wrong("name", said, name)
        return found

    def _setting(self) -> Setting | None:
        word = self._word("lid", tuple(LidState))
        has_lid = self.scene.lid is not None
        if word == LidState.ON and not has_lid:
            self.wrong("lid", "the scene has no lid; add one to the scene", word)
            return None
        over = self._length("above_rim")
        if over is not None and over < 0:
            self.wrong("above_rim", "the height over the rim must not be negative", self.cells["above_rim"])
            return None
        if over is not None and over < self.scene.light_rim_m:
            least = (
                f"the light belongs to a tank whose rim is {100 * self.scene.light_rim_m:.1f} cm higher than this one's"
            )
            self.wrong("above_rim", least, self.cells["above_rim"])
            return None
        state = LidState(word) if word else LidState.ON if has_lid else LidState.OFF
        return Setting(state, over)

    def _dimming(self) -> float | None:
        cell = self.cells.get("dimming")
        if cell is None:
            return None
        if cell.endswith("%"):
            self.cells["dimming"] = cell[:-1].strip()
            share = self._number("dimming", 1e-3, 100, "above 0 and at most 100 %")
            return None if share is None else share / 100
        return self._number("dimming", 1e-5, 1, "a share of full power, 0.5 or 50 %")

    def _medium(self, z: float) -> Medium:
        word, level = self._word("medium", tuple(Medium)), self.scene.water_level_m
        found = Medium.WATER if z < level else Medium.AIR
        if word is None or abs(z - level) <= SURFACE_SLACK_M:
            return Medium(word) if word else found
        if word != found:
            side = "under" if found is Medium.WATER else "over"
            self.wrong("medium", f"its place lies {100 * abs(z - level):.1f} cm {side} the water surface", word)
        return found

    def _immersion(self, medium: Medium) -> tuple[float, Correction]:
        """By what the value is to be multiplied, and why."""
        factor = self._number("immersion_factor", *IMMERSION_FACTORS, "a factor such as 1.2")
        word = self._word("corrected", ("yes", "no"))
        if medium is Medium.AIR:
            return 1.0, Correction.NOT_NEEDED
        if word is None and factor is not None:
            self.wrong("corrected", "give yes if the value includes the underwater correction, or no if it does not")
        if word == "no" and factor is None and "immersion_factor" not in self.cells:
            self.wrong(
                "immersion_factor", "is missing: the meter's handbook states it; most factors lie between 1.1 and 1.35"
            )
        if word == "no" and factor is not None:
            return factor, Correction.MADE_HERE
        return 1.0, Correction.IN_VALUE if word == "yes" else Correction.TAKEN_AS_IN_VALUE
