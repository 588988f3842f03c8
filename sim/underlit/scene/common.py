"""Building blocks of all scene models: quantities with units, fractions, errors that name a key, and what keys are to
each other.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import Annotated, Any, ClassVar, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    WithJsonSchema,
    model_validator,
)
from pydantic.fields import FieldInfo
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from underlit.units import parse_age_weeks, parse_angle, parse_duration_hours, parse_flux, parse_fraction, parse_length


class Role(StrEnum):
    """What a key says of its part; a field bears it in its annotation, and forms and writers ask `scene.keys` for it."""

    RUNS = "how bright a light runs, and when"
    HANGS = "where a light hangs and which way it is turned"
    SIZE = "size and shape, as bought"
    MATERIAL = "what a surface is made of"


class OneOf:
    """Ways to give one thing, each a key or several keys together. A scene uses only one, and one at least if required.

    A file that uses one of them replaces the others of its base and of the catalogue's entry.
    """

    def __init__(self, what: str, *ways: str | tuple[str, ...], required: bool = False) -> None:
        self.what = what
        self.ways = tuple((way,) if isinstance(way, str) else way for way in ways)
        self.required = required

    def check(self, stated: list[str]) -> None:
        """Raise unless the keys that a part states use one way."""
        used = [next(key for key in way if key in stated) for way in self.ways if not set(way).isdisjoint(stated)]
        if len(used) > 1:
            raise wrong(f"{self.what} is given twice ({', '.join(used)}): remove one", used[1])
        if self.required and not used:
            *others, last = (way[0] for way in self.ways)
            raise wrong(f"{self.what} is missing: give {', '.join(others)} or {last}")


class Part(BaseModel):
    """Base of everything a scene file may say: no unknown keys, finite numbers, not changed once read."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, validate_default=False)

    one_of: ClassVar[tuple[OneOf, ...]] = ()
    """What may be given in several ways."""
    together: ClassVar[tuple[tuple[str, str], ...]] = ()
    """Keys of which neither makes sense without the other."""
    displaces: ClassVar[Mapping[str, tuple[str, ...]]] = {}
    """Keys that, in a file, drop others of its base or of the catalogue's entry, which make no sense beside them."""
    renamed: ClassVar[Mapping[str, str]] = {}
    """Former names of keys, still read, and the names that they have now."""

    @classmethod
    def scene_fields(cls) -> dict[str, FieldInfo]:
        """The fields by the keys that a scene file has for them."""
        return {field.alias or name: field for name, field in cls.model_fields.items()}

    def stated(self) -> list[str]:
        """The keys that the scene gives a value, in the order of the model."""
        return [
            field.alias or name
            for name, field in type(self).model_fields.items()
            if name in self.model_fields_set and getattr(self, name) is not None and getattr(self, name) != ()
        ]

    @model_validator(mode="after")
    def _keys_agree(self) -> Self:
        stated = self.stated()
        for choice in self.one_of:
            choice.check(stated)
        for pair in self.together:
            given = [key for key in pair if key in stated]
            if len(given) == 1:
                (missing,) = set(pair) - set(given)
                about = self.scene_fields()[missing].description
                raise wrong(f"needs {missing} as well{f' ({about})' if about else ''}", given[0])
        return self

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """A copy, changed; what was computed from the old values is computed again."""
        copied = super().model_copy(update=update, deep=deep)
        if update:
            for name in set(copied.__dict__) - set(type(self).model_fields):
                del copied.__dict__[name]
        return copied


def wrong(message: str, key: str = "", got: object = None) -> PydanticCustomError:
    """An error of one model that belongs to its key ``key``; raise it from a validator."""
    return PydanticCustomError("scene", "{message}", {"message": message, "key": key, "got": got})


HAIR = 3e-4
"""Distance that keeps neighbouring things apart [m]: glass, lid, rim and fixtures touch nowhere."""


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


def _flux(kind: str) -> BeforeValidator:
    return BeforeValidator(partial(parse_flux, kind=kind))


Watts = Annotated[float, Field(gt=0), _flux("power"), _text("40 W")]
Ppf = Annotated[float, Field(gt=0), _flux("ppf"), _text("90 umol/s")]
Ppfd = Annotated[float, Field(gt=0), _flux("ppfd"), _text("60 umol/m2/s")]
Lumens = Annotated[float, Field(gt=0), _flux("lumens"), _text("4200 lm")]
Efficacy = Annotated[float, Field(gt=0), _flux("efficacy"), _text("2.4 umol/J")]

Number = Annotated[float, Field(strict=True)]
PositiveNumber = Annotated[float, Field(strict=True, gt=0)]
NonNegativeNumber = Annotated[float, Field(strict=True, ge=0)]
Fraction = Annotated[
    float,
    Field(strict=True, ge=0, le=1),
    BeforeValidator(parse_fraction),
    WithJsonSchema(
        {"anyOf": [{"type": "number", "minimum": 0, "maximum": 1}, {"type": "string", "examples": ["45 %"]}]}
    ),
]
"""A share from 0 to 1, or per cent in a text."""
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

    def __init__(self, key: str, names: Callable[[], tuple[str, ...]], number: str = "") -> None:
        self.key = key
        self.names = names
        self.number = number
        """The key of the table that holds the number, where one can be given instead."""

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_before_validator_function(self._expand, handler(source))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"anyOf": [{"type": "string", "enum": list(self.names())}, handler(schema)]}

    def _expand(self, value: object) -> object:
        if isinstance(value, (int, float)) and self.number:
            raise wrong(f"must be {', '.join(self.names())}, or a table: {{ {self.number} = {value} }}", got=value)
        return {self.key: value} if isinstance(value, str) else value
