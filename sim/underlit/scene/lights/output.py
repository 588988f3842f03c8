"""How much light a fixture gives, as its box says or as its owner measured it, and its light-loss factors."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, ClassVar

from pydantic import Field, model_validator

from underlit.photometry.point import Head
from underlit.scene.common import (
    Efficacy,
    Fraction,
    LengthM,
    Lumens,
    NonNegativeLengthM,
    OneOf,
    Part,
    PositiveLengthM,
    Ppf,
    Ppfd,
    Watts,
    wrong,
)

USUAL_EFFICACY = 2.0
"""Umol/J of LED fixtures over tanks where the box says watts only; 1.4 to 2.7, common practice, no source."""
MOST_EFFICACY = 5.9
"""Umol/J that no light exceeds: photons of 700 nm without any loss (N_A h c gives 5.85)."""

_BELOW = "from the plane of the LEDs down to the meter head"
_UNDER_WATER = "how much of the distance below is water with a flat surface; 0 in air"


class Reading(Part):
    """One PAR reading of a level meter under a level fixture, with nothing around that reflects.

    Under water it is the true PPFD: what the meter shows times its immersion factor. The water is that of the scene.
    """

    reads: Annotated[Ppfd, Field(description="true PPFD on the level head")]
    below: Annotated[PositiveLengthM, Field(description=_BELOW)]
    under_water: Annotated[NonNegativeLengthM, Field(description=_UNDER_WATER)] = 0.0
    along: Annotated[LengthM, Field(description="how far to the right of the fixture's middle")] = 0.0
    across: Annotated[LengthM, Field(description="how far behind the fixture's middle; negative to the front")] = 0.0

    @model_validator(mode="after")
    def _some_of_it_air(self) -> Reading:
        check_depth(self.below, self.under_water)
        return self

    @property
    def head(self) -> Head:
        """The place of the meter head."""
        return Head(self.below, self.along, self.across, self.under_water)


def check_depth(below: float, under_water: float) -> None:
    """Raise where a head ``below`` the LEDs with so much water over it would put the LEDs into the water."""
    if under_water >= below:
        raise wrong("must be less than below, or the LEDs would hang in the water", "under_water")


class Output(Part):
    """Light output with every channel at full power, given in one way; ``watts`` may always be given as well.

    Watts alone are turned into light by the usual efficacy. One reading is ``reads`` with ``below``; several at different
    places are ``reading = [{ reads = ..., below = ..., along = ... }, ...]`` and show the beam too, where no lens is given.
    """

    one_of: ClassVar[tuple[OneOf, ...]] = (
        OneOf("the light output", "efficacy", "ppf", "lumens", ("reads", "below", "under_water"), "reading"),
    )
    together: ClassVar[tuple[tuple[str, str], ...]] = (("reads", "below"),)

    watts: Watts | None = None
    efficacy: Efficacy | None = None
    ppf: Ppf | None = None
    lumens: Lumens | None = None
    reads: Annotated[Ppfd | None, Field(description="PAR straight below the fixture's middle, in the open")] = None
    below: Annotated[PositiveLengthM | None, Field(description=_BELOW)] = None
    under_water: Annotated[NonNegativeLengthM | None, Field(description=_UNDER_WATER)] = None
    several: Annotated[
        tuple[Reading, ...] | None, Field(alias="reading", description="readings of one meter at one or more places")
    ] = None

    @model_validator(mode="after")
    def _is_an_output(self) -> Output:
        if self.several is not None and not self.several:
            raise wrong("needs at least one reading", "reading")
        if not self.stated():
            raise wrong("the light output is missing: give watts, ppf, lumens, reads or reading")
        if self.efficacy is not None and self.watts is None:
            raise wrong("needs watts as well", "efficacy")
        if self.under_water is not None:
            if self.below is None:
                raise wrong("only a reading can be under water: give reads and below", "under_water")
            check_depth(self.below, self.under_water)
        return self

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The readings, given in either way; none where the output is given otherwise."""
        if self.several is not None:
            return self.several
        if self.reads is None or self.below is None:
            return ()
        return (Reading.model_construct(reads=self.reads, below=self.below, under_water=self.under_water or 0.0),)


class LightLossFactors(Part):
    """Shares of the claimed output that are left: at working temperature, with age, and under dirt on the fixture."""

    renamed: ClassVar[Mapping[str, str]] = {"warm": "temperature"}

    temperature: Annotated[Fraction, Field(description="left when the fixture has warmed up; 1 is no loss")] = 1.0
    age: Annotated[Fraction, Field(description="left at its age; 1 is no loss")] = 1.0
    dirt: Annotated[Fraction, Field(description="left under dirt on the fixture; 1 is no loss")] = 1.0

    @property
    def total(self) -> float:
        """The product of all three."""
        return self.temperature * self.age * self.dirt
