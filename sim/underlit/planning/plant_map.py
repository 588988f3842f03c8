"""Where each plant can grow under a given light: too dim, right, more than it needs, so that planting follows the light.

    from underlit import load_scene
    from underlit.planning.plant_map import plant_map

    for place in plant_map(load_scene("scenes/carpet-plan.toml"), ["hairgrass", "medium"]).places:
        print(place.name, place.share(Fit.RIGHT), place.where)

A plant is judged by the light that comes down at its tops, level, where it would stand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from underlit.lowering.scene import lower
from underlit.planning.over_bed import over_bed
from underlit.planning.patches import numbered
from underlit.planning.zones import SURE, chances
from underlit.results.result import Field, Result
from underlit.run import Traced, trace_whole
from underlit.scene import Band, Need, PlantKind, Scene, band_for
from underlit.text.problem import shown
from underlit.text.suggest import did_you_mean

PHOTONS = 1 << 20
PATCH_M = 0.04
NEED_HEIGHT_M = 0.03
"""Height over the substrate at which a bare need is judged: a low plant, or a meter head."""
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


@dataclass(frozen=True)
class Wish:
    """A plant, or a need: what light it wants [umol/m2/s] and how high its tops stand over the substrate [m]."""

    name: str
    band: Band
    height_m: float


@dataclass(frozen=True)
class PlantPlace:
    """Where a wish is fulfilled. ppfd (rows, columns) [umol/m2/s], front row first, NaN where covered; fit alike, `Fit`.

    sure: share of the bed where it is right with a probability of 80 % or more; reaches_surface: its tops would pass it.
    """

    wish: Wish
    ppfd: np.ndarray
    fit: np.ndarray
    sure: float
    reaches_surface: bool

    def share(self, fit: Fit) -> float:
        """Share of the open bed that is so."""
        open_ones = self.fit != Fit.COVERED
        return float((self.fit[open_ones] == fit).mean()) if open_ones.any() else 0.0

    @property
    def where(self) -> tuple[str, ...]:
        """Ninths of the bed of which more than half is right: `front left`, `middle`."""
        found = []
        for r, row in enumerate(np.array_split(self.fit, len(ROWS), axis=0)):
            for c, part in enumerate(np.array_split(row, len(COLUMNS), axis=1)):
                open_ones = part != Fit.COVERED
                if open_ones.any() and (part[open_ones] == Fit.RIGHT).mean() > 0.5:
                    names = [ROWS[r], COLUMNS[c]]
                    found.append("middle" if names == ["middle", "middle"] else " ".join(names))
        return tuple(found)


@dataclass(frozen=True)
class PlantMap:
    """Places of wishes over a traced scene whose bed was cleared of what stands in it (`cleared` names it)."""

    traced: Traced
    places: tuple[PlantPlace, ...]
    cleared: tuple[str, ...]
    noise: float


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
    places = tuple(_place(traced, planes, wish) for wish in wishes)
    return PlantMap(traced, places, cleared, _noise(traced.result, planes))


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
    plants = _catalogue_wishes(answers) if any(name not in needs for name in names) else {}
    found = []
    for name in names:
        wish = needs.get(name) or plants.get(name)
        if wish is None:
            known = [*needs, *plants]
            raise PlantMapError(
                f"{shown(name)} is neither a need nor a plant of the catalogue for the bed{did_you_mean(name, known)}"
            )
        found.append(wish)
    return found


def _catalogue_wishes(answers: dict[str, bool]) -> dict[str, Wish]:
    """Wishes of the catalogue's plants that stand in the bed and say what light they need."""
    from underlit.catalogue import Kind, load_catalogue
    from underlit.scene.reader.entry_check import checked, scene_around

    catalogue = checked(load_catalogue())
    found = {}
    for entry in (entry for entry in catalogue.entries if entry.kind is Kind.PLANTS):
        plants = scene_around(entry, catalogue).plants[0]
        if plants.kind in BED_KINDS and plants.needs is not None and plants.height is not None:
            found[entry.name] = Wish(entry.name, plants.needs.wanted(**answers), plants.height)
    return found


def cleared_bed(scene: Scene) -> tuple[Scene, tuple[str, ...]]:
    """The scene without the plants that stand in its bed, its panes as in a planted tank; and their names."""
    kept = tuple(group for group in scene.plants if group.kind in STAYS)
    names = tuple(group.name for group in scene.plants if group.kind not in STAYS)
    return scene.model_copy(update={"plants": kept}).taken_as_planted("plants are to grow in it"), names


def _place(traced: Traced, planes: Field, wish: Wish) -> PlantPlace:
    scene = traced.lowered.scene
    reading = over_bed(scene, traced.result, wish.height_m)
    ppfd, noise = (pooled(reading.read(v), traced.result) for v in (planes.value, planes.standard_error))
    fit = np.select(
        [np.isnan(ppfd), ppfd < wish.band.low, ppfd > wish.band.high], [Fit.COVERED, Fit.TOO_DIM, Fit.MORE], Fit.RIGHT
    )
    uncertainty = traced.lowered.tank_uncertainty
    open_ones = ~np.isnan(ppfd)
    right = [
        chances(float(v), float(np.hypot(e, uncertainty * v)), wish.band)[1] >= SURE
        for v, e in zip(ppfd[open_ones], noise[open_ones], strict=True)
    ]
    return PlantPlace(wish, ppfd, fit, float(np.mean(right)) if right else 0.0, reading.reaches_surface)


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
