"""Is a light too short for its tank? What reaches the two ends of a tank against what reaches its middle.

    from underlit.planning.ends import ends_of

    found = ends_of(traced.lowered, traced.result)
    found.both.value, found.middle.value, found.are_dim

An end is the outer tenth of the length, on the left and on the right; the middle is the half between the quarters. Both are read
level, a meter head's height over the substrate, or over the tops of low plants. Tall plants and hardscape are left out with the
ground that they cover: their shade is not the light's fault.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from underlit.lowering.fixtures import footprint
from underlit.lowering.scene import Lowered
from underlit.lowering.tallies import PLANE_SPACING
from underlit.planning.differences import Units, group_weights, mean_of_units
from underlit.planning.jackknife import jackknife, used_groups
from underlit.planning.over_bed import over_bed
from underlit.planning.vertical_profiles import shares_of_cells
from underlit.results.estimate import Estimate, combine
from underlit.results.result import Result
from underlit.scene import Scene

END = 0.1
"""Share of the tank's length that each end takes."""
HEAD_M = 0.03
LOW_PLANTS_M = 0.10
"""Plants up to this height are looked at from above; the ground of taller ones is left out."""
DIM_ENDS = 0.6
"""Ends that get less than this share of the middle are dim: where the middle gets the middle of a usual band, such as 35-70, the
ends then lie below it.
"""
LEAST_LEFT = 0.2
"""Share of an end that must be free of hardscape and tall plants, or nothing is said."""
TOO_SHORT = 0.9
"""Lights that reach over less than this share of the tank's length are shorter than it."""


@dataclass(frozen=True)
class Ends:
    """Mean PPFD [umol/m2/s] at the ends and in the middle; share: that of the ends over that of the middle.

    end_m: length of each end; height_m: over the substrate at which it is read; lit_m, tank_m: how much of the tank's length
    lies between the outer ends of the lights, and that length [m].
    """

    left: Estimate
    right: Estimate
    both: Estimate
    middle: Estimate
    share: Estimate
    end_m: float
    height_m: float
    lit_m: float
    tank_m: float

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> Ends:
        """Ends from what `dataclasses.asdict` made of them."""
        read: dict[str, Any] = {k: Estimate(**v) if isinstance(v, dict) else v for k, v in data.items()}
        return cls(**read)

    @property
    def are_dim(self) -> bool:
        """Whether the ends get clearly less than the middle (`DIM_ENDS`), beyond the simulation error."""
        return self.share.value + self.share.half_width < DIM_ENDS

    @property
    def light_is_short(self) -> bool:
        """Whether the lights reach over less than nine tenths of the tank's length."""
        return self.lit_m < TOO_SHORT * self.tank_m

    def in_short(self, dimmed: float = 1.0) -> str:
        """The figures of dim ends, with the light dimmed to a share of what it was; nothing where they are not dim."""
        if not self.are_dim:
            return ""
        ends, middle = (f"{dimmed * e.value:.0f}" for e in (self.both, self.middle))
        return f"the outer {_about(self.end_m)} at each end get {ends}, the middle {middle} umol/m2/s"

    def words(self, dimmed: float = 1.0) -> str:
        """As `in_short`, with what would help."""
        if not self.are_dim:
            return ""
        said = f"The ends are dim: {self.in_short(dimmed)}"
        if not self.light_is_short:
            return f"{said}. Hung higher, the light reaches them better."
        short = f"The light is {_about(self.lit_m)} long and the tank {_about(self.tank_m)}"
        return f"{said}. {short}: a longer light, a second one or the same one hung higher reaches them better."


def ends_of(lowered: Lowered, result: Result) -> Ends | None:
    """The ends of the tank that a lowered scene is seen from; None where tall plants or hardscape fill an end, or it is dark."""
    if result.compiled.planes is None:
        return None
    scene = lowered.scene
    heights = _rooted(lowered)
    # so high that neither of the planes that are read lies between the leaves
    height = max([HEAD_M, *(tall + PLANE_SPACING for _, tall in heights if tall <= LOW_PLANTS_M)])
    reading = over_bed(scene, result, height)
    grid, free = reading.grid, reading.is_open
    for outline, tall in heights:
        if tall > LOW_PLANTS_M:
            free = free & (shares_of_cells(grid, outline) == 0)
    length = scene.tank.inside_m[0]
    x = (grid.origin[0] + (np.arange(grid.shape[0]) + 0.5) * grid.spacing[0]) / length
    places = [np.broadcast_to(inside, free.shape) for inside in (x < END, x > 1 - END, abs(x - 0.5) < 0.25)]
    inside_tank = grid.open_area.max(axis=0) > 0
    if any((free & place).sum() < max(1.0, LEAST_LEFT * (place & inside_tank).sum()) for place in places):
        return None
    weights = np.stack([reading.weights(free & place) for place in places], axis=1)
    left, right, middle, both, share = _estimates(result, weights)
    if not middle.value > 0:
        return None
    return Ends(left, right, both, middle, share, END * length, height, _lit_m(scene), length)


def _rooted(lowered: Lowered) -> list[tuple[np.ndarray, float]]:
    """Outline (k, 2) [m] and height of the tops over the substrate [m] of every planting that grows from it."""
    scene, found = lowered.scene, []
    for plants, grown in zip(scene.plants, lowered.plantings, strict=True):
        if plants.is_rooted and grown.outline is not None:
            x, y = grown.outline.mean(axis=0)
            found.append((grown.outline, grown.top - float(scene.bed_heights_m(np.array(x), np.array(y)))))
    return found


def _about(metres: float) -> str:
    """A length in whole centimetres and half inches."""
    return f"{100 * metres:.0f} cm ({round(2 * metres / 0.0254) / 2:g} in)"


def _lit_m(scene: Scene) -> float:
    """How much of the tank's length lies between the outer ends of its own lights [m]; all of it where it has none."""
    length = scene.tank.inside_m[0]
    if not scene.fixtures:
        return length
    x = np.concatenate([footprint(scene, fixture)[:, 0] for fixture in scene.fixtures]).clip(0.0, length)
    return float(x.max() - x.min())


def _estimates(result: Result, weights: np.ndarray) -> list[Estimate]:
    """Of left, right, middle, both ends and their share of the middle, from weights of the cells (cells, 3)."""
    used = np.flatnonzero(weights.any(axis=1))
    first = result.cells("planes").start
    cells = slice(first + int(used[0]), first + int(used[-1]) + 1)
    mixed = weights[used[0] : used[-1] + 1] @ np.array([[1.0, 0, 0, 0.5], [0, 1.0, 0, 0.5], [0, 0, 1.0, 0]])
    units = [Units(result.group_means(cells, i) @ mixed, group_weights(c)) for i, c in enumerate(result.counts)]
    found = [Estimate(*(float(v) for v in of)) for of in zip(*combine([mean_of_units(u) for u in units]), strict=True)]
    without = [_without(units, group) for group in used_groups(result)]
    shares = np.array([ends / middle if middle > 0 else np.nan for _, _, middle, ends in without])
    share = found[3].value / found[2].value if found[2].value > 0 else np.nan
    return [*found, jackknife(share, shares, corrected=False)]


def _without(units: Sequence[Units], group: int) -> np.ndarray:
    """The mean of all groups but one."""
    return np.asarray(
        np.sum([(u.mean - u.weights[group] * u.values[group]) / (1 - u.weights[group]) for u in units], axis=0)
    )
