"""Light at a height over the substrate: a linear reading of the light planes, cell by cell."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from underlit.lowering.compiled import Grid
from underlit.results.result import Result
from underlit.scene import Scene

UNDER_SURFACE_M = 0.01


@dataclass(frozen=True)
class OverBed:
    """How the light at a height over the bed is read from a grid of light planes: from two planes in each cell.

    below, above: numbers of the planes (ny, nx); part: share of the upper one. Where one of the two lies inside the substrate
    or hardscape the other counts alone. reaches_surface: over most of the bed the height lies above the water.
    """

    grid: Grid
    below: np.ndarray
    above: np.ndarray
    part: np.ndarray
    reaches_surface: bool

    @cached_property
    def _shares(self) -> tuple[np.ndarray, np.ndarray]:
        """Shares of the lower and of the upper plane, (ny, nx); both 0 where the cell is closed."""
        low_open, high_open = (_taken(self.grid.open_area, k) > 0 for k in (self.below, self.above))
        low = np.where(low_open, np.where(high_open, 1 - self.part, 1.0), 0.0)
        return low, np.where(high_open, np.where(low_open, self.part, 1.0), 0.0)

    @property
    def is_open(self) -> np.ndarray:
        """Where there is light to read, (ny, nx)."""
        low, high = self._shares
        return np.asarray(low + high > 0)

    def read(self, planes: np.ndarray) -> np.ndarray:
        """Values of the planes (nz, ny, nx) at the height, (ny, nx); NaN where the cell is closed."""
        terms = [
            np.where(share > 0, _taken(planes, k), 0.0) * share
            for share, k in zip(self._shares, (self.below, self.above), strict=True)
        ]
        return np.where(self.is_open, terms[0] + terms[1], np.nan)

    def weights(self, chosen: np.ndarray) -> np.ndarray:
        """What flux on each cell of the planes counts in the mean PPFD over chosen cells (ny, nx): (nz * ny * nx,) [1/m2]."""
        found = np.zeros(self.grid.open_area.shape)
        picked = (chosen & self.is_open).astype(float)
        rows, columns = np.indices(chosen.shape)
        for share, k in zip(self._shares, (self.below, self.above), strict=True):
            area = np.where(share > 0, _taken(self.grid.open_area, k), 1.0)
            np.add.at(found, (k, rows, columns), picked * share / area)
        return np.asarray(found.ravel() / max(picked.sum(), 1.0))


def _taken(planes: np.ndarray, level: np.ndarray) -> np.ndarray:
    return np.asarray(np.take_along_axis(planes, level[None], axis=0)[0])


def over_bed(scene: Scene, result: Result, height_m: float) -> OverBed:
    """How to read the light at a height over the bed [m], at most just under the surface."""
    grid = result.compiled.planes
    assert grid is not None
    nx, ny, nz = grid.shape
    x = grid.origin[0] + (np.arange(nx) + 0.5) * grid.spacing[0]
    y = grid.origin[1] + (np.arange(ny) + 0.5) * grid.spacing[1]
    top = scene.water_level_m - UNDER_SURFACE_M
    wanted = scene.bed_heights_m(*np.meshgrid(x, y)) + height_m
    level = np.clip((np.minimum(wanted, top) - grid.origin[2]) / grid.spacing[2], 0, nz - 1)
    below = np.minimum(level.astype(int), nz - 1)
    above = np.minimum(below + 1, nz - 1)
    return OverBed(grid, below, above, level - below, bool((wanted > top).mean() > 0.5))
