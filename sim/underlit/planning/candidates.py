"""Answered scenes as they are compared: stored counts, and what a comparison needs to know of the scene.

A candidate comes from a trace or from a folder that `underlit trace --out` wrote.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from underlit.lowering.compiled import CompiledScene
from underlit.lowering.scene import Lowered
from underlit.lowering.tallies import WHOLE_BED
from underlit.planning.ranges import TankRange, TankRanges, alike_everywhere, between
from underlit.planning.zones import Verdict, ZoneReport, zone_reports
from underlit.results.result import Result
from underlit.results.stored import load_result
from underlit.run import Traced
from underlit.scene import Fixture

DAYS_A_YEAR = 365.25
TANK_KEYS = ("tank_low_95_umol_m2_s", "tank_high_95_umol_m2_s")
"""Keys of the range of the real tank's light, in summaries and in csv files."""
TANK_STANDARD_KEY, FORMER_KEY = "tank_error_relative_standard", "not_known_about_tank_relative_standard"
"""Key of a summary with the relative standard uncertainty of the tank, now and in earlier releases."""
Outline = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Place:
    """A zone or reading spot of a candidate, with what was said of its light.

    band [umol/m2/s]; dli [mol/m2/day]; area [m2]; outline on the plan (k, 2) [m], empty where none is known. tank:
    range of the real tank's light.
    """

    name: str
    where: str = ""
    area_m2: float = 0.0
    band: tuple[float, float] | None = None
    verdict: Verdict = Verdict.NO_TARGET
    dli: float | None = None
    evenness: float | None = None
    outline: Outline = ()
    is_whole_bed: bool = False
    tank: TankRange = field(default_factory=lambda: alike_everywhere(0.0), compare=False)


@dataclass(frozen=True)
class Draw:
    """What a fixture draws: watts at its brightest and watt hours of a day, None where the scene does not say."""

    fixture: str
    watts: float | None
    watt_hours_a_day: float | None


@dataclass(frozen=True)
class Candidate:
    """An answered scene.

    places: its zones, then its reading spots, in the order of `result.compiled`; tank_uncertainty: standard uncertainty of what
    is not known about the tank; size_m: the tank's inside length and depth.
    """

    name: str
    title: str
    result: Result
    places: tuple[Place, ...]
    draws: tuple[Draw, ...]
    tank_uncertainty: float
    size_m: tuple[float, float]

    @property
    def watts(self) -> float | None:
        """Watts drawn as it runs; None where a fixture's are not stated."""
        return total([d.watts for d in self.draws])

    @property
    def kwh_a_year(self) -> float | None:
        """Energy of a year at the scene's hours [kWh]; None where a fixture's watts are not stated."""
        a_day = total([d.watt_hours_a_day for d in self.draws])
        return None if a_day is None else kwh_a_year(a_day)


def total(values: Sequence[float | None]) -> float | None:
    """Sum of all values; None where one is not known."""
    known = [v for v in values if v is not None]
    return math.fsum(known) if len(known) == len(values) else None


def kwh_a_year(watt_hours_a_day: float) -> float:
    """Energy of a year of 365.25 days [kWh] from that of a day [Wh]."""
    return watt_hours_a_day * DAYS_A_YEAR / 1000.0


def candidate(name: str, traced: Traced, reports: Sequence[ZoneReport] | None = None) -> Candidate:
    """A traced scene under a name, ready to be compared; reports: those of its zones, where they were made already.

    Its light by zone and reading spot, and what its fixtures draw.
    """
    lowered, result, scene = traced.lowered, traced.result, traced.lowered.scene
    made = zone_reports(lowered, result) if reports is None else reports
    places = [
        Place(
            r.name, r.where, r.area_m2, None if r.band is None else (r.band.low, r.band.high), r.verdict, r.dli,
            None if r.spread.evenness is None else r.spread.evenness.value,
            () if place.outline is None else tuple((float(x), float(y)) for x, y in place.outline),
            place.is_whole_bed, r.tank,
        )
        for r, place in zip(made, lowered.zones, strict=True)
    ]  # fmt: skip
    ranges = TankRanges(lowered, result)
    spots = [
        Place(head.name, "reading spot", head.area, tank=ranges.spot(i)) for i, head in enumerate(result.compiled.heads)
    ]
    length, depth, _ = scene.tank.inside_m
    lights = [f for s in scene.tank_scenes for f in s.fixtures]
    draws = tuple(Draw(f.name, f.running_watts, watt_hours_a_day(f)) for f in lights)
    return Candidate(
        name, scene.title or name, result, (*places, *spots), draws, made[0].tank.standard, (length, depth)
    )


def watt_hours_a_day(fixture: Fixture) -> float | None:
    """Energy of a day [Wh], taken to follow the light through its schedule; None where the scene states no watts."""
    if fixture.output.watts is None:
        return None
    hours = [fixture.day_of(channel).full_hours for channel in fixture.channels]
    return fixture.output.watts * math.fsum(s * h for s, h in zip(fixture.shares, hours, strict=True))


def read_candidate(folder: str | Path) -> Candidate:
    """A candidate from a folder that `underlit trace --out` wrote.

    Raises ValueError with one line where it holds no such result.
    """
    place = Path(folder)
    result = load_result(place / "result.nc")
    try:
        summary = json.loads((place / "summary.json").read_text(encoding="utf-8"))
        said = {zone["name"]: zone for zone in summary["zones"]}
        draws = tuple(_stored_draw(fixture) for fixture in summary["fixtures"])
        title, unknown = summary["title"], summary[TANK_STANDARD_KEY if TANK_STANDARD_KEY in summary else FORMER_KEY]
        places = [_stored_zone(said[z.name], z.zone == WHOLE_BED, unknown) for z in result.compiled.zones]
        at = {spot["name"]: spot for spot in summary["spots"]}
        spots = [
            Place(head.name, "reading spot", head.area, tank=_stored_range(at[head.name], unknown))
            for head in result.compiled.heads
        ]
    except (OSError, ValueError, KeyError, TypeError) as problem:
        raise ValueError(
            f"{place / 'summary.json'}: does not match result.nc ({type(problem).__name__}); trace the scene again"
        ) from None
    return Candidate(
        place.name, title or place.name, result, (*places, *spots), draws, unknown or 0.0, _extent(result.compiled)
    )


def _stored_zone(said: dict[str, Any], is_whole_bed: bool, unknown: float | None) -> Place:
    band, even = said["band_umol_m2_s"], said["evenness_dimmest_over_average"]
    return Place(
        said["name"], said["where"], said["area_m2"], None if band is None else (band[0], band[1]),
        Verdict(said["verdict"]), said["dli_mol_m2_day"], None if even is None else even["value"],
        is_whole_bed=is_whole_bed, tank=_stored_range(said, unknown),
    )  # fmt: skip


def _stored_range(said: dict[str, Any], unknown: float | None) -> TankRange:
    """The range of a place as its summary says it; unknown: relative standard uncertainty that earlier ones said for all."""
    value, ends = said["ppfd_umol_m2_s"], [said.get(key) for key in TANK_KEYS]
    if not value or not ends[0] or not ends[1]:
        return alike_everywhere(unknown or 0.0)
    return between(ends[0] / value, ends[1] / value)


def _stored_draw(said: dict[str, Any]) -> Draw:
    """What a stored fixture draws; a summary knows lit hours only, so that ramps count as if they were full."""
    watts, hours = said["watts"], said["photoperiod_hours"]
    return Draw(said["name"], watts, None if watts is None else watts * hours)


def _extent(compiled: CompiledScene) -> tuple[float, float]:
    grid = compiled.bed_map or compiled.planes
    if grid is None:
        return 0.0, 0.0
    return grid.shape[0] * grid.spacing[0], grid.shape[1] * grid.spacing[1]


def same_paths(first: CompiledScene, second: CompiledScene) -> bool:
    """Whether photons walk the same way through both compiled scenes, to the bit.

    They then differ at most in how much light a source gives.
    """
    return all(
        a.shape == b.shape and a.dtype == b.dtype and np.array_equal(a, b)
        for a, b in zip(first.tables, second.tables, strict=True)
    )


def answered_from(traced: Traced, lowered: Lowered) -> Traced:
    """The answer for a scene whose photons walk as in one already traced: arithmetic, no trace (see `same_paths`)."""
    result = replace(traced.result, compiled=lowered.compiled, dimming=lowered.dimming)
    return replace(traced, lowered=lowered, result=result)
