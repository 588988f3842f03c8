"""Where light falls that no plant uses, so that algae may: bare substrate, hardscape and panes brighter than a threshold.

    found = algae_of(traced.lowered, traced.result)
    print(found.share.value, [(one.name, one.light.value) for one in found.surfaces])

- *Threshold*: see `scene.targets.algae_threshold`. It is compared with what falls on the surface itself, on patches of a few
  centimetres. Where a zone waits for plants, they are taken to use light up to the top of their band.
- *Bare*: the substrate outside the outlines of rooted plants; hardscape between substrate and water (leaves on it cast their
  shade by themselves); the panes there, where they were divided into cells.
- *Light*: what falls on patches above the threshold, as a share of all light that the fixtures give.

What would lower it is arithmetic on the same counts.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from underlit.lowering.aquascape.bed import bare_bottom
from underlit.lowering.compiled import Mesh
from underlit.lowering.records import Part, Role
from underlit.lowering.scene import Lowered
from underlit.lowering.shapes.shape import face_areas
from underlit.lowering.tallies import ABOVE_TOPS
from underlit.planning.jackknife import jackknife, jackknife_error
from underlit.planning.panes import PaneMap, pane_maps
from underlit.planning.patches import Patches, numbered
from underlit.planning.pools import Cells, pooled
from underlit.planning.ranges import TankRange, TankRanges
from underlit.planning.surfaces import mean_of, upper_cells
from underlit.planning.vertical_profiles import shares_of_cells, vertical_profile
from underlit.planning.zones import SURE
from underlit.results.estimate import Estimate
from underlit.results.result import Result
from underlit.results.stored import StoredResult
from underlit.scene import Band, PlantKind
from underlit.scene.targets import algae_threshold

PATCHES_M = (0.03, 0.04, 0.06)
"""Sides of patches that are tried, finest first [m]: from a meter head on."""
NOISIEST = 0.05
"""Typical relative standard error of a patch up to which the finest size is taken."""
BARE, BOTTOM = "bare substrate", "bottom pane"
"""What lies below, with substrate and without."""
COLUMNS, ROWS = ("left", "middle", "right"), ("front", "middle", "back")
CLEAR = 0.95
"""Dimming goes on until so much of the light above the threshold is gone, if the plants allow it."""
FLOATING_COVER, FLOATING_TAKE = 0.25, (0.20, 0.30)
"""Floating plants over a quarter of the surface take 20 to 30 % of the light; common practice, no source."""
USUAL_HOURS = {True: 8.0, False: 6.0}
"""Photoperiod of a settled and of a new tank [h]; common practice, no source."""
_SURE_STANDARD = 0.8416
"""Standard normal quantile of `SURE`."""
_LEAST_BARE = 0.25
"""A patch of the bed counts where at least this share of it is bare."""
WORTH_SAYING = 0.01
"""Shares of the light below this are hardly any."""
_WORTH_DOING = 0.75
"""A measure is told where it leaves at most this part of the light above the threshold."""


@dataclass(frozen=True)
class Lit:
    """A surface that no plant covers: its patches, and the light on them [umol/m2/s].

    thresholds: of the patches (k,) [umol/m2/s]; above: share of its area above them; light: share of the fixtures' light that
    falls there.
    """

    name: str
    role: Role
    patches: Patches
    thresholds: np.ndarray
    ppfd: Estimate
    above: Estimate
    light: Estimate

    @property
    def area_m2(self) -> float:
        """Its area."""
        return float(self.patches.weights.sum())

    def flux_above(self, factor: float = 1.0) -> float:
        """Light on patches above the threshold once all lights are dimmed by a factor, as it was before [umol/s]."""
        values, weights = self.patches.values, self.patches.weights
        return float((values * weights)[values * factor >= self.thresholds].sum())


@dataclass(frozen=True)
class Ninth:
    """A part of the bed in words, the mean PPFD of its bare patches above the threshold, and their share of all light."""

    place: str
    ppfd: float
    light: float


@dataclass(frozen=True)
class Wants:
    """What something that grows, or should grow, wants: its light now [umol/m2/s], its band, and the tank error of the light."""

    name: str
    ppfd: Estimate
    band: Band
    tank: TankRange


@dataclass(frozen=True)
class Dimmer:
    """All lights at factor times what they are set to: their setting (share of full power of the brightest channel) and what
    share of the light then falls above the threshold where no plant uses it. suits_zones: it is the setting for the zones.
    """

    factor: float
    setting: float
    share: float
    suits_zones: bool = False


@dataclass(frozen=True)
class Algae:
    """Light that no plant uses.

    threshold [umol/m2/s]; share: of the light, of all surfaces together; bed: PPFD on patches of the bare bed (rows, columns),
    front row first, NaN where it is planted or covered, and their thresholds; planted: where it is planted; panes: their maps.

    dimmed: how far the lights can be dimmed, None where that helps nothing or takes from plants what they need; too_dim: names
    of those that get too little already; floating: the share under floating plants that cover a quarter, None where
    some float already or that helps little; starved: names of what these would leave too dim; ninth: where planting would
    use most; hours, usual_hours: the photoperiod, and what is usual; waiting: how many zones wait for plants.
    """

    threshold: float
    surfaces: tuple[Lit, ...]
    share: Estimate
    bed: np.ndarray
    bed_thresholds: np.ndarray
    planted: np.ndarray
    panes: tuple[PaneMap, ...]
    wants: tuple[Wants, ...]
    dimmed: Dimmer | None
    too_dim: tuple[str, ...]
    floating: float | None
    starved: tuple[str, ...]
    ninth: Ninth | None
    hours: float
    usual_hours: float
    waiting: int


def algae_of(lowered: Lowered, result: Result, *, suits_zones: float | None = None) -> Algae | None:
    """Light that no plant uses in the tank that a lowered scene is seen from; None in the dark.

    suits_zones: setting of all lights together that suits most zones (`planning.decision`), where it is known: dimming to it is
    told if it helps, else how far dimming may go.
    """
    if not result.ppf > 0 or result.compiled.bed_map is None:
        return None
    scene = lowered.scene
    answers = {"added_co2": scene.has_added_co2, "settled": scene.is_settled}
    threshold = algae_threshold(**answers)
    bed = _bed(lowered, result, threshold)
    panes = () if isinstance(result, StoredResult) else tuple(pane_maps(lowered, result))
    surfaces = [lit for lit in (bed.lit, *_hardscape(lowered, result, threshold)) if lit is not None]
    surfaces += [_lit(result, f"{one.side} pane", Role.SHELL, one.patches, threshold) for one in panes]
    wants = tuple(_wants(lowered, result))
    floats = any(plants.kind is PlantKind.FLOATING or plants.floats for plants in scene.plants)
    left = 1.0 - float(np.mean(FLOATING_TAKE))
    return Algae(
        threshold=threshold,
        surfaces=tuple(surfaces),
        share=_share_of_all(surfaces),
        bed=bed.values,
        bed_thresholds=bed.thresholds,
        planted=bed.planted,
        panes=panes,
        wants=wants,
        dimmed=_as_zones_want(result, surfaces, suits_zones) or _dimmed(result, surfaces, wants),
        too_dim=tuple(one.name for one in wants if one.ppfd.value < one.band.low),
        floating=None if floats else _if_worth_it(share_at(result, surfaces, left), share_at(result, surfaces, 1.0)),
        starved=tuple(one.name for one in wants if left * one.ppfd.value < one.band.low <= one.ppfd.value),
        ninth=bed.brightest_ninth(result),
        hours=max(fixture.lit_hours for fixture in lowered.lights),
        usual_hours=USUAL_HOURS[scene.is_settled],
        waiting=len(list(_waiting(lowered))),
    )


def share_at(result: Result, surfaces: Sequence[Lit], factor: float) -> float:
    """Share of the light that falls above the threshold once all lights are dimmed by a factor."""
    return math.fsum(lit.flux_above(factor) for lit in surfaces) / result.ppf


def _if_worth_it(then: float, now: float) -> float | None:
    return then if then <= _WORTH_DOING * now else None


def _share_of_all(surfaces: Sequence[Lit]) -> Estimate:
    """The shares of all surfaces together; their errors are taken as independent."""
    error = math.sqrt(math.fsum(lit.light.standard_error**2 for lit in surfaces))
    value = math.fsum(lit.light.value for lit in surfaces)
    return Estimate(value, error, min((lit.light.dof for lit in surfaces), default=math.inf))


def _lit(result: Result, name: str, role: Role, patches: Patches, threshold: float | np.ndarray) -> Lit:
    thresholds = np.broadcast_to(np.asarray(threshold, dtype=np.float64), patches.values.shape)
    area, up = patches.weights, patches.values >= thresholds
    shares = area / area.sum()
    return Lit(
        name,
        role,
        patches,
        thresholds,
        ppfd=jackknife(float(patches.values @ shares), patches.without @ shares, corrected=False),
        above=_sum_above(patches, thresholds, float(shares[up].sum()), shares, np.zeros(0)),
        light=_sum_above(
            patches,
            thresholds,
            float((patches.values * area)[up].sum() / result.ppf),
            patches.values * area / result.ppf,
            patches.without[:, up] @ area[up] / result.ppf,
        ),
    )


def _sum_above(
    patches: Patches, thresholds: np.ndarray, value: float, parts: np.ndarray, without: np.ndarray
) -> Estimate:
    """A sum of parts (k,) over the patches above their thresholds, with two errors: each patch may be on the other side, by
    its own error, and the sum over the same patches errs by itself (without each group, (groups,); empty where it does not).
    """
    from scipy.special import ndtr

    groups = len(patches.without)
    if groups < 2:
        return Estimate(value, math.inf, 0.0)
    spread = np.maximum(jackknife_error(patches.without), 1e-12)
    chance = ndtr((patches.values - thresholds) / spread)
    across = math.sqrt(float((parts**2 * chance * (1.0 - chance)).sum()))
    along = float(jackknife_error(without)) if len(without) else 0.0
    return Estimate(value, math.hypot(across, along), groups - 1.0)


# -- the bed ----------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class _Bed:
    """The bare bed: what is lit there (None where nothing is bare), and its patches as (rows, columns)."""

    lit: Lit | None
    values: np.ndarray
    thresholds: np.ndarray
    planted: np.ndarray

    def brightest_ninth(self, result: Result) -> Ninth | None:
        """The part of the bed where most light falls above the threshold; nothing is planted on a bare pane."""
        if self.lit is None or self.lit.name == BOTTOM:
            return None
        rows, columns = self.values.shape
        area = np.zeros((rows, columns))
        area[np.isfinite(self.values)] = self.lit.patches.weights
        area[~(self.values >= self.thresholds)] = 0.0
        part = numbered((columns, rows), len(COLUMNS), len(ROWS)).ravel()
        size = np.bincount(part, area.ravel(), minlength=9)
        flux = np.bincount(part, (np.nan_to_num(self.values) * area).ravel(), minlength=9)
        names = [f"{row} {column}" for row in ROWS for column in COLUMNS]
        found = [
            Ninth("middle" if name == "middle middle" else name, float(f / a), float(f / result.ppf))
            for name, f, a in zip(names, flux, size, strict=True)
            if a > 0
        ]
        best = max(found, key=lambda one: one.light, default=None)
        return best if best is not None and best.light >= WORTH_SAYING else None


def _bed(lowered: Lowered, result: Result, threshold: float) -> _Bed:
    grid = result.compiled.bed_map
    assert grid is not None
    (nx, ny, _), (dx, dy, _), reached = grid.shape, grid.spacing, grid.open_area[0]
    bare = np.ones((ny, nx))
    for plants, grown in zip(lowered.scene.plants, lowered.plantings, strict=True):
        if plants.is_rooted and grown.outline is not None:
            bare *= 1.0 - shares_of_cells(grid, grown.outline)
    limit = np.full((ny, nx), threshold)
    for outline, high in _waiting(lowered):
        limit[shares_of_cells(grid, outline) > 0.5] = max(threshold, high)
    for side in PATCHES_M:
        rows, columns = (max(1, round(n * d / side)) for n, d in ((ny, dy), (nx, dx)))
        number = numbered((nx, ny), columns, rows)

        def summed(values: np.ndarray, number: np.ndarray = number, patches: int = rows * columns) -> np.ndarray:
            return np.bincount(number.ravel(), values.ravel(), minlength=patches)

        least = _LEAST_BARE * (nx * dx / columns) * (ny * dy / rows)
        used = summed(reached * bare) > least
        values, thresholds = np.full(rows * columns, np.nan), np.full(rows * columns, threshold)
        lit = None
        if used.any():
            cells = np.flatnonzero(used[number].ravel() & ((reached * bare).ravel() > 0))
            patch = (np.cumsum(used) - 1)[number.ravel()[cells]]
            index, area = result.cells("map").start + cells, (reached * bare).ravel()[cells]
            patches = pooled(result, Cells(index, area, bare.ravel()[cells], patch))
            thresholds[used] = summed(limit * reached * bare)[used] / summed(reached * bare)[used]
            values[used] = patches.values
            lit = _lit(result, BOTTOM if bare_bottom(lowered.scene) else BARE, Role.BED, patches, thresholds[used])
        if lit is None or lit.patches.noise <= NOISIEST:
            break
    planted = ~used & (summed(reached) > least)
    return _Bed(lit, *(found.reshape(rows, columns) for found in (values, thresholds, planted)))


def _waiting(lowered: Lowered) -> Iterator[tuple[np.ndarray, float]]:
    """Outline (k, 2) [m] and high end of the band of each zone that waits for plants to be put there."""
    scene = lowered.scene
    for zone in scene.zones:
        band = scene.band_of(zone)
        if band is not None and zone.outline_keys:
            yield np.array(zone.polygon), band.high


# -- hardscape --------------------------------------------------------------------------------------------------------
def _hardscape(lowered: Lowered, result: Result, threshold: float) -> Iterator[Lit]:
    if isinstance(result, StoredResult):
        return
    pieces: dict[Part, list[Mesh]] = {}
    for mesh in result.compiled.own_meshes:
        if mesh.role in (Role.WOOD, Role.STONE):
            pieces.setdefault(mesh.part.whole, []).append(mesh)
    for part, meshes in pieces.items():
        cells = _wet_cells(lowered, result, meshes)
        if cells is not None:
            patches = next(_finest(result, cells))
            yield _lit(result, f"{part.role}: {part.part}", part.role, patches, threshold)


def _wet_cells(
    lowered: Lowered, result: Result, meshes: Sequence[Mesh]
) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Index, area [m2] and middle (n, 3) [m] of the faces between substrate and water, seen from outside."""
    scene, first = lowered.scene, result.cells("faces").start
    index, area, middle = [], [], []
    for mesh in meshes:
        at = mesh.vertices[mesh.faces].mean(axis=1)
        wet = (at[:, 2] > scene.bed_heights_m(at[:, 0], at[:, 1])) & (at[:, 2] < scene.water_level_m)
        index.append(first + 2 * mesh.face_slots()[wet])
        area.append(face_areas(mesh.vertices, mesh.faces)[wet])
        middle.append(at[wet])
    found = np.concatenate(index), np.concatenate(area), np.concatenate(middle)
    return found if found[1].sum() > 0 else None


def _finest(result: Result, cells: tuple[np.ndarray, np.ndarray, np.ndarray]) -> Iterator[Patches]:
    """Faces pooled in cubes, the finest whose noise is small enough, else the largest."""
    index, area, middle = cells
    for side in PATCHES_M:
        _, patch = np.unique(np.floor(middle / side).astype(np.int64), axis=0, return_inverse=True)
        patches = pooled(result, Cells(index, area, np.ones(len(area)), patch.reshape(-1)))
        if patches.noise <= NOISIEST or side == PATCHES_M[-1]:
            yield patches
            return


# -- what would lower it ----------------------------------------------------------------------------------------------
def _wants(lowered: Lowered, result: Result) -> Iterator[Wants]:
    """All zones with a band, and plantings with one that no zone is about: level over their tops, or on their leaves."""
    scene = lowered.scene
    ranges = TankRanges(lowered, result)
    for number, (place, mean) in enumerate(zip(lowered.own_zones, result.zone_estimates(), strict=True)):
        zone = lowered.zone_of(place)
        band = None if zone is None else scene.band_of(zone)
        if band is not None:
            yield Wants(place.zone, mean, band, ranges.zone(number))
    spoken_for = {zone.plants for zone in scene.zones}
    for plants, grown in zip(scene.plants, lowered.plantings, strict=True):
        band = plants.wanted(added_co2=scene.has_added_co2, settled=scene.is_settled)
        if band is None or plants.name in spoken_for:
            continue
        part = Part(grown.name, Role.PLANTS, tank=lowered.tank)
        over = _over_tops(result, grown.outline, grown.top)
        ppfd = over or mean_of(result, upper_cells(scene, result, result.compiled.faces_of(part)))
        if ppfd is not None:
            yield Wants(plants.name, ppfd, band, ranges.planting(part))


def _over_tops(result: Result, outline: np.ndarray | None, top: float) -> Estimate | None:
    if outline is None or result.compiled.planes is None:
        return None
    try:
        return vertical_profile(result, outline).at([top + ABOVE_TOPS])[0]
    except ValueError:
        return None


def _level(result: Result) -> float:
    """How the lights are set: the brightest channel's share of full power."""
    return max((result.dimming.get(source, 1.0) for source in result.compiled.sources), default=0.0)


def _as_zones_want(result: Result, surfaces: Sequence[Lit], setting: float | None) -> Dimmer | None:
    """Dimming to the setting that suits the zones, where that lowers it enough."""
    if setting is None or not 0 < setting < _level(result):
        return None
    factor = setting / _level(result)
    then = _if_worth_it(share_at(result, surfaces, factor), share_at(result, surfaces, 1.0))
    return None if then is None else Dimmer(factor, setting, then, suits_zones=True)


def _dimmed(result: Result, surfaces: Sequence[Lit], wants: Sequence[Wants]) -> Dimmer | None:
    """As far as plants surely still get the low end of their bands, and no farther than helps."""
    level = _level(result)
    least = max((_least_factor(one) for one in wants), default=0.0)
    now = share_at(result, surfaces, 1.0)
    if now < WORTH_SAYING or not math.isfinite(least):
        return None
    values, thresholds, area = (
        np.concatenate(parts)
        for parts in zip(*((x.patches.values, x.thresholds, x.patches.weights) for x in surfaces), strict=True)
    )
    up = values >= thresholds
    ratios, flux = thresholds[up] / values[up], (values * area)[up]
    order = np.argsort(ratios)
    clear = ratios[order][np.searchsorted(np.cumsum(flux[order]), (1 - CLEAR) * flux.sum())]
    setting = max(math.ceil(100 * least * level - 1e-9), math.floor(100 * float(clear) * level)) / 100
    factor = setting / level
    then = share_at(result, surfaces, factor)
    return Dimmer(factor, setting, then) if factor < 1 and then <= _WORTH_DOING * now else None


def _least_factor(one: Wants) -> float:
    """By which factor light may be dimmed so that it still reaches the low end of a band with a probability of 80 %."""
    surely = one.ppfd.value * float(np.quantile(one.tank.ratios, 1.0 - SURE)) - _SURE_STANDARD * one.ppfd.standard_error
    return one.band.low / surely if surely > 0 else math.inf
