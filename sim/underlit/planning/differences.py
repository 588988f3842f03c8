"""The difference of two results with its simulation error: arithmetic on stored batches.

Two traces of one seed throw the same random numbers in batches of the same index, so their simulation errors are alike and
largely cancel in a difference. The error is taken from the batches themselves: a difference is a sum over batches, each
batch of both results together being one independent unit, and its variance is the spread of those units. Where seed,
photons in a batch or the light's random key differ, nothing is shared and the two variances add.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from underlit.results.estimate import Estimate, combine, estimates
from underlit.results.result import Counts, Field, Result

Part = tuple[np.ndarray, np.ndarray, float]
"""Value (cells,), variance of the value (cells,), degrees of freedom."""


@dataclass(frozen=True)
class Units:
    """Independent pieces of one mean: values (n, cells), their weights (n,), which add to 1."""

    values: np.ndarray
    weights: np.ndarray

    @property
    def mean(self) -> np.ndarray:
        """The mean, (cells,)."""
        return np.asarray(self.weights @ self.values)


def mean_of_units(units: Units, sign: float = 1.0) -> Part:
    """sign times the mean of independent units of unequal weight, as `shared_difference` of it and nothing."""
    return shared_difference(units, Units(np.zeros_like(units.values), units.weights), sign)


def shared_difference(second: Units, first: Units, sign: float = 1.0) -> Part:
    """Mean of `second` minus that of `first`, units of the same index taken together; they may differ in number.

    A unit gives e_i = w_i (x_i - mean x) / sqrt(1 - sum w^2) less the same of y to the difference, and sum e_i^2 estimates the
    variance of the difference: for equal weights exactly that of the mean of n differences, for unlike ones a hair larger.
    Degrees of freedom: those of the side that has fewer, 1 / sum w^2 - 1.
    """
    n = max(len(second.weights), len(first.weights))
    parts = np.zeros((n, *second.values.shape[1:]))
    value = sign * (second.mean - first.mean)
    fewest = np.inf
    for units, way in ((second, 1.0), (first, -1.0)):
        concentration = float((units.weights**2).sum())
        if concentration >= 1.0:
            return value, np.full(value.shape, np.inf), 0.0
        fewest = min(fewest, 1.0 / concentration - 1.0)
        scaled = units.weights[:, None] * (units.values - units.mean) / np.sqrt(1.0 - concentration)
        parts[: len(units.weights)] += way * scaled
    return value, (parts**2).sum(axis=0), fewest


Reader = Callable[[Result, int], Units]
"""Reads the units of one source of a result."""


def difference(
    second: Result, first: Result, read_second: Reader, read_first: Reader
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """`second` minus `first`: (value, standard error, degrees of freedom), each (cells,)."""
    keys_second, keys_first = source_keys(second, first), source_keys(first, second)
    parts: list[Part] = []
    for i, key in enumerate(keys_second):
        j = keys_first.index(key) if key in keys_first else None
        if j is not None and shares_batches(second, first, i, j):
            parts.append(shared_difference(read_second(second, i), read_first(first, j)))
            continue
        parts.append(mean_of_units(read_second(second, i)))
        if j is not None:
            parts.append(mean_of_units(read_first(first, j), -1.0))
    for j, key in enumerate(keys_first):
        if key not in keys_second:
            parts.append(mean_of_units(read_first(first, j), -1.0))
    return combine(parts)


def source_keys(result: Result, other: Result) -> list[object]:
    """What tells a source's random numbers from another's; comparable between these two results only.

    A result read from a file has no tables: there it is the number of the fixture, of its channel and the part of that, which
    is what a scene's keys are made of.
    """
    if len(result.compiled.tables.sources) and len(other.compiled.tables.sources):
        return [int(k) for k in result.compiled.tables.sources["key"]]
    fixtures: dict[object, dict[str, int]] = {}
    keys: list[object] = []
    for source in result.compiled.sources:
        channels = fixtures.setdefault((source.tank, source.fixture), {})
        channel = channels.setdefault(source.channel, len(channels))
        number = list(fixtures).index((source.tank, source.fixture))
        keys.append((source.tank, number, channel, source.group, source.upward))
    return keys


def shares_batches(second: Result, first: Result, i: int, j: int) -> bool:
    """Whether batches of the same index were thrown with the same random numbers."""
    return second.seed == first.seed and second.counts[i].photons_per_batch == first.counts[j].photons_per_batch


def shares_any(second: Result, first: Result) -> bool:
    """Whether any light of the two results was traced with the same random numbers."""
    keys = source_keys(first, second)
    return any(
        key in keys and shares_batches(second, first, i, keys.index(key))
        for i, key in enumerate(source_keys(second, first))
    )


def point_units(result: Result, index: int, points: Sequence[int]) -> Units:
    """PPFD of zones and heads [umol/m2/s] (numbers counted over zones, then heads), batch by batch of one source."""
    counts = result.counts[index]
    areas = np.array([z.area for z in result.compiled.zones] + [h.area for h in result.compiled.heads])[list(points)]
    rows = np.array([p[list(points)] for p in counts.points], dtype=np.float64).reshape(-1, len(areas))
    n = len(rows)
    return Units(rows * (result.source_scale(index) / areas), np.full(n, 1.0 / n))


def group_weights(counts: Counts) -> np.ndarray:
    """Share of each group of batches in the mean, (groups,)."""
    return counts.group_batches / max(int(counts.group_batches.sum()), 1)


def point_difference(
    second: Result, first: Result, at_second: Sequence[int], at_first: Sequence[int]
) -> list[Estimate]:
    """Differences of PPFD at zones and heads [umol/m2/s], `second` minus `first`, in the order of the numbers given."""
    if not at_second:
        return []
    value, error, dof = difference(
        second, first, lambda r, i: point_units(r, i, at_second), lambda r, i: point_units(r, i, at_first)
    )
    return estimates(value, error, dof)


Smooth = Callable[[np.ndarray], np.ndarray]


def bed_difference(second: Result, first: Result, smooth: Smooth | None = None) -> Field:
    """PPFD on the bed, `second` minus `first`: (ny, nx) [umol/m2/s], NaN where either has no open bed.

    smooth: applied to each map of PPFD before anything else, such as means over patches; the error is that of the smoothed
    difference. ValueError where the maps do not lie on the same cells.
    """
    grids = [second.compiled.bed_map, first.compiled.bed_map]
    if not same_cells(*grids) or grids[0] is None:
        raise ValueError("the two tanks differ in size, so that their maps have no common cells")
    shape = grids[0].shape[1], grids[0].shape[0]

    def read(result: Result, index: int) -> Units:
        grid, counts = result.compiled.bed_map, result.counts[index]
        assert grid is not None
        area = np.where(grid.open_area[0] > 0, grid.open_area[0], np.nan)
        maps = result.group_means(result.cells("map"), index).reshape(-1, *shape) / area
        if smooth is not None:
            maps = np.array([smooth(m) for m in maps])
        return Units(maps.reshape(len(maps), -1), group_weights(counts))

    value, error, dof = difference(second, first, read, read)
    return Field(value.reshape(shape), error.reshape(shape), float(np.nanmin(np.where(dof > 0, dof, np.nan))))


def same_cells(first: object, second: object) -> bool:
    """Whether two grids lie on the same cells."""
    if first is None or second is None:
        return False
    pairs = [(getattr(first, key), getattr(second, key)) for key in ("origin", "spacing", "shape")]
    return all(np.allclose(a, b, rtol=0, atol=1e-9) for a, b in pairs)
