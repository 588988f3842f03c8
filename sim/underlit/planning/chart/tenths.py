"""The dimmest and the brightest tenth of the substrate, on the finest patches that the photons make sure enough."""

from __future__ import annotations

from dataclasses import dataclass

from underlit.planning.patches import LEAST_OPEN, NOISIEST, PATCH, Patches, lowest_share_mean, numbered, pooled
from underlit.results.estimate import Estimate
from underlit.results.result import Result

SIDES = (PATCH, 0.04, 0.05, 0.06, 0.08, 0.1, 0.12)
"""Sides of patches that are tried, finest first [m]: from a meter head on."""
FEWEST = 20
"""A tenth is of two patches at least."""


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
    return pooled(result, "map", grid, [(0, 1.0)], number, rows * columns, LEAST_OPEN * side**2)
