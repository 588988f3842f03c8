"""Read and show quantities. A length is never a bare number, because 48 could be inches or centimetres.

Exact factors: inch and foot by the international yard and pound agreement of 1959 (25.4 mm); US liquid gallon 231 cubic
inches.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

_NUMBER_AND_UNIT = re.compile(r"\s*([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*")
_WITH_COMMA = re.compile(r"\s*([+-]?\d+),(\d+)(\D.*)?")
_PER_CENT = re.compile(r"\s*([+-]?(?:\d+(?:\.\d*)?|\.\d+))\s*%\s*")
LEAST_PER_CENT = 2
"""A share given as this or more was meant in per cent."""

LENGTH_UNITS_M = {
    "nm": 1e-9, "um": 1e-6, "mm": 1e-3, "cm": 1e-2, "m": 1.0,
    "in": 0.0254, "inch": 0.0254, "inches": 0.0254, '"': 0.0254, "″": 0.0254,
    "ft": 0.3048, "foot": 0.3048, "feet": 0.3048,
}  # fmt: skip
ANGLE_UNITS_RAD = {"deg": math.pi / 180, "°": math.pi / 180, "rad": 1.0}
US_GALLON_M3 = 231 * 0.0254**3
DURATION_UNITS_H = {"h": 1.0, "hours": 1.0, "hour": 1.0, "min": 1 / 60}
AGE_UNITS_WEEKS = {"weeks": 1.0, "week": 1.0, "days": 1 / 7, "day": 1 / 7}
# Each flux key of a scene allows exactly one unit; "klm" is only shorter to write.
FLUX_UNITS = {
    "ppf": {"umol/s": 1.0, "µmol/s": 1.0},
    "ppfd": {"umol/m2/s": 1.0, "µmol/m2/s": 1.0, "µmol/m²/s": 1.0},
    "lumens": {"lm": 1.0, "klm": 1e3},
    "power": {"W": 1.0, "w": 1.0, "watts": 1.0, "kW": 1e3},
    "efficacy": {"umol/J": 1.0, "µmol/J": 1.0},
}


class QuantityError(ValueError):
    """A value cannot be read as the quantity that is needed; the text says what would be right."""


class Length(float):
    """A length in metres made in code, where the unit is clear from the name: ``Length(0.9)``."""


def parse_quantity(value: object, units: Mapping[str, float], what: str, example: str) -> float:
    """Read ``value``, a text of a number and one of ``units``, in the SI unit that ``units`` scales to.

    Raises QuantityError when it is not a text, has no unit, an unknown unit, or is not finite.
    """
    if isinstance(value, (bool, int, float)):
        raise QuantityError(f"{what} needs its unit, such as {example}")
    if isinstance(value, str):
        refuse_comma(value)
    match = _NUMBER_AND_UNIT.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        raise QuantityError(f"{what} must be a number with its unit, such as {example}")
    number, unit = float(match[1]), match[2]
    if unit not in units:
        known = ", ".join(units)
        said = f"unknown unit {unit!r}" if unit else "no unit"
        raise QuantityError(f"{said}; {what} is written like {example} (units: {known})")
    if not math.isfinite(number * units[unit]):
        raise QuantityError(f"{what} must be finite")
    return number * units[unit]


def refuse_comma(text: str) -> None:
    """Raises QuantityError with what to write where the number in a text has a comma."""
    match = _WITH_COMMA.fullmatch(text)
    if match is None:
        return
    whole, part, unit = match.groups("")
    ways = [f'"{whole}.{part}{unit}"', *([f'"{whole}{part}{unit}"'] if len(part) == 3 else [])]
    raise QuantityError(f"a number has a point, not a comma: write {' or '.join(ways)}")


def parse_fraction(value: object) -> object:
    """A share from 0 to 1: per cent in a text, such as ``45 %``, as that share; other values as they are.

    Raises QuantityError for other texts, and for a number that was meant in per cent.
    """
    if isinstance(value, str):
        match = _PER_CENT.fullmatch(value)
        if match is None:
            refuse_comma(value)
            raise QuantityError('must be a number from 0 to 1, or per cent in quotes, such as "45 %"')
        return float(match[1]) / 100
    if isinstance(value, (int, float)) and LEAST_PER_CENT <= value <= 100:
        raise QuantityError(f'must be at most 1: write {value / 100:g} or "{value:g} %"')
    return value


def parse_length(value: object) -> float:
    """Metres from a text such as ``36 in``, ``91.4 cm``, ``12 mm``, ``1 m``, ``2 ft``, or from a ``Length``."""
    if isinstance(value, Length):
        if not math.isfinite(value):
            raise QuantityError("a length must be finite")
        return float(value)
    return parse_quantity(value, LENGTH_UNITS_M, "a length", '"36 in" or "91.4 cm"')


def parse_angle(value: object) -> float:
    """Radians from a text such as ``15 deg``."""
    return parse_quantity(value, ANGLE_UNITS_RAD, "an angle", '"15 deg"')


def parse_duration_hours(value: object) -> float:
    """Hours from a text such as ``8 h`` or ``90 min``."""
    return parse_quantity(value, DURATION_UNITS_H, "a time", '"8 h"')


def parse_age_weeks(value: object) -> float:
    """Weeks from a text such as ``6 weeks`` or ``10 days``."""
    return parse_quantity(value, AGE_UNITS_WEEKS, "a time of growth", '"6 weeks"')


def parse_flux(value: object, kind: str) -> float:
    """The number in the one unit of ``kind``: ppf umol/s, ppfd umol/m2/s, lumens lm, power W, efficacy umol/J."""
    units = FLUX_UNITS[kind]
    return parse_quantity(value, units, {"power": "a wattage"}.get(kind, kind), f'"60 {next(iter(units))}"')


def format_length(metres: float) -> str:
    """Centimetres and inches for people, such as ``91.4 cm (36 in)``; millimetres below 2 cm."""
    inches = f"{round(metres / 0.0254, 2):g} in"
    if abs(metres) < 0.02:
        return f"{metres * 1e3:.3g} mm ({inches})"
    return f"{metres * 100:.1f} cm ({inches})"


def format_volume(cubic_metres: float) -> str:
    """Litres and US gallons for people, such as ``284 l (75 gal)``."""
    return f"{cubic_metres * 1e3:.0f} l ({cubic_metres / US_GALLON_M3:.0f} gal)"
