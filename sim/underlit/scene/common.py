"""Building blocks of all scene models: quantities with units, fractions, and errors that name a key."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Annotated, Any, Self

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema
from pydantic_core import PydanticCustomError

from underlit.units import parse_age_weeks, parse_angle, parse_duration_hours, parse_flux, parse_length


class Part(BaseModel):
    """Base of everything a scene file may say: no unknown keys, finite numbers, not changed once read."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, validate_default=False)

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """A copy, changed; what the old one had reckoned from its values is reckoned anew."""
        copied = super().model_copy(update=update, deep=deep)
        if update:
            for name in set(copied.__dict__) - set(type(self).model_fields):
                del copied.__dict__[name]
        return copied


def wrong(message: str, key: str = "", got: object = None) -> PydanticCustomError:
    """An error of one model that belongs to its key ``key``; raise it from a validator."""
    return PydanticCustomError("scene", "{message}", {"message": message, "key": key, "got": got})


def _text(example: str) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "examples": [example]})


LengthM = Annotated[float, BeforeValidator(parse_length), _text("36 in")]
"""A length in metres, written with its unit."""
PositiveLengthM = Annotated[float, Field(gt=0), BeforeValidator(parse_length), _text("36 in")]
NonNegativeLengthM = Annotated[float, Field(ge=0), BeforeValidator(parse_length), _text("3 cm")]
AngleRad = Annotated[float, BeforeValidator(parse_angle), _text("15 deg")]
"""An angle in radians, written with its unit."""
Hours = Annotated[float, Field(ge=0, le=24), BeforeValidator(parse_duration_hours), _text("8 h")]
Weeks = Annotated[float, Field(ge=0, le=520), BeforeValidator(parse_age_weeks), _text("6 weeks")]
Point = tuple[LengthM, LengthM]
"""A place on the plan, [x, y]: from the left pane's inside, from the front pane's inside."""


def _flux(kind: str, example: str) -> Any:
    return Annotated[float, Field(gt=0), BeforeValidator(partial(parse_flux, kind=kind)), _text(example)]


Watts = _flux("power", "40 W")
Ppf = _flux("ppf", "90 umol/s")
Ppfd = _flux("ppfd", "60 umol/m2/s")
Lumens = _flux("lumens", "4200 lm")
Efficacy = _flux("efficacy", "2.4 umol/J")

Number = Annotated[float, Field(strict=True)]
PositiveNumber = Annotated[float, Field(strict=True, gt=0)]
NonNegativeNumber = Annotated[float, Field(strict=True, ge=0)]
Fraction = Annotated[float, Field(strict=True, ge=0, le=1)]
Count = Annotated[int, Field(strict=True, ge=1, le=10_000)]
Seed = Annotated[int, Field(strict=True, ge=0, lt=2**63)]


def one_line(value: str) -> str:
    """A text without line breaks and control characters, which would break tables or run in a terminal."""
    if not value.isprintable():
        raise wrong("must be one line of printable characters")
    return value


Name = Annotated[str, Field(strict=True, min_length=1, max_length=80), AfterValidator(one_line)]
OneLine = Annotated[str, Field(strict=True), AfterValidator(one_line)]
YesNo = Annotated[bool, Field(strict=True)]
FilePath = Annotated[Path, Field(description="a file, relative to the scene file")]


class ShortForm:
    """Lets a table be written as one text: ``"LED-B3"`` for ``{ illuminant = "LED-B3" }``."""

    def __init__(self, key: str, names: Callable[[], tuple[str, ...]]) -> None:
        self.key = key
        self.names = names

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        from pydantic_core import core_schema

        return core_schema.no_info_before_validator_function(self._expand, handler(source))

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        return {"anyOf": [{"type": "string", "enum": list(self.names())}, handler(schema)]}

    def _expand(self, value: object) -> object:
        return {self.key: value} if isinstance(value, str) else value


def exactly_one(part: BaseModel, keys: tuple[str, ...], what: str) -> None:
    """Raise unless exactly one of ``keys`` is stated; ``what`` names what they say."""
    stated = [key for key in keys if getattr(part, key) is not None]
    if len(stated) > 1:
        raise wrong(f"{what} is said twice, by {' and '.join(stated)}; keep one", stated[1])
    if not stated:
        raise wrong(f"{what} is missing: say one of {', '.join(keys)}")
