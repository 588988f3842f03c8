"""The light of days and years: DLI per zone new and settled, energy and cost, ageing, and the dimming that suits most zones.

    made = dose(traced.lowered, traced.result, price=0.30)
    for zone in made.zones:
        print(zone.name, zone.dli, zone.new_dli)

The scene's own dimming and hours are taken for the settled tank. A new one is lit at 50-60 % of that for 6 h a day in its first
four weeks; fixtures lose 2-8 % of their output a year (both common practice, no source). All of it is arithmetic on a result.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from underlit.lowering.scene import Lowered
from underlit.lowering.tallies import ZonePlace
from underlit.planning.candidates import DAYS_A_YEAR, kwh_a_year, total, watt_hours_a_day
from underlit.planning.decision import Decision, decide, scene_as_decided
from underlit.planning.patches import zone_patches
from underlit.planning.zones import (
    SECONDS_PER_HOUR,
    UMOL_PER_MOL,
    Verdict,
    ZoneReport,
    judged,
    zone_reports,
)
from underlit.results.result import Result
from underlit.scene import Band, Need, Scene
from underlit.scene.targets import NEW_TANK_SHARE, band_for

NEW_TANK_HOURS, NEW_TANK_WEEKS = 6.0, 4.0
AGEING_A_YEAR = (0.02, 0.08)
"""Share of its output that a fixture loses in a year, least and most; common practice, no source."""
AGES = (1, 3, 5)
"""Years for which the output left is told."""

Span = tuple[float, float]


@dataclass(frozen=True)
class ZoneDose:
    """A zone's light by days and years, both errors apart as in its report.

    dli: settled [mol/m2/day]; new_ppfd [umol/m2/s], new_dli: least and most in the first weeks; new_verdict: at the middle of
    that; aged: PPFD left after `AGES` years, least and most; years_in_band: years until its mean falls under its band, soonest
    and latest (0 where it is under already, None without a band).
    """

    report: ZoneReport
    band: Band | None
    verdict: Verdict
    dli: float
    new_ppfd: Span
    new_dli: Span
    new_band: Band | None
    new_verdict: Verdict
    aged: tuple[Span, ...]
    years_in_band: Span | None

    @property
    def name(self) -> str:
        """The zone's name."""
        return self.report.name


@dataclass(frozen=True)
class Energy:
    """What the lights draw: watts at their brightest, kWh of a settled year and of the first one, and their cost in the
    currency of the price; None where watts or price are not known.
    """

    watts: float | None
    settled_kwh: float | None
    first_year_kwh: float | None
    price: float | None

    def cost(self, kwh: float | None) -> float | None:
        """Cost of so many kWh."""
        return None if kwh is None or self.price is None else kwh * self.price


@dataclass(frozen=True)
class Dose:
    """Everything about days and years. suits: share of the substrate in the band of each need, None where its patches cannot
    be read; decision: how to set the light; None in a rack, whose lights are decided on for all its tanks.
    """

    lowered: Lowered
    result: Result
    zones: tuple[ZoneDose, ...]
    energy: Energy
    suits: dict[Need, float] | None
    decision: Decision | None


def light_of_a_day(ppfd: float, hours: float) -> float:
    """DLI [mol/m2/day] of a PPFD [umol/m2/s] held for so many hours."""
    return ppfd * hours * SECONDS_PER_HOUR / UMOL_PER_MOL


def left_after(years: float) -> Span:
    """Shares of a fixture's output left after so many years, least and most."""
    least, most = (float((1 - rate) ** years) for rate in reversed(AGEING_A_YEAR))
    return least, most


def dose(lowered: Lowered, result: Result, *, price: float | None = None) -> Dose:
    """The light of days and years in the own tank of a scene as lowered and traced; the result's dimming is for a settled tank.

    DLI of each zone, new and settled [mol/m2/day], what ageing leaves, energy [kWh] and its cost at the price of a kWh,
    and every dimming step.
    """
    scene = lowered.scene
    own = {place.name for place in lowered.own_zones}
    reports = [r for r in zone_reports(lowered, result) if r.name in own]
    places = {place.name: place for place in lowered.own_zones}
    bands = [[_band(lowered, places[r.name], settled=settled) for r in reports] for settled in (True, False)]
    zones = tuple(_zone(report, band, new) for report, band, new in zip(reports, *bands, strict=True))
    decision = decide(lowered, result) if len(lowered.rack) == 1 else None
    return Dose(lowered, result, zones, energy(scene, price), _suits(lowered, result), decision)


def as_decided(made: Dose) -> Dose:
    """The same with the light set as decided: arithmetic."""
    if made.decision is None or made.decision.is_set:
        return made
    lowered = made.lowered.relit(scene_as_decided(made.lowered.scene, made.decision))
    return dose(lowered, replace(made.result, dimming=lowered.dimming), price=made.energy.price)


def _band(lowered: Lowered, place: ZonePlace, *, settled: bool) -> Band | None:
    """The band of a zone in a settled tank, or in a new one; one that the scene states outright is of the settled tank."""
    zone = lowered.zone_of(place)
    if zone is None:
        return None
    wanted, usual = (lowered.scene.model_copy(update={"settled": s}).band_of(zone) for s in (settled, True))
    if wanted is None or settled or wanted != usual:
        return wanted
    low, high = NEW_TANK_SHARE
    return replace(wanted, low=low * wanted.low, high=high * wanted.high)


def _zone(report: ZoneReport, band: Band | None, new_band: Band | None) -> ZoneDose:
    value = report.ppfd.value
    low, high = NEW_TANK_SHARE
    middle = (low + high) / 2
    return ZoneDose(
        report=report,
        band=band,
        verdict=judged(report.ppfd, report.tank, band)[0],
        dli=report.dli,
        new_ppfd=(low * value, high * value),
        new_dli=(light_of_a_day(low * value, NEW_TANK_HOURS), light_of_a_day(high * value, NEW_TANK_HOURS)),
        new_band=new_band,
        new_verdict=judged(report.ppfd.times(middle), report.tank, new_band)[0],
        aged=tuple((value * least, value * most) for least, most in map(left_after, AGES)),
        years_in_band=None if band is None else _years_above(value, band.low),
    )


def _years_above(value: float, low: float) -> Span:
    """Years until an ageing light has fallen to a limit, soonest and latest."""
    if low <= 0:
        return math.inf, math.inf
    if value <= low:
        return 0.0, 0.0
    soonest, latest = (math.log(low / value) / math.log(1 - rate) for rate in reversed(AGEING_A_YEAR))
    return soonest, latest


def energy(scene: Scene, price: float | None = None) -> Energy:
    """Energy of a scene's own lights; a new tank's light is taken to draw in proportion."""
    watts = total([f.running_watts for f in scene.fixtures])
    a_day = total([watt_hours_a_day(f) for f in scene.fixtures])
    if watts is None or a_day is None:
        return Energy(None, None, None, price)
    settled = kwh_a_year(a_day)
    new_days = 7 * NEW_TANK_WEEKS
    new_kwh = watts * sum(NEW_TANK_SHARE) / 2 * NEW_TANK_HOURS * new_days / 1000
    return Energy(watts, settled, settled * (1 - new_days / DAYS_A_YEAR) + new_kwh, price)


def _suits(lowered: Lowered, result: Result) -> dict[Need, float] | None:
    """Share of the substrate, patch by patch, whose light lies in the band of each need."""
    patches = zone_patches(result, lowered.zones[0])
    if patches is None:
        return None
    weight = patches.weights / patches.weights.sum()
    shares = {}
    for need in Need:
        band = band_for(need, added_co2=lowered.scene.has_added_co2)
        shares[need] = float(weight[(patches.values >= band.low) & (patches.values <= band.high)].sum())
    return shares
