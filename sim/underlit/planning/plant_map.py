"""Where each plant can grow under a given light: too dim, right, more than it needs, so that planting follows the light.

    from underlit import load_scene
    from underlit.planning.plant_map import plant_map

    for place in plant_map(load_scene("scenes/carpet-plan.toml"), ["hairgrass", "sword", "medium"]).places:
        print(place.wish.name, place.share(Fit.RIGHT), [(part.place, part.grows, part.low, part.high) for part in place.parts])

A plant is judged by the light that comes down at its tops, level, where it would stand. Patch by patch that is too dim, right or
more than it needs, as the lights are set. Part by part (ninths of the bed) the lights may be dimmed or brightened, all alike: a
plant grows there at a setting that is not too dim for it with a probability of 80 % and not surely, with 80 %, too bright.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum, StrEnum

import numpy as np

from underlit.catalogue import Catalogue, Entry, Kind, load_catalogue
from underlit.catalogue.entry import loose_name
from underlit.lowering.scene import lower
from underlit.planning.chart.target import LOWEST_SETTING
from underlit.planning.over_bed import over_bed
from underlit.planning.patches import numbered
from underlit.planning.ranges import HALF_WIDTH, TankRanges, chances_inside
from underlit.planning.zones import SURE
from underlit.results.result import Field, Result
from underlit.run import Traced, trace_whole
from underlit.scene import Band, Need, PlantKind, Scene, band_for
from underlit.text.problem import shown
from underlit.text.suggest import did_you_mean

PHOTONS = 1 << 20
PATCH_M = 0.04
NEED_HEIGHT_M = 0.03
"""Height over the substrate at which a bare need is judged: a low plant, or a meter head."""
ON_HARDSCAPE_M = 0.08
"""Height over the substrate at which plants on wood or stone are judged."""
_LIGHT_WORDS = {"low": Need.UNDEMANDING, "medium": Need.MEDIUM, "high": Need.DEMANDING}
"""Words of the hobby for needs, as in low-light plants."""
_SURE_STANDARD = 0.8416
"""Standard normal quantile of `SURE`."""
STAYS = (PlantKind.FLOATING, PlantKind.EPIPHYTES)
"""Plants that stay in the tank while the bed is being planted: those that do not stand in it."""
BED_KINDS = (PlantKind.CARPET, PlantKind.STEMS, PlantKind.ROSETTES)
COLUMNS, ROWS = ("left", "middle", "right"), ("front", "middle", "back")


class PlantMapError(ValueError):
    """Something the user can put right, in one line."""


class Fit(IntEnum):
    """How a plant's light is; COVERED where no light comes down."""

    COVERED = -1
    TOO_DIM = 0
    RIGHT = 1
    MORE = 2


class Grows(StrEnum):
    """Whether a plant grows in a part of the bed at some setting of the lights."""

    GROWS = "grows"
    MARGINAL = "marginal"
    NOT = "not here"
    TOO_BRIGHT = "too bright"


@dataclass(frozen=True)
class Wish:
    """A plant, or a need: what light it wants [umol/m2/s] and how high its tops stand over the substrate [m].

    asked: the word by which it was asked for; kind: of plant, None for a need.
    """

    name: str
    band: Band
    height_m: float
    asked: str = ""
    kind: PlantKind | None = None


@dataclass(frozen=True)
class Part:
    """A ninth of the bed in words: its mean PPFD [umol/m2/s] as the lights are set, whether a plant grows there, and between
    which settings (shares of full power of the brightest channel; the others are dimmed alike).
    """

    place: str
    ppfd: float
    grows: Grows
    low: float
    high: float

    def grows_at(self, setting: float) -> bool:
        """Whether the plant grows there at a setting."""
        return self.low - 1e-9 <= setting <= self.high + 1e-9


@dataclass(frozen=True)
class PlantPlace:
    """Where a wish is fulfilled. ppfd (rows, columns) [umol/m2/s], front row first, NaN where covered; fit alike, `Fit`.

    sure: share of the bed where it is right with a probability of 80 % or more; reaches_surface: its tops would pass it; parts:
    ninths of the bed that are not covered.
    """

    wish: Wish
    ppfd: np.ndarray
    fit: np.ndarray
    sure: float
    reaches_surface: bool
    parts: tuple[Part, ...]

    def share(self, fit: Fit) -> float:
        """Share of the open bed that is so."""
        open_ones = self.fit != Fit.COVERED
        return float((self.fit[open_ones] == fit).mean()) if open_ones.any() else 0.0

    @property
    def where(self) -> tuple[str, ...]:
        """Ninths of the bed of which more than half is right: `front left`, `middle`."""
        found = []
        for name, part in _ninths(self.fit):
            open_ones = part != Fit.COVERED
            if open_ones.any() and (part[open_ones] == Fit.RIGHT).mean() > 0.5:
                found.append(name)
        return tuple(found)


def _ninths(values: np.ndarray) -> Iterator[tuple[str, np.ndarray]]:
    """Ninths of a map (rows, columns), front row first, by their names."""
    for row, band in zip(ROWS, np.array_split(values, len(ROWS), axis=0), strict=True):
        for column, part in zip(COLUMNS, np.array_split(band, len(COLUMNS), axis=1), strict=True):
            yield ("middle" if row == column else f"{row} {column}"), part


@dataclass(frozen=True)
class PlantMap:
    """Places of wishes over a traced scene whose bed was cleared of what stands in it (`cleared` names it).

    level: how the lights are set, the brightest channel's share of full power.
    """

    traced: Traced
    places: tuple[PlantPlace, ...]
    cleared: tuple[str, ...]
    noise: float
    level: float


def plant_map(
    scene: Scene,
    names: Sequence[str] = (),
    *,
    keep_plants: bool = False,
    photons: int = PHOTONS,
    seed: int = 1,
    threads: int | None = None,
) -> PlantMap:
    """Map where each plant can grow: too dim, right, or more light than it needs.

    For each name PPFD [umol/m2/s] and its fit on patches of 4 cm; noise: typical relative standard error of a patch.
    PlantMapError for a name that is neither a need nor a plant for the bed; SceneError or LoweringError where the scene
    without its plants cannot be built.

    Parameters
    ----------
    scene : Scene
        The tank and its light.
    names : sequence of str
        Plants of the catalogue, or needs; by default all needs and all plants for the bed.
    keep_plants : bool
        Leave what stands in the bed. By default it is taken out, and the panes stay as in a planted tank.
    photons, seed, threads : int
        To trace; of the random numbers; worker threads, by default all processors.
    """
    wishes = wishes_for(scene, names)
    shown_scene, cleared = (scene, ()) if keep_plants else cleared_bed(scene)
    lowered = lower(shown_scene.model_copy(update={"zones": (), "spots": ()}))
    traced = trace_whole(lowered, photons=photons, seed=seed, threads=threads)
    planes = traced.result.planes()
    level = max(traced.result.dimming.get(source, 1.0) for source in traced.result.compiled.sources)
    if not traced.result.ppf > 0:
        raise PlantMapError("all lights are off, so nothing can grow; set their dimming above 0")
    places = tuple(_place(traced, planes, wish, level) for wish in wishes)
    return PlantMap(traced, places, cleared, _noise(traced.result, planes), level)


def _noise(result: Result, planes: Field) -> float:
    """Typical relative standard error of a patch, its cells taken as independent."""
    grid = result.compiled.planes
    assert grid is not None
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = planes.standard_error / planes.value
    cells = PATCH_M**2 / (grid.spacing[0] * grid.spacing[1])
    return float(np.nanmedian(relative) / max(1.0, cells) ** 0.5)


def wishes_for(scene: Scene, names: Sequence[str] = ()) -> list[Wish]:
    """What the names want in this tank. Raises PlantMapError for one that is neither a need nor a plant for the bed."""
    answers = {"added_co2": scene.has_added_co2, "settled": scene.is_settled}
    needs = {str(need): Wish(str(need), band_for(need, **answers), NEED_HEIGHT_M) for need in Need}
    if not names:
        return [*needs.values(), *_catalogue_wishes(answers).values()]
    found, catalogue = [], None
    for name in names:
        plain = loose_name(name).removesuffix("plant").removesuffix("light")
        need = _LIGHT_WORDS.get(plain, plain)
        if need in needs:
            found.append(needs[need])
            continue
        catalogue = catalogue or _catalogue()
        entry = catalogue.find(Kind.PLANTS, name)
        wish = None if entry is None else _wish_of(entry, catalogue, answers)
        if wish is None:
            hint = did_you_mean(name, [*needs, *catalogue.names(Kind.PLANTS)])
            raise PlantMapError(f"{shown(name)} is neither a need nor a plant of the catalogue{hint}")
        found.append(replace(wish, asked=name))
    return found


def _catalogue() -> Catalogue:
    from underlit.scene.reader.entry_check import checked

    return checked(load_catalogue())


def _catalogue_wishes(answers: dict[str, bool]) -> dict[str, Wish]:
    """Wishes of the catalogue's plants that stand in the bed and say what light they need."""
    catalogue = _catalogue()
    wishes = [_wish_of(entry, catalogue, answers) for entry in catalogue.entries if entry.kind is Kind.PLANTS]
    return {wish.name: wish for wish in wishes if wish is not None and wish.kind in BED_KINDS}


def _wish_of(entry: Entry, catalogue: Catalogue, answers: dict[str, bool]) -> Wish | None:
    """What a plant wants; those that float are judged at the surface, those on wood or stone at the height of a low stone."""
    from underlit.scene.reader.entry_check import scene_around

    plants = scene_around(entry, catalogue).plants[0]
    usual = {PlantKind.FLOATING: math.inf, PlantKind.EPIPHYTES: ON_HARDSCAPE_M}.get(plants.kind)
    height = plants.height if plants.height is not None else usual
    if plants.needs is None or height is None:
        return None
    return Wish(entry.name, plants.needs.wanted(**answers), height, kind=plants.kind)


def cleared_bed(scene: Scene) -> tuple[Scene, tuple[str, ...]]:
    """The scene without the plants that stand in its bed, its panes as in a planted tank; and their names."""
    kept = tuple(group for group in scene.plants if group.kind in STAYS)
    names = tuple(group.name for group in scene.plants if group.kind not in STAYS)
    return scene.model_copy(update={"plants": kept}).taken_as_planted("plants are to grow in it"), names


def _place(traced: Traced, planes: Field, wish: Wish, level: float) -> PlantPlace:
    scene = traced.lowered.scene
    reading = over_bed(scene, traced.result, wish.height_m)
    ppfd, noise = (pooled(reading.read(v), traced.result) for v in (planes.value, planes.standard_error))
    fit = np.select(
        [np.isnan(ppfd), ppfd < wish.band.low, ppfd > wish.band.high], [Fit.COVERED, Fit.TOO_DIM, Fit.MORE], Fit.RIGHT
    )
    factors = tank_factors(traced, ppfd.shape)
    open_ones = ~np.isnan(ppfd)
    inside = chances_inside(
        ppfd[open_ones], noise[open_ones], (factors[0][open_ones], factors[1][open_ones]), wish.band
    )
    right = float((inside >= SURE).mean()) if inside.size else 0.0
    named = zip(_ninths(ppfd), *(_ninths(factor) for factor in factors), strict=True)
    parts = tuple(
        _part(name, part, wish.band, level, (float(np.mean(low)), float(np.mean(high))))
        for (name, part), (_, low), (_, high) in named
        if np.isfinite(part).any()
    )
    return PlantPlace(wish, ppfd, fit, right, reading.reaches_surface, parts)


def _part(name: str, ppfd: np.ndarray, band: Band, level: float, tank: tuple[float, float]) -> Part:
    """Whether a plant grows in a part of the bed, and between which settings; tank: 95 % range of the real tank's light."""
    now = float(np.nanmean(ppfd))
    # what the real tank surely reaches, and surely does not pass, over what was computed: log-normal over the range
    ends = np.log(np.maximum(tank, 1e-6))
    off = _SURE_STANDARD * (ends[1] - ends[0]) / (2 * HALF_WIDTH)
    least, most = (math.exp(ends.mean() + way * off) for way in (-1, 1))
    full = max(now / level, 1e-9)
    low, high = band.low / least / full, band.high / least / full
    if low > 1.0:
        return Part(name, now, Grows.NOT if full * most < band.low else Grows.MARGINAL, low, high)
    return Part(name, now, Grows.GROWS if high >= LOWEST_SETTING else Grows.TOO_BRIGHT, low, high)


def best_settings(place: PlantPlace, level: float) -> list[tuple[float, list[str]]]:
    """The fewest settings at which a plant grows in all parts where it can, in whole per cents, with the parts of each.

    Each suits as many of the parts that are left as any; what is set (level) goes before others, then steps of 5 %.
    """
    left = [part for part in place.parts if part.grows is Grows.GROWS]
    tried = [level, *(step / 100 for step in range(round(100 * LOWEST_SETTING), 101))]
    found = []
    while left:
        counts = [sum(part.grows_at(setting) for part in left) for setting in tried]
        # a range narrower than a step is met in its middle
        if max(counts) == 0:
            tried = [min(1.0, (left[0].low + left[0].high) / 2)]
            continue
        best = max(
            range(len(tried)), key=lambda k: (counts[k], k == 0, round(100 * tried[k]) % 5 == 0, -abs(tried[k] - level))
        )
        found.append((tried[best], [part.place for part in left if part.grows_at(tried[best])]))
        left = [part for part in left if not part.grows_at(tried[best])]
    return found


def tank_factors(traced: Traced, shape: tuple[int, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Low and high end of the range of the real tank's light at the middle of each patch, as factors."""
    length, depth, _ = traced.lowered.scene.tank.inside_m
    rows, columns = shape
    x, y = np.meshgrid((np.arange(columns) + 0.5) * length / columns, (np.arange(rows) + 0.5) * depth / rows)
    return TankRanges(traced.lowered, traced.result).at(x, y)


def pooled(values: np.ndarray, result: Result) -> np.ndarray:
    """Mean over patches of about 4 cm, (rows, columns), front row first; NaN where less than half of one is open."""
    grid = result.compiled.planes
    assert grid is not None
    (nx, ny, _), (dx, dy, _) = grid.shape, grid.spacing
    rows, columns = (max(1, round(n * d / PATCH_M)) for n, d in ((ny, dy), (nx, dx)))
    number = numbered((nx, ny), columns, rows)
    open_ones = ~np.isnan(values)
    total = np.bincount(number[open_ones], values[open_ones], minlength=rows * columns)
    count = np.bincount(number[open_ones], minlength=rows * columns)
    cells = np.bincount(number.ravel(), minlength=rows * columns)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.where(count >= cells / 2, total / count, np.nan)
    return mean.reshape(rows, columns)
