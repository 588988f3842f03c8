"""What plants get and what they take: for each planting its leaf area, the light on its leaves, the light it takes away.

- *Over its tops*: light that comes down there on a level meter head, and the verdict against the band of the planting. Bands
  are given for that light. Leaves lean and shade each other, so they get less; that is no second verdict.
- *Leaf area above its need*: share of the leaf area whose upper sides get at least the low end of the band that the planting
  wants. Counted on pools of leaves in cubes of 1, 2 or 3 cm, the smallest whose typical relative standard error is at most
  a tenth; given no number while all are noisier.
- *Light from above*: what comes down through the planting's footprint on the first light plane over its tops. The footprint is
  its outline; of plants without one, the cells of that plane that hold their leaves.
- *Takes*: light that its leaves absorb (the ledger's line), over the light from above. Light that comes in from the side counts
  too, so a thin bunch in the open may take more than all of that.
- *Lets through*: light that comes down under it, over the light from above: on the substrate of the footprint for rooted plants,
  on the first light plane below for those that float; none is given on wood, which stops the light itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from underlit.lowering.aquascape.plants import Grown
from underlit.lowering.records import Line, Part, Role
from underlit.lowering.scene import Lowered
from underlit.planning.jackknife import jackknife, jackknife_error, used_groups
from underlit.planning.ranges import TankRange, TankRanges
from underlit.planning.surfaces import UpperCells, layers_of, mean_of, upper_cells
from underlit.planning.vertical_profiles import shares_of_cells
from underlit.planning.zones import Verdict, judged
from underlit.results.estimate import Estimate, combine, mean_of_groups
from underlit.results.result import Result
from underlit.results.stored import StoredResult
from underlit.scene.aquascape.plants import PlantKind, Plants
from underlit.scene.targets import Band

POOLS_M = (0.01, 0.02, 0.03)
NOISIEST_POOL = 0.1
"""Typical relative standard error of a pool of leaves up to which a share above the need is given."""
_FEWEST_POOLS = 4


@dataclass(frozen=True)
class PlantingReport:
    """A planting: as grown, its light [umol/m2/s], layers lowest first, and what it takes (see the module).

    over_tops: light that comes down just over it, level, which is what bands are given for; verdict: of that; tank:
    range of it in the real tank.
    """

    grown: Grown
    form: str
    over_tops: Estimate | None
    verdict: Verdict
    tank: TankRange
    upper: Estimate | None
    layers: tuple[Estimate | None, ...]
    band: Band | None
    above_need: Estimate | None
    takes: Estimate | None
    lets_through: Estimate | None


def planting_reports(lowered: Lowered, result: Result) -> list[PlantingReport]:
    """Reports of all plantings of a scene, in its order."""
    scene, ranges = lowered.scene, TankRanges(lowered, result)
    reports = []
    for plants, grown in zip(scene.plants, lowered.plantings, strict=True):
        part = Part(grown.name, Role.PLANTS, tank=lowered.tank)
        cells = upper_cells(scene, result, result.compiled.faces_of(part))
        band = plants.wanted(added_co2=scene.has_added_co2, settled=scene.is_settled)
        above = _light_from_above(result, grown, cells)
        over_tops = None if above is None else above.ppfd
        tank = _range(lowered, ranges, part)
        said = Verdict.NO_TARGET if over_tops is None else judged(over_tops, tank, band)[0]
        reports.append(
            PlantingReport(
                grown=grown,
                form=str(plants.leaf_form or plants.kind),
                over_tops=over_tops,
                verdict=said,
                tank=tank,
                upper=mean_of(result, cells),
                layers=layers_of(scene, result, plants, cells),
                band=band,
                above_need=None if band is None else _share_above(result, cells, band.low),
                takes=None if above is None else _takes(result, part, above),
                lets_through=None if above is None else _lets_through(result, plants, grown, above),
            )
        )
    return reports


def _range(lowered: Lowered, ranges: TankRanges, part: Part) -> TankRange:
    """Range of the light over a planting's tops: that of the zone that the scene makes of it, or of its leaves."""
    for number, place in enumerate(lowered.own_zones):
        zone = lowered.zone_of(place)
        if zone is not None and zone.plants == part.part:
            return ranges.zone(number)
    return ranges.planting(part)


# -- leaf area above its need -----------------------------------------------------------------------------------------
def _share_above(result: Result, cells: UpperCells, low: float) -> Estimate | None:
    """Share of the leaf area that gets at least `low` [umol/m2/s], with the jackknife's error; None while too noisy."""
    if isinstance(result, StoredResult):
        return _share_above_stored(result, cells, low)
    used = used_groups(result)
    if len(used) < 2:
        return None
    for pool, area in _pools(cells):
        values = _pool_values(result, cells, pool, area, None)
        without = np.array([_pool_values(result, cells, pool, area, g) for g in used])
        if _typical_noise(values, jackknife_error(without), area) <= NOISIEST_POOL:
            share = float(area[values >= low].sum() / area.sum())
            return jackknife(share, (without >= low) @ area / area.sum(), corrected=False)
    return None


def _share_above_stored(result: StoredResult, cells: UpperCells, low: float) -> Estimate | None:
    """The same from a stored result, which has no groups of faces: pools err by themselves, each by its chance of the other
    side.
    """
    from scipy.special import ndtr

    mean, variance, dof = result.face_flux()
    for pool, area in _pools(cells):
        values = np.bincount(pool, mean[cells.index], minlength=len(area)) / area
        spread = np.sqrt(np.bincount(pool, variance[cells.index], minlength=len(area))) / area
        if _typical_noise(values, spread, area) <= NOISIEST_POOL:
            chance = ndtr((values - low) / np.maximum(spread, 1e-12))
            error = math.sqrt(float((area**2 * chance * (1 - chance)).sum())) / area.sum()
            return Estimate(float(area[values >= low].sum() / area.sum()), float(error), dof)
    return None


def _pools(cells: UpperCells) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Number of the pool of each cell, and area of each pool [m2], for cubes of growing size while there are enough."""
    for size in POOLS_M if len(cells.index) else ():
        _, pool = np.unique(np.floor(cells.middle / size).astype(np.int64), axis=0, return_inverse=True)
        area = np.bincount(pool.reshape(-1), cells.area)
        if len(area) < _FEWEST_POOLS:
            return
        yield pool.reshape(-1), area


def _typical_noise(values: np.ndarray, spread: np.ndarray, area: np.ndarray) -> float:
    """Relative standard error of the pool in the middle, by area."""
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = np.where(values > 0, spread / values, np.inf)
    order = np.argsort(relative)
    return float(relative[order[np.searchsorted(np.cumsum(area[order]), 0.5 * area.sum())]])


def _pool_values(
    result: Result, cells: UpperCells, pool: np.ndarray, area: np.ndarray, left_out: int | None
) -> np.ndarray:
    """Mean PPFD of each pool (k,), of all groups of batches or all but one."""
    flux = np.zeros(len(area))
    for i, counts in enumerate(result.counts):
        weight = counts.group_batches.astype(np.float64)
        if left_out is not None:
            weight[left_out] = 0.0
        keep = weight > 0
        total = counts.groups[keep][:, cells.index].sum(axis=0)
        flux += np.bincount(pool, total, minlength=len(area)) / weight.sum() * result.source_scale(i)
    return np.asarray(flux / area)


# -- light that it takes ----------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class _FromAbove:
    """Light from above [umol/s] as an estimate, and the footprint: share of each cell of a plane in it, (ny, nx).

    area: of the footprint, as far as light can reach it there [m2].
    """

    flux: Estimate
    footprint: np.ndarray
    area: float

    @property
    def ppfd(self) -> Estimate:
        """The light on a level meter head there [umol/m2/s]."""
        return Estimate(self.flux.value / self.area, self.flux.standard_error / self.area, self.flux.dof)


def _light_from_above(result: Result, grown: Grown, cells: UpperCells) -> _FromAbove | None:
    grid = result.compiled.planes
    if grid is None or len(cells.index) == 0:
        return None
    level = math.ceil((grown.top - grid.origin[2]) / grid.spacing[2] - 1e-9)
    if level >= grid.shape[2]:
        return None
    if grown.outline is not None:
        footprint = shares_of_cells(grid, grown.outline)
    else:
        footprint = np.zeros((grid.shape[1], grid.shape[0]))
        i, j = (((cells.middle[:, k] - grid.origin[k]) / grid.spacing[k]).astype(int) for k in (0, 1))
        footprint[np.clip(j, 0, grid.shape[1] - 1), np.clip(i, 0, grid.shape[0] - 1)] = 1.0
    flux = _flux_down(result, "planes", max(level, 0), footprint)
    area = float((grid.open_area[max(level, 0)] * footprint).sum())
    return _FromAbove(flux, footprint, area) if flux.value > 0 and area > 0 else None


def _flux_down(result: Result, name: str, level: int, footprint: np.ndarray) -> Estimate:
    """Light that comes down through a footprint [umol/s], on a level of the planes or on the map of the bed."""
    chosen = np.flatnonzero(footprint.ravel() > 0)
    first = result.cells(name).start + level * footprint.size
    cells, weights = first + chosen, footprint.ravel()[chosen]
    parts = []
    for i, counts in enumerate(result.counts):
        batches = np.maximum(counts.group_batches, 1)
        means = counts.groups[:, cells] @ weights / batches * result.source_scale(i)
        parts.append(mean_of_groups(means, counts.group_batches))
    value, error, dof = combine(parts)
    return Estimate(float(value), float(error), float(dof))


def _ratio(above: Estimate, below: Estimate) -> Estimate:
    """below over above, their errors taken as independent (they move together, so it is nearer than said)."""
    value = below.value / above.value
    relative = math.hypot(above.standard_error / above.value, below.standard_error / max(below.value, 1e-300))
    return Estimate(value, value * relative, min(above.dof, below.dof))


def _takes(result: Result, part: Part, above: _FromAbove) -> Estimate:
    """Light absorbed over light from above; the error of what is absorbed is that of what falls on the leaves."""
    absorbed = result.share_of(Line("plants", part.part, tank=part.tank)) * result.ppf
    slots = np.unique(np.concatenate([m.face_slots() for m in result.compiled.faces_of(part)]))
    start = result.cells("faces").start
    falls = result.mean_over_faces(np.concatenate([start + 2 * slots, start + 2 * slots + 1]), 1.0)
    relative = falls.standard_error / falls.value if falls.value > 0 else 0.0
    return _ratio(above.flux, Estimate(absorbed, absorbed * relative, falls.dof))


def _lets_through(result: Result, plants: Plants, grown: Grown, above: _FromAbove) -> Estimate | None:
    if grown.outline is None:
        return None
    if plants.kind is PlantKind.FLOATING or plants.floats:
        grid = result.compiled.planes
        assert grid is not None
        lowest = float(grown.shape.vertices[np.unique(grown.shape.faces), 2].min())
        level = math.floor((lowest - grid.origin[2]) / grid.spacing[2])
        return None if level < 0 else _ratio(above.flux, _flux_down(result, "planes", level, above.footprint))
    bed = result.compiled.bed_map
    if bed is None:
        return None
    return _ratio(above.flux, _flux_down(result, "map", 0, shares_of_cells(bed, grown.outline)))
