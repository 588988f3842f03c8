"""Vertical profiles: PPFD at every height over a place of the plan, read from the light planes of a result.

The planes count light coming down through level grids every couple of centimetres; a vertical profile is the mean over the part
of each plane that lies inside an outline. Between planes PPFD is taken to run straight.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from underlit.lowering.compiled import Grid
from underlit.planning.differences import Units, difference, group_weights, mean_of_units
from underlit.planning.jackknife import jackknife, used_groups
from underlit.results.estimate import Estimate, combine, estimates
from underlit.results.result import Result

HEAD_M = 0.03
"""A spot is read over a square this wide [m]: a meter head."""
LEAST_OPEN = 0.5
"""A plane is read where light can reach at least this share of the outline."""


@dataclass(frozen=True)
class VerticalProfile:
    """PPFD over an outline, (n,) at rising heights [m over the bottom pane], with all that its errors need.

    units: of each source, its groups of batches: values (groups, n) [umol/m2/s]; result: what it was read from; packet (n,):
    what one more packet of light would have added [umol/m2/s].
    """

    heights: np.ndarray
    units: tuple[Units, ...]
    result: Result
    packet: np.ndarray

    @property
    def value(self) -> np.ndarray:
        """PPFD at the heights, (n,) [umol/m2/s]."""
        return np.asarray(np.sum([u.mean for u in self.units], axis=0))

    @property
    def limits(self) -> tuple[np.ndarray, np.ndarray]:
        """Ends of the 95 % intervals of the values (simulation error), each (n,) [umol/m2/s]."""
        found = self.at(self.heights)
        return np.array([e.low for e in found]), np.array([e.high for e in found])

    def at(self, heights: Sequence[float] | np.ndarray) -> list[Estimate]:
        """PPFD at any heights [m], held at the ends of the profile, with simulation errors."""
        found = combine([mean_of_units(u) for u in self.units_at(heights)])
        return estimates(*found, np.interp(heights, self.heights, self.packet))

    def units_at(self, heights: Sequence[float] | np.ndarray) -> list[Units]:
        """The units read at any heights [m], by source."""
        mix = mixing(self.heights, np.asarray(heights, dtype=np.float64))
        return [Units(u.values @ mix.T, u.weights) for u in self.units]

    def jackknife(self, statistic: Callable[[np.ndarray], float]) -> Estimate:
        """A statistic of the values (n,) with its error, each group of batches left out once in all sources.

        Not corrected for bias, which is far below the error for smooth statistics.
        """
        without = np.array([statistic(self._without(group)) for group in used_groups(self.result)])
        return jackknife(statistic(self.value), without, corrected=False)

    def _without(self, group: int) -> np.ndarray:
        total = np.zeros(len(self.heights))
        for u in self.units:
            weight = u.weights[group]
            if weight < 1:
                total += (u.mean - weight * u.values[group]) / (1 - weight)
        return total


def profile_difference(
    second: VerticalProfile, first: VerticalProfile, heights: Sequence[float]
) -> list[Estimate]:  # fmt: skip
    """PPFD of `second` minus that of `first` at heights [m], with simulation errors (see `planning.differences`)."""
    units = second.units_at(heights), first.units_at(heights)
    return estimates(*difference(second.result, first.result, lambda _, i: units[0][i], lambda _, i: units[1][i]))


def mixing(known: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Weights (wanted, known) that read values at wanted places from values at rising known ones, held at the ends."""
    level = np.clip(np.interp(wanted, known, np.arange(len(known))), 0, len(known) - 1)
    low = np.minimum(level.astype(int), len(known) - 1)
    high = np.minimum(low + 1, len(known) - 1)
    mix = np.zeros((len(wanted), len(known)))
    rows = np.arange(len(wanted))
    np.add.at(mix, (rows, low), 1.0 - (level - low))
    np.add.at(mix, (rows, high), level - low)
    return mix


def square(x: float, y: float, side: float = HEAD_M) -> np.ndarray:
    """Corners of a level square about a point of the plan, (4, 2) [m]."""
    h = side / 2
    return np.array([(x - h, y - h), (x + h, y - h), (x + h, y + h), (x - h, y + h)])


def shares_of_cells(grid: Grid, outline: np.ndarray) -> np.ndarray:
    """Part of each cell of a grid that lies in an outline (k, 2) [m]: (ny, nx)."""
    import shapely

    nx, ny, _ = grid.shape
    dx, dy, _ = grid.spacing
    polygon = shapely.make_valid(shapely.Polygon(outline))
    shapely.prepare(polygon)
    near = []
    for axis, n in ((0, nx), (1, ny)):
        ends = (outline[:, axis].min(), outline[:, axis].max())
        first, last = ((end - grid.origin[axis]) / grid.spacing[axis] for end in ends)
        near.append(slice(max(0, min(n, math.floor(first) - 1)), max(0, min(n, math.ceil(last) + 1))))
    columns, rows = near
    left, front = np.meshgrid(grid.origin[0] + np.arange(nx)[columns] * dx, grid.origin[1] + np.arange(ny)[rows] * dy)
    boxes = shapely.box(left, front, left + dx, front + dy)
    touched = shapely.intersects(polygon, boxes)
    found = np.zeros(boxes.shape)
    found[touched] = shapely.area(shapely.intersection(boxes[touched], polygon)) / (dx * dy)
    shares = np.zeros((ny, nx))
    shares[rows, columns] = found
    return shares


def vertical_profile(
    result: Result, outline: np.ndarray, *, bottom: float = 0.0, top: float = math.inf
) -> VerticalProfile:  # fmt: skip
    """PPFD over an outline of the plan (k, 2) [m] at every light plane between two heights [m] that light can reach there.

    Raises ValueError, one line, where there is no such plane: the outline lies outside the tank or inside wood or stone.
    """
    grid = result.compiled.planes
    if grid is None:
        raise ValueError("this world has no light planes")
    nx, ny, nz = grid.shape
    share = shares_of_cells(grid, outline).ravel()
    heights = grid.origin[2] + grid.spacing[2] * np.arange(nz)
    open_area = grid.open_area.reshape(nz, ny * nx)
    area = open_area @ share
    whole = share.sum() * grid.spacing[0] * grid.spacing[1]
    read = (heights > bottom) & (heights < top) & (area > LEAST_OPEN * whole) & (area > 0)
    if not read.any():
        raise ValueError("no light can be read there: the place lies outside the tank, or inside wood or stone")
    start = result.cells("planes").start
    # Cells that light cannot reach count nothing but what strays through panes that cross them.
    weights = np.where(open_area > 0, share, 0.0)
    chosen = np.flatnonzero(share > 0)
    units = []
    for i, counts in enumerate(result.counts):
        flux = np.stack(
            [
                result.group_means(slice(start + k * nx * ny, start + (k + 1) * nx * ny), i)[:, chosen]
                @ weights[k, chosen]
                for k in np.flatnonzero(read)
            ],
            axis=1,
        )
        units.append(Units(flux / area[read], group_weights(counts)))
    return VerticalProfile(heights[read], tuple(units), result, result.packet_flux / area[read])
