"""The whole answer as plain data, units in the keys: what `summary.json` holds and the printed tables show."""

from __future__ import annotations

import math
import platform
import sys
from collections.abc import Callable, Iterable
from importlib import metadata
from typing import Any, TypeVar

from underlit.lowering.scene import Lowered
from underlit.planning.algae import WORTH_SAYING, algae_of
from underlit.planning.candidates import TANK_KEYS, TANK_STANDARD_KEY
from underlit.planning.decision import decide
from underlit.planning.ends import ends_of
from underlit.planning.plantings import PlantingReport, planting_reports
from underlit.planning.ranges import TankRange, TankRanges
from underlit.planning.surfaces import SurfaceReport, surface_reports
from underlit.planning.zones import Verdict, ZoneReport, zone_reports
from underlit.report.decisions.algae_words import algae_lead
from underlit.report.decisions.decision import decision_data
from underlit.report.ledger import as_percentages, light_ledger
from underlit.report.numbers import band_text, light, span_text
from underlit.results.estimate import Estimate
from underlit.results.result import Result
from underlit.run import Traced
from underlit.scene import Fixture, Scene
from underlit.scene.assumptions.scene import assumptions
from underlit.scene.checks.cautions import cautions
from underlit.transport.tables import Counter
from underlit.version import VERSION

Found = TypeVar("Found")
FORMAT = 2
SIMULATION_KEY = "simulation_error_95_umol_m2_s"
"""Key of the simulation error, in summaries and in csv files."""
LOW_KEY, HIGH_KEY = "simulation_low_95_umol_m2_s", "simulation_high_95_umol_m2_s"
"""Ends of the 95 % interval of the simulation error: value less and plus the error, but lopsided where few hits were counted."""
LIGHT_KEYS = ("ppfd_umol_m2_s", SIMULATION_KEY, LOW_KEY, HIGH_KEY)


def versions() -> dict[str, str]:
    """Versions of the program and of what its numbers depend on."""
    found = {"underlit": VERSION, "python": platform.python_version()}
    for name in ("numpy", "numba", "scipy", "trimesh"):
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            continue
    found["platform"] = f"{sys.platform} {platform.machine()}"
    return found


def number(value: float | None, digits: int = 6) -> float | None:
    """A finite number with so many significant digits; None for what is not one (JSON has no infinity)."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{digits}g}")


def _estimate(estimate: Estimate | None) -> dict[str, float | None] | None:
    if estimate is None:
        return None
    low, high = number(estimate.low), number(estimate.high)
    return {
        "value": number(estimate.value),
        "half_width_95": number(estimate.half_width),
        "low_95": low,
        "high_95": high,
    }


def light_entry(found: Estimate, form: Callable[[float], Any] = number) -> dict[str, Any]:
    """A PPFD with its simulation error as plain data."""
    return dict(zip(LIGHT_KEYS, map(form, (found.value, found.half_width, found.low, found.high)), strict=True))


def as_estimate(entry: dict[str, Any]) -> dict[str, float | None]:
    """The PPFD of a `light_entry` in the words of the other estimates of a summary."""
    return dict(zip(("value", "half_width_95", "low_95", "high_95"), (entry[key] for key in LIGHT_KEYS), strict=True))


def tank_entry(value: float, low: float, high: float) -> dict[str, float | None]:
    """The range of the real tank's light [umol/m2/s]; low, high: as factors on the value computed."""
    return dict(zip(TANK_KEYS, (number(value * low), number(value * high)), strict=True))


def _named(value: float, tank: TankRange) -> list[dict[str, Any]]:
    """The assumptions that move a place most, and by how much at the ends of their ranges [umol/m2/s]."""
    return [
        {"what": e.name, "key": e.key, "moves_umol_m2_s": [number(value * (e.low - 1)), number(value * (e.high - 1))]}
        for e in tank.named
    ]


def zone_entry(report: ZoneReport) -> dict[str, object]:
    """One zone as plain data."""
    band = report.band
    return {
        "name": report.name,
        "where": report.where,
        "area_m2": number(report.area_m2),
        **light_entry(report.ppfd),
        **tank_entry(report.ppfd.value, report.tank.low, report.tank.high),
        "tank_range_moved_most_by": _named(report.ppfd.value, report.tank),
        "dimmest_tenth_umol_m2_s": _estimate(report.spread.dimmest_tenth),
        "evenness_dimmest_over_average": _estimate(report.spread.evenness),
        "share_of_area_in_band": _estimate(report.spread.share_in_band),
        "patch_relative_standard_error": number(report.spread.patch_noise),
        "band_umol_m2_s": None if band is None else [band.low, band.high],
        "band_note": "" if band is None else band.note,
        "band_source": "" if band is None else band.source,
        "verdict": str(report.verdict),
        "chance_too_dim_right_too_bright": None if report.chance is None else [number(c, 4) for c in report.chance],
        "dli_mol_m2_day": number(report.dli),
        "why": report.why,
    }


def surface_entry(report: SurfaceReport) -> dict[str, object]:
    """One piece of wood, stone or planting as plain data; layers of a planting from the lowest up."""
    return {
        "name": report.name,
        "what": str(report.role),
        "upward_area_m2": number(report.upper_area_m2),
        "upward_faces_ppfd_umol_m2_s": _estimate(report.upper),
        "layers_upward_from_lowest_ppfd_umol_m2_s": [_estimate(layer) for layer in report.layers],
    }


def planting_words(report: PlantingReport) -> str:
    """The one statement about a planting's light: `right: 99 comes down over its tops (band 70-120); ...`."""
    over, leaves = report.over_tops, report.upper
    verdict = "" if report.verdict is Verdict.NO_TARGET else f"{report.verdict}: "
    asked = "" if report.band is None else f" (band {band_text(report.band)})"
    parts = []
    if over is not None:
        real = span_text(over.value * report.tank.low, over.value * report.tank.high)
        parts = [f"{verdict}{light(over.value)} ({real} in the real tank) comes down over its tops{asked}"]
    if leaves is not None:
        why = "its leaves lean and shade each other and get" if over and leaves.value < over.value else "its leaves get"
        parts.append(f"{why} {light(leaves.value)} on average")
    return "; ".join(parts)


def planting_entry(report: PlantingReport) -> dict[str, object]:
    """One planting as plain data: as grown, the light on its leaves, layers from the lowest up, and what it takes."""
    grown, band = report.grown, report.band
    return {
        "name": grown.name,
        "form": report.form,
        "plants": grown.plants,
        "leaves": grown.leaves,
        "height_m": number(grown.height),
        "leaf_area_m2": number(grown.leaf_area),
        "leaf_area_index": number(grown.leaf_area_index),
        "leaf_area_index_or_cover_asked_for": number(grown.asked),
        "cover": number(grown.cover),
        "words": planting_words(report),
        "over_tops_ppfd_umol_m2_s": _estimate(report.over_tops),
        **({} if report.over_tops is None else tank_entry(report.over_tops.value, report.tank.low, report.tank.high)),
        "verdict_over_tops": str(report.verdict),
        "upper_faces_ppfd_umol_m2_s": _estimate(report.upper),
        "layers_from_lowest_ppfd_umol_m2_s": [_estimate(layer) for layer in report.layers],
        "band_umol_m2_s": None if band is None else [band.low, band.high],
        "share_of_leaf_area_above_need": _estimate(report.above_need),
        "absorbed_over_light_from_above": _estimate(report.takes),
        "reaches_below_over_light_from_above": _estimate(report.lets_through),
    }


def _ends(traced: Traced) -> list[dict[str, Any]]:
    """The ends of each tank against its middle, as plain data; of tanks whose ends can be told."""
    found = []
    for name, tank in traced.tanks.items():
        ends = ends_of(tank.lowered, tank.result)
        if ends is not None:
            places = {key: getattr(ends, key) for key in ("left", "right", "both", "middle")}
            lit = {"lit_length_m": number(ends.lit_m), "tank_length_m": number(ends.tank_m)}
            entry = {
                **{f"{key}_ppfd_umol_m2_s": _estimate(estimate) for key, estimate in places.items()},
                "ends_over_middle": _estimate(ends.share), "end_length_m": number(ends.end_m),
                "above_substrate_m": number(ends.height_m), **lit, "are_dim": ends.are_dim, "words": ends.words(),
            }  # fmt: skip
            found.append({"tank": name, **entry})
    return found


def _algae(traced: Traced) -> list[dict[str, Any]]:
    """Light that no plant uses in each tank, as plain data; the panes are told apart by `underlit algae` only."""
    found = []
    for name, tank in traced.tanks.items():
        algae = algae_of(tank.lowered, tank.result)
        if algae is not None:
            surfaces = {
                one.name: {"share_of_light": _estimate(one.light), "share_of_area": _estimate(one.above)}
                for one in algae.surfaces
            }
            entry = {
                "tank": name, "threshold_umol_m2_s": algae.threshold, "share_of_light_above": _estimate(algae.share),
                "above_by_surface": surfaces, "words": algae_lead(algae) if algae.share.value >= WORTH_SAYING else "",
            }  # fmt: skip
            found.append(entry)
    return found


def assumption_entries(scene: Scene, tank: TankRange | None = None) -> list[dict[str, Any]]:
    """What was measured of a scene and what it leaves open, as plain data.

    tank: the range of the substrate's mean, which says what each moves it by; without it, as before a trace, that is what
    it does in a usual tank.
    """
    traced: dict[str, tuple[float, float]] = {}
    for effect in () if tank is None else tank.effects:
        low, high = traced.get(effect.key, (1.0, 1.0))
        ends = effect.low, effect.high
        traced[effect.key] = low * min(*ends, 1.0), high * max(*ends, 1.0)
    entries = []
    for a in assumptions(scene):
        low, high = traced.get(a.key, (math.nan, math.nan))
        span = (low - 1, high - 1) if math.isfinite(low) else (a.relative_low, a.relative_high)
        moves = None if None in span else [number(v, 4) for v in span]
        entry = {"what": a.key, "taken": a.value_text, "range": a.range_text, "source": a.source}
        entries.append({**entry, "measured": a.measured, "may_move_ppfd_by_relative": moves})
    return entries


def lights_of(lowered: Lowered) -> list[tuple[str, Fixture]]:
    """The lights of all tanks with the names that people read."""
    return [
        (f"{frame.name}: {fixture.name}" if frame.name else fixture.name, fixture)
        for frame in lowered.compiled.frames
        for fixture in lowered.rack[frame.tank].scene.fixtures
    ]


def cautions_of(lowered: Lowered) -> list[str]:
    """What people should look at before they trust the answer: of the scene, and of how it was built."""
    return [*cautions(lowered.scene), *lowered.compiled.cautions]


def _spots(traced: Traced) -> list[dict[str, Any]]:
    """Reading spots: x, y, z in the frame of the scene's own tank, and where they are in their own tank."""
    heads = iter(sorted(traced.result.compiled.heads, key=lambda head: head.tank))
    return [
        {
            "tank": name,
            "name": (head := next(heads)).name,
            **{f"{axis}_m": number(at) for axis, at in zip("xyz", head.centre, strict=True)},
            "in_its_tank_m": [number(at) for at in inside.centre],
            **light_entry(estimate),
            **tank_entry(estimate.value, span.low, span.high),
            "tank_range_moved_most_by": _named(estimate.value, span),
        }
        for name, tank in traced.tanks.items()
        for inside, estimate, span in zip(
            tank.result.compiled.heads, tank.result.head_estimates(), _spot_ranges(tank), strict=True
        )
    ]


def _spot_ranges(traced: Traced) -> list[TankRange]:
    ranges = TankRanges(traced.lowered, traced.result)
    return [ranges.spot(i) for i in range(len(traced.result.compiled.heads))]


def _by_tank(
    traced: Traced, reports: Callable[[Lowered, Result], Iterable[Found]], entry: Callable[[Found], dict[str, Any]]
) -> list[dict[str, Any]]:
    """What there is to say of the pieces of each tank of a rack, tank by tank."""
    found = []
    for name, tank in traced.tanks.items():
        for report in reports(tank.lowered, tank.result):
            made = entry(report)
            found.append({"tank": name, **made, "name": f"{name}: {made['name']}" if name else made["name"]})
    return found


def summarise(traced: Traced, reports: list[ZoneReport] | None = None) -> dict[str, Any]:
    """Everything that was found, ready for JSON."""
    lowered, result = traced.lowered, traced.result
    scene = lowered.scene
    zones = zone_reports(lowered, result) if reports is None else reports
    lines = light_ledger(result)
    lights = lights_of(lowered)
    return {
        "format": FORMAT,
        "title": scene.title,
        "scene_file": scene.path.name if scene.path else None,
        "decision": decision_data(decide(lowered, result), scene),
        "cautions": cautions_of(lowered),
        "panes": scene.pane_notes,
        "zones": [
            {"tank": place.tank_name, **zone_entry(zone)} for place, zone in zip(lowered.zones, zones, strict=True)
        ],
        "spots": _spots(traced),
        "ends": _ends(traced),
        "algae": _algae(traced),
        "surfaces": _by_tank(traced, surface_reports, surface_entry),
        "ledger": {
            "percent": dict(as_percentages(lines, 2)),
            "quanta": {k: str(v) for k, v in result.ledger_quanta().items()},
            "gap_quanta": result.ledger_gap(),
            "lost_photons": result.counter(Counter.LOST_PHOTONS),
            "hits_passed_over": result.counter(Counter.PASSED_OVER),
        },
        "photons": result.photons,
        "seconds": number(result.seconds),
        "seed": result.seed,
        "complete": result.complete,
        "precision_reached": traced.reached,
        "worst": {"name": traced.worst_name, "relative_half_width_95": number(traced.worst_relative, 4)},
        "ppf_umol_s": number(result.ppf),
        "fixtures": [
            {
                "name": name,
                "ppf_umol_s": number(f.ppf),
                "watts": number(f.running_watts),
                "photoperiod_hours": number(f.lit_hours, 4),
                "dimming": number(f.level),
            }
            for name, f in lights
        ],
        "watts": number(sum(w for w in (f.running_watts for _, f in lights) if w is not None) or None),
        "plantings": _by_tank(traced, planting_reports, planting_entry),
        TANK_STANDARD_KEY: number(zones[0].tank.standard, 4),
        "assumptions": assumption_entries(scene, zones[0].tank),
        "notes": [*scene.notes, *result.compiled.notes],
        "versions": versions(),
    }
