"""How much light a fixture gives, as its box says it or as its owner measured it, and what is left of that."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from underlit.photometry.point import Head
from underlit.scene.common import (
    Efficacy,
    Fraction,
    LengthM,
    Lumens,
    NonNegativeLengthM,
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
"""Umol/J that no light passes: photons of 700 nm without any loss (N_A h c gives 5.85)."""

_BELOW = "from the plane of the LEDs down to the meter head"
_UNDER_WATER = "how much of the distance below is water, its surface flat; 0 in air"


class Reading(Part):
    """One PAR reading of a level meter under a level fixture, nothing around that reflects.

    Under water it is the true PPFD: what the meter shows times its immersion factor.
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
    """Raise unless a head ``below`` the LEDs with so much water over it has the LEDs out of the water."""
    if under_water >= below:
        raise wrong("the LEDs would hang in the water: under_water must be less than below", "under_water")


class Output(Part):
    """Light output with every channel at full, said in one way; ``watts`` may always be said as well.

    Watts alone are taken at the usual efficacy. One reading is ``reads`` with ``below``; several at different places are
    ``reading = [{ reads = ..., below = ..., along = ... }, ...]`` and tell the beam too, where no lens is stated.
    """

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
    def _said_once(self) -> Output:
        ways = ("efficacy", "ppf", "lumens", "reads", "several")
        stated = [key for key in ways if getattr(self, key) is not None]
        if len(stated) > 1:
            names = ["reading" if key == "several" else key for key in stated]
            raise wrong(f"the light output is said twice, by {' and '.join(names)}; keep one", names[1])
        if not stated and self.watts is None:
            raise wrong("the light output is missing: say one of watts, ppf, lumens, reads, reading")
        if self.efficacy is not None and self.watts is None:
            raise wrong("an efficacy needs the watts as well", "efficacy")
        if (self.reads is None) != (self.below is None):
            raise wrong("a reading needs its distance below the fixture, and a distance its reading", "below")
        if self.under_water is not None:
            if self.below is None:
                raise wrong("only a reading may be under water: say reads and below", "under_water")
            check_depth(self.below, self.under_water)
        if self.several is not None and not self.several:
            raise wrong("needs at least one reading", "reading")
        return self

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The readings stated, in either way; none where the output is said otherwise."""
        if self.several is not None:
            return self.several
        if self.reads is None or self.below is None:
            return ()
        return (Reading.model_construct(reads=self.reads, below=self.below, under_water=self.under_water or 0.0),)


class Kept(Part):
    """Shares of the claimed output that are left: once warm, with age, and under dirt on the fixture."""

    warm: Fraction = 1.0
    age: Fraction = 1.0
    dirt: Fraction = 1.0

    @property
    def factor(self) -> float:
        """All three together."""
        return self.warm * self.age * self.dirt
