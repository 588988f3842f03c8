"""What a zone's light means: both errors, its band, a verdict in words, and the daily light integral (DLI).

Two errors are never mixed: the simulation error of the trace, and the tank error, from what is not known about the tank (output
against claim, glass, dirt, walls, water), which no number of photons removes. The verdict uses both.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from underlit.lowering.scene import Lowered
from underlit.planning.patches import Spread, spread, zone_patches
from underlit.planning.ranges import TankRange, TankRanges
from underlit.results.estimate import Estimate
from underlit.results.result import Result
from underlit.scene import Band

SURE = 0.8
"""Probability from which a verdict is given in plain words; below it the zone is borderline."""
SECONDS_PER_HOUR = 3600.0
UMOL_PER_MOL = 1e6

Chances = tuple[float, float, float]
"""Probabilities that the light is too dim, right, too bright."""


class Verdict(StrEnum):
    """What a zone's light is against its band."""

    TOO_DIM = "too dim"
    RIGHT = "right"
    BORDERLINE = "borderline"
    TOO_BRIGHT = "too bright"
    NO_TARGET = "no target"

    @classmethod
    def _missing_(cls, value: object) -> Verdict | None:
        """Results that earlier releases stored."""
        return cls.NO_TARGET if value == "no aim set" else None


@dataclass(frozen=True)
class ZoneReport:
    """The light of one zone, and what it means.

    Attributes
    ----------
    name, where : str
        The zone, and where it lies in words.
    area_m2 : float
        Area over which the mean is taken [m2].
    ppfd : Estimate
        Mean PPFD [umol/m2/s] with its simulation error.
    tank : TankRange
        Factors on the mean between which the real tank's lies, from what is not known about it, and what moves it most.
    band : Band or None
        PPFD that the zone should have [umol/m2/s]; None where it has no target.
    spread : Spread
        Dimmest tenth, evenness and share inside the band, see `planning.patches`.
    verdict : Verdict
        Both errors counted.
    chance : tuple of float, or None
        Probabilities that the mean is too dim, right, too bright.
    dli : float
        Daily light integral [mol/m2/day].
    why : str
        Where the band comes from, as the scene says.
    """

    name: str
    where: str
    area_m2: float
    ppfd: Estimate
    tank: TankRange
    band: Band | None
    spread: Spread
    verdict: Verdict
    chance: Chances | None
    dli: float
    why: str

    @property
    def tank_low(self) -> float:
        """Low end of the 95 % range of the real tank's light [umol/m2/s]."""
        return self.tank.low * self.ppfd.value

    @property
    def tank_high(self) -> float:
        """High end of that range [umol/m2/s]."""
        return self.tank.high * self.ppfd.value

    @property
    def in_band(self) -> bool:
        """Whether its mean lies in its band; False without one."""
        return self.band is not None and self.band.low <= self.ppfd.value <= self.band.high


def verdict(chance: Chances) -> Verdict:
    """Words for the probabilities: a plain verdict where one of them reaches `SURE`."""
    for share, word in zip(chance, (Verdict.TOO_DIM, Verdict.RIGHT, Verdict.TOO_BRIGHT), strict=True):
        if share >= SURE:
            return word
    return Verdict.BORDERLINE


def judged(ppfd: Estimate, tank: TankRange, band: Band | None) -> tuple[Verdict, Chances | None]:
    """Verdict and chances of a PPFD [umol/m2/s] against a band, both errors counted."""
    if band is None:
        return Verdict.NO_TARGET, None
    chance = tank.chances(ppfd.value, ppfd.sigma, band.low, band.high)
    return verdict(chance), chance


def daily_integrals(lowered: Lowered, result: Result) -> np.ndarray:
    """DLI of each zone [mol/m2/day]: each source counts for its own day, ramps integrated.

    A result dimmed otherwise than the scene says is dimmed so all day.
    """
    hours = lowered.full_hours
    sources = result.compiled.sources
    at_full = result.dimmed(dict.fromkeys(sources, 1.0)).zone_values_by_source()
    seconds = np.zeros(len(sources))
    for i, source in enumerate(sources):
        level = lowered.dimming[source]
        seconds[i] = hours[source] * SECONDS_PER_HOUR * (result.dimming.get(source, 1.0) / level if level > 0 else 1.0)
    return np.asarray(seconds @ at_full / UMOL_PER_MOL)


def zone_reports(lowered: Lowered, result: Result) -> list[ZoneReport]:
    """The light of every zone of a lowered scene with its verdict, from a result, dimmed as you like.

    The whole substrate first, then the zones in the order of the scene; in a rack, tank by tank.
    """
    found = [report for tank in lowered.tanks for report in _of_one_tank(tank, result.of_tank(tank.tank))]
    return [replace(report, name=place.name) for report, place in zip(found, lowered.zones, strict=True)]


def _of_one_tank(lowered: Lowered, result: Result) -> Iterator[ZoneReport]:
    ranges = TankRanges(lowered, result)
    found = zip(
        lowered.zones, result.compiled.zones, result.zone_estimates(), daily_integrals(lowered, result), strict=True
    )
    for index, (place, info, estimate, dli) in enumerate(found):
        tank = ranges.zone(index)
        zone = lowered.zone_of(place)
        band = None if zone is None else lowered.scene.band_of(zone)
        limits = None if band is None else (band.low, band.high)
        said, chance = judged(estimate, tank, band)
        yield ZoneReport(
            name=place.name,
            where=place.where,
            area_m2=info.area,
            ppfd=estimate,
            tank=tank,
            band=band,
            spread=spread(zone_patches(result, place), limits),
            verdict=said,
            chance=chance,
            dli=float(dli),
            why="" if zone is None else zone.why,
        )
