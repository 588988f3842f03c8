"""What meter readings told about a scene: `underlit fit` writes it, and it counts as long as the scene says those values.

Errors are of u, a number without bounds: the logarithm of the value, or of its optical depth -log(value) where the value is
a share between 0 and 1 (dirt, growth, backing).
"""

from __future__ import annotations

import math
from datetime import date as Date
from enum import StrEnum
from typing import Literal, Self

import numpy as np
from pydantic import Field, model_validator

from underlit.scene.common import (
    Fraction,
    LengthM,
    Name,
    NonNegativeLengthM,
    OneLine,
    Part,
    PositiveNumber,
    Ppfd,
    wrong,
)

ROUNDED = 1e-3
"""Least eigenvalue of a correlation matrix may lie this far below 0: files round its numbers."""
LEAST_EIGENVALUE = 1e-6
"""To which the eigenvalues of a correlation matrix are raised, so that it has an inverse."""


class Kind(StrEnum):
    """What readings can tell of a tank."""

    OUTPUT = "output"
    BEAM = "beam angle"
    LID = "dirt on the lid"
    GROWTH = "growth on the panes"
    TINT = "tannin tint"
    BACKING = "backing"


OF_LIGHTS = (Kind.OUTPUT, Kind.BEAM)
OF_PANES = (Kind.GROWTH, Kind.BACKING)
SHARES = (Kind.LID, Kind.GROWTH, Kind.BACKING)


class MeasuredParameter(Part):
    """One thing that was measured, and how well."""

    what: Kind
    of: tuple[Name, ...] = Field((), description="the fixtures, or the panes, that it belongs to")
    value: PositiveNumber = Field(
        description="as the scene has it: umol/s, degrees, 1/m at 440 nm, or a share; if the scene says another, it no "
        "longer counts as measured"
    )
    sd: PositiveNumber = Field(
        description="one standard deviation of the value's logarithm; of a share, of the logarithm of -log(share)"
    )

    @model_validator(mode="after")
    def _is_of_something(self) -> Self:
        if bool(self.of) is not (self.what in (*OF_LIGHTS, *OF_PANES)):
            raise wrong("names the fixtures or panes of an output, a beam angle, growth or a backing; no others", "of")
        sides = ("front", "back", "left", "right")
        strange = [name for name in self.of if name not in sides] if self.what in OF_PANES else []
        if strange:
            raise wrong(f"there is no such pane; name {', '.join(sides)}", "of", strange[0])
        return self

    @property
    def name(self) -> str:
        """Its name for people."""
        return f"{self.what} of {', '.join(self.of)}" if self.what in OF_LIGHTS else str(self.what)

    @property
    def interval(self) -> tuple[float, float]:
        """Of the value, 95 %: low and high."""
        factor = math.exp(1.96 * self.sd)
        if self.what in SHARES:
            return self.value**factor, self.value ** (1 / factor)
        return self.value / factor, self.value * factor


class MeasuredReading(Part):
    """One reading that is in the values already, so that it is not counted twice nor asked for again."""

    at: tuple[LengthM, LengthM, LengthM] = Field(description="the head's face: x, y, and height over the bottom pane")
    ppfd: Ppfd
    lid: Literal["on", "off"]
    under: OneLine = Field("", description="the light below which the head was held in the open, away from the tank")
    above_rim: NonNegativeLengthM | None = None
    dimming: Fraction | None = None


class Measured(Part):
    """What readings told: when, how many, which values, how well each is known and how their errors go together."""

    date: Date = Field(description="of the last fit")
    readings: int = Field(ge=1, strict=True, description="how many readings are in the values")
    readings_file: OneLine = Field("", description="name of the file of the readings")
    parameters: tuple[MeasuredParameter, ...] = Field(alias="parameter", min_length=1)
    correlation: tuple[tuple[float, ...], ...] = Field(
        description="between the errors of the parameters, a row for each in their order"
    )
    taken: tuple[MeasuredReading, ...] = Field((), alias="reading")

    @model_validator(mode="after")
    def _is_sound(self) -> Self:
        things = [(p.what, name) for p in self.parameters for name in p.of or ("",)]
        if len(set(things)) < len(things):
            raise wrong("the same thing is given twice", "parameter")
        count = len(self.parameters)
        if len(self.correlation) != count or any(len(row) != count for row in self.correlation):
            raise wrong(f"must have {count} rows of {count} numbers, as there are parameters", "correlation")
        matrix = np.array(self.correlation)
        if not np.allclose(matrix, matrix.T, atol=1e-9) or not np.allclose(np.diag(matrix), 1.0):
            raise wrong("must be symmetric, with 1 along its diagonal", "correlation")
        if np.linalg.eigvalsh(matrix)[0] < -ROUNDED:
            raise wrong("is no correlation matrix: it has a negative eigenvalue", "correlation")
        return self

    @property
    def matrix(self) -> np.ndarray:
        """Correlation, (parameters, parameters), with an inverse."""
        values, vectors = np.linalg.eigh(np.array(self.correlation))
        matrix: np.ndarray = (vectors * np.maximum(values, LEAST_EIGENVALUE)) @ vectors.T
        return matrix

    @property
    def text(self) -> str:
        """How many readings, and when, for people."""
        return f"{self.readings} reading{'s' if self.readings > 1 else ''} on {self.date.isoformat()}"
