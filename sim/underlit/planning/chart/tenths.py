"""The dimmest and the brightest tenth of the substrate, on the finest patches that the photons make sure enough."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.planning.jackknife import used_groups
from underlit.planning.patches import NOISIEST, PATCH, Patches, lowest_share_mean, numbered
from underlit.results.estimate import Estimate
from underlit.results.result import Result

SIDES = (PATCH, 0.04, 0.05, 0.06, 0.08, 0.1, 0.12)
"""Sides of patches that are tried, finest first [m]: from a meter head on."""
FEWEST = 20
"""A tenth is of two patches at least."""
_LEAST_OPEN = 0.5


@dataclass(frozen=True)
class Tenths:
    """Mean PPFD of the dimmest and of the brightest tenth of the bed, on patches of patch_m [m]; None where not sure."""

    dimmest: Estimate | None = None
    brightest: Estimate | None = None
    patch_m: float | None = None


def bed_tenths(result: Result) -> Tenths:
    """Both tenths of the whole bed; covered places are left out."""
    for side in SIDES:
        patches = bed_patches(result, side)
        if len(patches.values) < FEWEST:
            break
        if patches.noise <= NOISIEST:
            return Tenths(
                patches.estimate(lowest_share_mean),
                patches.estimate(lambda values, weights: -lowest_share_mean(-values, weights)),
                side,
            )
    return Tenths()


def bed_patches(result: Result, side: float) -> Patches:
    """The map of the bed pooled into patches of about a side [m] each way."""
    grid = result.compiled.bed_map
    assert grid is not None
    nx, ny, _ = grid.shape
    columns, rows = (max(1, int(n * d / side + 1e-6)) for n, d in zip((nx, ny), grid.spacing[:2], strict=True))
    number = numbered((nx, ny), columns, rows)
    cells = result.cells("map")

    def pooled(values: np.ndarray) -> np.ndarray:
        return np.bincount(number.ravel(), values.ravel(), minlength=rows * columns)

    area = pooled(grid.open_area[0])
    keep = area > _LEAST_OPEN * side**2
    groups = used_groups(result)
    without = np.array([pooled(result.without_group(cells, g))[keep] for g in groups]).reshape(len(groups), -1)
    return Patches(pooled(result.without_group(cells, None))[keep] / area[keep], without / area[keep], area[keep])
