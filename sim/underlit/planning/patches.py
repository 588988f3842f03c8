"""Dimmest tenth, evenness and share inside a band, on patches the size of a meter head.

Order statistics of noisy cells are biased: with 1 % errors of the mean and 800 small cells a perfectly even floor reads
.54 to 1.46. So they are taken on patches of 3 cm or more, corrected by the jackknife over the groups of batches
(`planning.jackknife`), and refused while the patches themselves are noisier than 3 %.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from underlit.lowering.compiled import Grid
from underlit.lowering.tallies import ZonePlace
from underlit.planning.jackknife import jackknife, jackknife_error, used_groups
from underlit.results.estimate import Estimate
from underlit.results.result import Result

PATCH = 0.03
"""Side of a patch [m]: a meter head."""
NOISIEST = 0.03
"""Largest typical relative standard error of a patch for which order statistics are given."""
LEAST_OPEN = 0.5
"""Share of a patch that must be open."""
_FEWEST = 4


@dataclass(frozen=True)
class Patches:
    """PPFD on the patches of a zone, for all groups and with each group left out: (n,), (groups, n); weights (n,)."""

    values: np.ndarray
    without: np.ndarray
    weights: np.ndarray

    @property
    def noise(self) -> float:
        """Typical (median) relative standard error of a patch."""
        if len(self.without) < 2 or len(self.values) == 0:
            return float("inf")
        with np.errstate(divide="ignore", invalid="ignore"):
            relative = np.where(self.values > 0, jackknife_error(self.without) / self.values, np.inf)
        return float(np.median(relative))

    def estimate(
        self, statistic: Callable[[np.ndarray, np.ndarray], float], *, high: float = np.inf, corrected: bool = True
    ) -> Estimate:  # fmt: skip
        """A statistic of the values (n,) and weights (n,), between 0 and high, with its error by the jackknife."""
        without = np.array([statistic(values, self.weights) for values in self.without])
        full = statistic(self.values, self.weights)
        return jackknife(full, without, corrected=corrected, low=0.0, high=high)


@dataclass(frozen=True)
class Spread:
    """How light is spread over a zone; every entry None while patches are too noisy or too few."""

    patch_noise: float
    dimmest_tenth: Estimate | None = None
    evenness: Estimate | None = None
    share_in_band: Estimate | None = None


def zone_patches(result: Result, place: ZonePlace) -> Patches | None:
    """Patches of a zone on the bed or at a height (between two light planes: linear).

    None for zones on faces, and in other tanks than the one that the result is seen from.
    """
    if place.outline is None or place.tank != result.compiled.frame.tank:
        return None
    if place.z is None:
        return (
            None
            if result.compiled.bed_map is None
            else _patches(result, "map", result.compiled.bed_map, [(0, 1.0)], place)
        )
    grid = result.compiled.planes
    if grid is None:
        return None
    level = float(np.clip((place.z - grid.origin[2]) / grid.spacing[2], 0, grid.shape[2] - 1))
    below = min(int(level), grid.shape[2] - 1)
    share = level - below
    levels = [(below, 1.0 - share)] + ([(below + 1, share)] if share > 0 else [])
    return _patches(result, "planes", grid, levels, place)


def _patch_of_cells(grid: Grid, outline: np.ndarray) -> tuple[np.ndarray, int]:
    """Patch number of each cell, (ny, nx), -1 outside the outline; and how many patches there are.

    The zone's own extent is shared out evenly, so that no edge is left over; a patch is at least PATCH wide.
    """
    from shapely import Polygon, contains_xy

    nx, ny, _ = grid.shape
    numbers = []
    for axis, n in ((0, nx), (1, ny)):
        centre = grid.origin[axis] + (np.arange(n) + 0.5) * grid.spacing[axis]
        low, high = outline[:, axis].min(), outline[:, axis].max()
        whole_cells = np.ceil(PATCH / grid.spacing[axis] - 1e-6) * grid.spacing[axis]
        count = max(1, int((min(high, centre[-1]) - max(low, centre[0])) / whole_cells + 1e-6))
        numbers.append((centre, np.clip(((centre - low) / (high - low) * count).astype(int), 0, count - 1), count))
    (x, px, columns), (y, py, rows) = numbers
    inside = contains_xy(Polygon(outline), *np.meshgrid(x, y))
    return np.where(inside, py[:, None] * columns + px[None, :], -1), rows * columns


def _patches(
    result: Result, name: str, grid: Grid, levels: list[tuple[int, float]], place: ZonePlace
) -> Patches | None:
    assert place.outline is not None
    patch, count = _patch_of_cells(grid, place.outline)
    found = pooled(result, name, grid, levels, patch, count, LEAST_OPEN * PATCH**2)
    return found if len(found.values) >= _FEWEST else None


def pooled(
    result: Result, name: str, grid: Grid, levels: list[tuple[int, float]], patch: np.ndarray, count: int, least: float
) -> Patches:
    """The light of a grid pooled into patches, those of more than a least open area [m2].

    name: see `Result.cells`; levels: numbers and shares of those that are read; patch: number of each cell, (ny, nx), of so
    many, -1 for none.
    """
    nx, ny, _ = grid.shape
    chosen = patch.ravel() >= 0
    start = result.cells(name).start

    def pool(values: np.ndarray, level: int) -> np.ndarray:
        # A cell that the panes cross has no area: what it counts is not all from inside the tank.
        used = chosen & (grid.open_area[level].ravel() > 0)
        return np.bincount(patch.ravel()[used], values.ravel()[used], minlength=count)

    def flux(left_out: int | None) -> np.ndarray:
        total = np.zeros(count)
        for level, weight in levels:
            first = start + level * nx * ny
            total += weight * pool(result.without_group(slice(first, first + nx * ny), left_out), level)
        return total

    area = np.sum([weight * pool(grid.open_area[level], level) for level, weight in levels], axis=0)
    keep = area > least
    used = used_groups(result)
    without = np.array([flux(g)[keep] for g in used]).reshape(len(used), -1) / area[keep]
    return Patches(flux(None)[keep] / area[keep], without, area[keep])


def lowest_share_mean(values: np.ndarray, weights: np.ndarray, share: float = 0.1) -> float:
    """Mean of the dimmest share of the area: values (n,), weights (n,) areas."""
    order = np.argsort(values)
    w = weights[order] / weights.sum()
    below = np.minimum(np.cumsum(w), share)
    part = np.diff(np.concatenate([[0.0], below]))
    return float((values[order] * part).sum() / part.sum())


def spread(patches: Patches | None, band: tuple[float, float] | None) -> Spread:
    """Order statistics of a zone."""
    if patches is None:
        return Spread(float("nan"))
    noise = patches.noise
    if not noise <= NOISIEST:
        return Spread(noise)
    return Spread(
        noise,
        patches.estimate(lowest_share_mean),
        patches.estimate(_evenness, high=1.0),
        # a count of patches moves in steps
        None if band is None else patches.estimate(_share_inside(*band), high=1.0, corrected=False),
    )


def _evenness(values: np.ndarray, weights: np.ndarray) -> float:
    mean = float((values * weights).sum() / weights.sum())
    return float(values.min()) / mean if mean > 0 else 0.0


def _share_inside(low: float, high: float) -> Callable[[np.ndarray, np.ndarray], float]:
    return lambda values, weights: float(weights[(values >= low) & (values <= high)].sum() / weights.sum())


def numbered(shape: tuple[int, int], columns: int, rows: int) -> np.ndarray:
    """Patch number of each cell of a grid of (nx, ny) cells that is shared out into columns and rows, (ny, nx)."""
    nx, ny = shape
    return (np.arange(ny) * rows // ny)[:, None] * columns + (np.arange(nx) * columns // nx)[None, :]
