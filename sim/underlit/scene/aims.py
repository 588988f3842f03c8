"""What the light should be: zones with their bands, and spots where a meter would be held."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pydantic import model_validator

from underlit.scene.common import (
    Name,
    NonNegativeLengthM,
    NonNegativeNumber,
    OneLine,
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


class Need(StrEnum):
    """How much light plants ask for, in the trade's words."""

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


def band_for(need: Need, *, added_co2: bool) -> Band:
    """The band of a need at the plant; without added CO2 medium stops where the risk of algae begins."""
    low, high = {Need.UNDEMANDING: (15.0, 35.0), Need.MEDIUM: (35.0, 70.0), Need.DEMANDING: (70.0, 120.0)}[need]
    if added_co2 or need is Need.UNDEMANDING:
        return Band(low, high, "", PRACTICE)
    if need is Need.MEDIUM:
        return Band(low, ALGAE_RISK_PPFD, "without added CO2 the risk of algae grows above about 50", PRACTICE)
    return Band(low, high, "demanding plants without added CO2: all of this band is at risk of algae", PRACTICE)


class Zone(Outlined):
    """A named place and the light it should have: an outline on the substrate, a plant group, or a piece of hardscape.

    ``height`` is over the substrate, where plant tops will be; ``band`` is [low, high] in umol/m2/s.
    """

    name: Name
    plants: Name | None = None
    hardscape: Name | None = None
    height: NonNegativeLengthM = 0.0
    band: tuple[NonNegativeNumber, NonNegativeNumber] | None = None
    need: Need | None = None
    added_co2: YesNo | None = None
    why: OneLine = ""

    @model_validator(mode="after")
    def _one_place_one_aim(self) -> Zone:
        places = [*self.outline_keys, *(key for key in ("plants", "hardscape") if getattr(self, key) is not None)]
        if not places:
            raise wrong("where? say outline, rectangle, circle, plants or hardscape")
        if len(places) > 1:
            raise wrong(f"the place is said twice, by {' and '.join(places)}; keep one", places[1])
        if not self.outline_keys and "height" in self.model_fields_set:
            raise wrong("a height goes with an outline; plants and hardscape have their own", "height", self.height)
        if self.band is not None and self.need is not None:
            raise wrong("the aim is said twice, by band and need; keep one", "need")
        if self.band is not None and not self.band[0] < self.band[1]:
            raise wrong("a band is [low, high] with low under high", "band", list(self.band))
        return self

    def wanted(self, *, added_co2: bool) -> Band | None:
        """The band this zone should have; None where the scene names no aim. ``added_co2``: as the scene says."""
        if self.band is not None:
            return Band(*self.band, "", "as the scene says")
        if self.need is None:
            return None
        return band_for(self.need, added_co2=added_co2 if self.added_co2 is None else self.added_co2)


class Spot(Part):
    """A point where a level meter head would be held: over the substrate, or at a height over the bottom pane."""

    name: Name
    at: Point
    above_substrate: NonNegativeLengthM | None = None
    height: NonNegativeLengthM | None = None
    radius: PositiveLengthM = 0.015

    @model_validator(mode="after")
    def _one_height(self) -> Spot:
        if self.above_substrate is not None and self.height is not None:
            raise wrong("the height is said twice, by above_substrate and height; keep one", "height")
        return self


SPOT_ABOVE_SUBSTRATE_M = 0.03
"""A meter head's face lies 2-4 cm over the substrate; common practice, no source."""
