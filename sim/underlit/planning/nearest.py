"""The nearest thing that can be met for a zone that no setting of the light suits: another place, or the lid opened.

Read from a kept result: the map of the bed, the light planes and the ledger.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from underlit.lowering.records import PAST_THE_TANK
from underlit.lowering.scene import Lowered
from underlit.lowering.tallies import ZonePlace
from underlit.planning.patches import numbered
from underlit.results.result import Result
from underlit.scene import Band, Scene

LID_LINES = ("lid", "dirt on the lid", "strips on the lid")
"""Lines of the ledger that an opened lid would give back."""
COLUMNS, ROWS = ("left", "middle", "right"), ("front", "middle", "back")


@dataclass(frozen=True)
class Elsewhere:
    """A part of the tank, in words, whose light as decided [umol/m2/s] lies in a zone's band: on the bed, or at its height."""

    place: str
    value: float
    on_bed: bool


def lid_gain(result: Result) -> float:
    """How many times more light comes into the tank with the lid off, at the least: what its glass, dirt and strips take.

    What it reflects is not told apart in the ledger, so the truth is a little more.
    """
    shares = zip(result.compiled.lines, result.line_shares(), strict=True)
    taken = math.fsum(share for line, share in shares if line.what in LID_LINES)
    arrives = 1.0 - result.share_of(PAST_THE_TANK)
    return 1.0 if taken >= arrives else arrives / (arrives - taken)


def elsewhere(lowered: Lowered, result: Result, unmet: Sequence[tuple[str, int, Band]]) -> dict[str, Elsewhere]:
    """Where on the bed, or at its height, an unmet zone would be in its band as set, by its name.

    unmet: name, number in the result and band [umol/m2/s] of each.
    """
    found = {}
    for name, index, band in unmet:
        number = lowered.zones[index]
        scene, own = lowered.scene_of(number.tank), result.of_tank(number.tank)
        place = next(one for one in lowered.rack[number.tank].zones if one.zone == number.zone)
        here = _ninth_of(scene, place)
        fitting = {
            where: value
            for where, value in _ninths(own, place.z).items()
            if where != here and band.low <= value <= band.high
        }
        if here and fitting:
            wish = math.sqrt(max(band.low, 1.0) * band.high)
            off = {where: abs(math.log(value / wish)) for where, value in fitting.items()}
            where = min(off, key=off.__getitem__)
            found[name] = Elsewhere(where, fitting[where], place.z is None)
    return found


def has_lid(result: Result) -> bool:
    """Whether any tank of a result has a lid: it has lines of the ledger."""
    return any(line.what in LID_LINES for line in result.compiled.lines)


def _ninth_of(scene: Scene, place: ZonePlace) -> str:
    """The ninth of the plan in which the middle of a zone lies; empty where nobody says."""
    zone = next(zone for zone in scene.zones if zone.name == place.zone)
    stands = next(
        (p for p in (*scene.plants, *scene.wood, *scene.stone) if p.name in (zone.plants, zone.hardscape)), None
    )
    points = [*(place.outline if place.outline is not None else getattr(stands, "polygon", ()))]
    if not points and getattr(stands, "at", None) is not None:
        points = [stands.at]  # type: ignore[union-attr]
    if not points:
        return ""
    x, y = np.mean(points, axis=0)
    length, depth, _ = scene.tank.inside_m
    column, row = (min(max(int(3 * at / size), 0), 2) for at, size in ((x, length), (y, depth)))
    return f"{ROWS[row]} {COLUMNS[column]}"


def _ninths(result: Result, height_m: float | None) -> dict[str, float]:
    """Mean PPFD of each ninth of the plan, on the bed or on the light plane nearest to a height, by its name."""
    grid = result.compiled.bed_map if height_m is None else result.compiled.planes
    if grid is None:
        return {}
    level = 0 if height_m is None else round((height_m - grid.origin[2]) / grid.spacing[2])
    values = result.on_grid(grid).value[min(max(level, 0), grid.shape[2] - 1)]
    parts = numbered(grid.shape[:2], len(COLUMNS), len(ROWS))
    names = [f"{row} {column}" for row in ROWS for column in COLUMNS]
    means = {name: values[(parts == number) & np.isfinite(values)] for number, name in enumerate(names)}
    return {name: float(cells.mean()) for name, cells in means.items() if len(cells)}
