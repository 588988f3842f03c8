"""What the light should be: zones with their target bands, and spots where a meter would be held."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, ClassVar

from pydantic import AfterValidator, Field, model_validator

from underlit.scene.common import (
    Name,
    NonNegativeLengthM,
    NonNegativeNumber,
    OneLine,
    OneOf,
    Part,
    Point,
    PositiveLengthM,
    YesNo,
    wrong,
)
from underlit.scene.outline import Outlined

ALGAE_RISK_PPFD = 50.0
"""Without added CO2 the risk of algae grows above about this PPFD; common practice, no source."""
PRACTICE = "common practice, no source"


def _rising(band: tuple[float, float]) -> tuple[float, float]:
    if not band[0] < band[1]:
        raise wrong("a band is [low, high], low less than high", got=list(band))
    return band


PpfdRange = Annotated[tuple[NonNegativeNumber, NonNegativeNumber], AfterValidator(_rising)]
"""[low, high] in umol/m2/s."""


class Need(StrEnum):
    """How much light plants need, in the trade's words."""

    UNDEMANDING = "undemanding"
    MEDIUM = "medium"
    DEMANDING = "demanding"


@dataclass(frozen=True)
class Band:
    """PPFD that a zone should have [umol/m2/s], what to know about it, and where it comes from."""

    low: float
    high: float
    note: str
    source: str


NEED_BANDS = {Need.UNDEMANDING: (15.0, 35.0), Need.MEDIUM: (35.0, 70.0), Need.DEMANDING: (70.0, 120.0)}
"""Of a settled tank with added CO2, at the plant [umol/m2/s]; common practice, no source."""
NEW_TANK_SHARE = (0.5, 0.6)
"""A new tank is lit at 50-60 % of a settled one, 6 h a day, for about four weeks; common practice, no source."""


def band_for(need: Need, *, added_co2: bool, settled: bool = True) -> Band:
    """The band of a need at the plant, see `band_when`."""
    return band_when(*NEED_BANDS[need], added_co2=added_co2, settled=settled)


def band_when(low: float, high: float, *, added_co2: bool, settled: bool) -> Band:
    """The band ``low`` to ``high`` [umol/m2/s] of a settled tank with added CO2, made to fit another tank.

    Without added CO2 it ends where the risk of algae begins, unless all of it lies above; a new tank gets a share of it.
    """
    notes = []
    if not added_co2 and high > ALGAE_RISK_PPFD:
        if low < ALGAE_RISK_PPFD:
            high = ALGAE_RISK_PPFD
            notes.append("without added CO2 the risk of algae grows above about 50")
        else:
            notes.append("without added CO2 this whole band carries a risk of algae")
    if not settled:
        low, high = low * NEW_TANK_SHARE[0], high * NEW_TANK_SHARE[1]
        notes.append("new tank: 50-60 % of the light of a settled one, 6 h a day, for about four weeks")
    return Band(low, high, "; ".join(notes), PRACTICE)


def algae_threshold(*, added_co2: bool, settled: bool) -> float:
    """PPFD [umol/m2/s] above which light that no plant uses makes algae likely; common practice, no source.

    Without added CO2 about 50; with it what the most demanding plants are given; in a new tank the share of a new tank of it.
    """
    usual = NEED_BANDS[Need.DEMANDING][1] if added_co2 else ALGAE_RISK_PPFD
    return usual if settled else usual * NEW_TANK_SHARE[1]


class Co2Wish(StrEnum):
    """Whether plants are kept with added CO2."""

    NOT_NEEDED = "not needed"
    HELPS = "helps"
    NEEDED = "needed"


class Needs(Part):
    """The light that a plant needs: the trade's word for its ``need``, or a ``band`` of its own in umol/m2/s.

    Both hold for a settled tank with added CO2; `band_when` makes them fit another one. A band goes before a need.
    """

    displaces: ClassVar[Mapping[str, tuple[str, ...]]] = {"need": ("band",), "band": ("need",)}

    plant: OneLine = Field("", description="the plant that needs it")
    need: Need | None = None
    band: PpfdRange | None = None
    co2: Co2Wish = Co2Wish.HELPS
    source: OneLine = PRACTICE

    @model_validator(mode="after")
    def _says_how_much(self) -> Needs:
        if self.band is None and self.need is None:
            raise wrong("the target is missing: give need or band")
        return self

    def wanted(self, *, added_co2: bool, settled: bool) -> Band:
        """The band for this plant, with or without added CO2, in a settled or a new tank; the note says how it came about."""
        low, high = self.band or NEED_BANDS[self.need or Need.MEDIUM]
        band = band_when(low, high, added_co2=added_co2, settled=settled)
        notes = [f"for {self.plant}"] if self.plant else []
        if (band.low, band.high) != (low, high):
            notes.append(f"{low:g}-{high:g} in a settled tank with added CO2")
        if not added_co2 and self.co2 is Co2Wish.NEEDED:
            notes.append("these plants need added CO2")
        return Band(band.low, band.high, "; ".join([*notes, *filter(None, [band.note])]), self.source)


class Zone(Outlined):
    """A named place and the light it should have: an outline on the substrate, a plant group, or a piece of hardscape.

    ``height`` is over the substrate, where plant tops will be; ``band`` is [low, high] in umol/m2/s.
    """

    one_of: ClassVar[tuple[OneOf, ...]] = (
        OneOf("the location", "outline", "rectangle", "circle", "plants", "hardscape", required=True),
        OneOf("the target", "band", "need", "for"),
    )

    name: Name
    plants: Name | None = None
    hardscape: Name | None = None
    height: NonNegativeLengthM = 0.0
    band: PpfdRange | None = None
    need: Need | None = None
    meant_for: Needs | None = Field(None, alias="for", description="a plant of the catalogue, or what a plant needs")
    added_co2: YesNo | None = None
    settled: YesNo | None = None
    why: OneLine = ""

    @model_validator(mode="after")
    def _height_has_an_outline(self) -> Zone:
        if not self.outline_keys and "height" in self.model_fields_set:
            raise wrong(
                "a height needs an outline; plants and hardscape have heights of their own", "height", self.height
            )
        return self

    @property
    def has_target(self) -> bool:
        """Whether the zone itself says what light it should have."""
        return self.band is not None or self.need is not None or self.meant_for is not None

    def answers(self, *, added_co2: bool, settled: bool) -> dict[str, bool]:
        """Whether there is added CO2 and whether the tank is settled; what the zone says goes before what the scene says."""
        return {
            "added_co2": added_co2 if self.added_co2 is None else self.added_co2,
            "settled": settled if self.settled is None else self.settled,
        }

    def wanted(self, *, added_co2: bool, settled: bool = True) -> Band | None:
        """The band that the zone itself asks for, see `answers`; None where it has no target."""
        answers = self.answers(added_co2=added_co2, settled=settled)
        if self.band is not None:
            return Band(*self.band, "", "as the scene says")
        if self.meant_for is not None:
            return self.meant_for.wanted(**answers)
        return None if self.need is None else band_for(self.need, **answers)


class Spot(Part):
    """A point where a level meter head would be held: over the substrate, or at a height over the bottom pane."""

    one_of: ClassVar[tuple[OneOf, ...]] = (OneOf("the height", "above_substrate", "height"),)

    name: Name
    at: Point
    above_substrate: NonNegativeLengthM | None = None
    height: NonNegativeLengthM | None = None
    radius: PositiveLengthM = 0.015


SPOT_ABOVE_SUBSTRATE_M = 0.03
"""A meter head's face lies 2-4 cm over the substrate; common practice, no source."""
