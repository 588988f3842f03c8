"""A piece of ground to plant: its outline, its height, and keeping leaves inside the one and above the other."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from underlit.lowering.shapes.outline import Ground, checked_outline, inside, scatter, signed_area
from underlit.lowering.shapes.plants.leaves import LeafForm, LeafSpread, grow
from underlit.lowering.shapes.plants.planting import require
from underlit.lowering.shapes.shape import FloatArray

SINKS = 1e-3
"""So far may the lowest leaf of an instance reach into the ground [m]."""
UPRIGHT = np.deg2rad(88)


@dataclass(frozen=True)
class Plot:
    """outline: (k, 2) float64 [m], counter-clockwise; ground: vectorised height of the substrate [m]."""

    outline: FloatArray
    ground: Ground

    @classmethod
    def of(cls, outline: FloatArray, ground: Ground) -> Plot:
        """A plot of any outline (k, 2) [m]. Raises ShapeError where it encloses nothing."""
        return cls(checked_outline(outline), ground)

    @property
    def area_m2(self) -> float:
        """Plan area [m2]."""
        return signed_area(self.outline)

    def height_at(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Height of the ground, alike in shape to x [m]; ShapeError where it is not finite."""
        return height_at(self.ground, x, y)

    def scattered(self, pieces: list[FloatArray], count: int, rng: np.random.Generator) -> FloatArray:
        """(count, 3) [m]: points about evenly spread over pieces of the plot, on the ground."""
        return self.on_ground(scatter(pieces, count, rng))

    def on_ground(self, spots: FloatArray) -> FloatArray:
        """(n, 3) [m]: spots of the plan (n, 2) on the ground."""
        return np.concatenate([spots, self.height_at(spots[:, 0], spots[:, 1])[:, None]], axis=1)

    def holds(self, points: FloatArray) -> np.ndarray:
        """Which plants, from their points (n, p, 3), lie inside the outline and not in the ground, (n,) bool."""
        x, y, z = points[:, :, 0], points[:, :, 1], points[:, :, 2]
        return np.asarray((inside(self.outline, x, y) & (z > self.height_at(x, y) - SINKS)).all(axis=1))

    def normals(self, points: FloatArray, step: float = 5e-3) -> FloatArray:
        """(n, 3): unit normals of the ground at points (n, 3) [m]."""
        x, y = points[:, 0], points[:, 1]
        rise_x = (self.height_at(x + step, y) - self.height_at(x - step, y)) / (2 * step)
        rise_y = (self.height_at(x, y + step) - self.height_at(x, y - step)) / (2 * step)
        # at the edge of a terrace the rise is that of a wall
        up = np.stack([-np.clip(rise_x, -1, 1), -np.clip(rise_y, -1, 1), np.ones(len(points))], axis=1)
        return np.asarray(up / np.linalg.norm(up, axis=1, keepdims=True))

    def kept_inside(
        self, form: LeafForm, spread: LeafSpread, rng: np.random.Generator, *, turns: int = 0
    ) -> LeafSpread:  # fmt: skip
        """Leaves turned, then straightened up, where they would leave the outline, as leaves do against glass.

        turns: how many other directions are tried first. The few that cannot be kept inside are left out.
        """
        outside = np.flatnonzero(self._leaves_outside(form, spread))
        for _ in range(turns):
            if len(outside) == 0:
                break
            part = replace(spread.chosen(outside), azimuth=rng.uniform(0, 2 * np.pi, len(outside)))
            spread, outside = self._tried(form, spread, outside, part)
        for straighter in (0.4, 0.7, 0.9, 1.0):
            if len(outside) == 0:
                break
            part = spread.chosen(outside)
            middle, droop = part.rise - 0.5 * part.droop, part.droop * (1 - straighter)
            part = replace(part, rise=middle + (UPRIGHT - middle) * straighter + 0.5 * droop, droop=droop)
            spread, outside = self._tried(form, spread, outside, part)
        return spread.chosen(np.setdiff1d(np.arange(len(spread)), outside))

    def _tried(
        self, form: LeafForm, spread: LeafSpread, outside: np.ndarray, part: LeafSpread
    ) -> tuple[LeafSpread, np.ndarray]:
        """Take over those leaves of part that lie inside; the others keep their old state and stay on the list."""
        failed = self._leaves_outside(form, part)
        return spread.replaced(outside[~failed], part.chosen(~failed)), outside[failed]

    def _leaves_outside(self, form: LeafForm, spread: LeafSpread) -> np.ndarray:
        leaves = grow(form, spread)
        return np.asarray(~inside(self.outline, leaves[:, :, 0], leaves[:, :, 1]).all(axis=1))

    def laid(self, leaves: FloatArray, rng: np.random.Generator) -> FloatArray:
        """Leaves (n, v, 3) [m] with no vertex below the ground."""
        return lay_on_ground(leaves, self.ground, rng)


def level(x: FloatArray, y: FloatArray) -> FloatArray:
    """The ground on which templates grow."""
    return np.zeros_like(x)


def height_at(ground: Ground, x: FloatArray, y: FloatArray) -> FloatArray:
    """ground(x, y) with the shape of x; ShapeError when it is not finite."""
    heights = np.broadcast_to(np.asarray(ground(x, y), dtype=np.float64), np.shape(x))
    require(bool(np.isfinite(heights).all()), "ground: gave heights that are not finite inside a planting's outline")
    return heights


def lay_on_ground(leaves: FloatArray, ground: Ground, rng: np.random.Generator) -> FloatArray:
    """Leaves (n, v, 3) [m] with no vertex below the ground.

    Each leaf gets a clearance of its own (.2 to 1.5 mm), or leaves lying on flat ground would share one plane.
    """
    floor = height_at(ground, leaves[:, :, 0], leaves[:, :, 1]) + rng.uniform(2e-4, 1.5e-3, len(leaves))[:, None]
    lifted = leaves.copy()
    lifted[:, :, 2] = np.maximum(leaves[:, :, 2], floor)
    return lifted
