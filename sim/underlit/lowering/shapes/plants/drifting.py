"""Stem plants that drift: stems lying level just under the water surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.lowering.shapes.outline import checked_outline, inside, scatter, shrunk_as_far_as_possible, signed_area
from underlit.lowering.shapes.plants.grower import USUAL, Amount, Own, Wanted
from underlit.lowering.shapes.plants.leaves import grow
from underlit.lowering.shapes.plants.planting import Planting, require, require_size
from underlit.lowering.shapes.plants.stalks import tubes
from underlit.lowering.shapes.plants.stems import (
    USUAL_HEIGHT_M,
    USUAL_PER_M2,
    StemGrower,
    axes_of,
    habit_of,
    leaves_along,
    nodes_of,
    stem_radii,
    to_leaf_area,
)
from underlit.lowering.shapes.shape import FloatArray, Shape
from underlit.scene.aquascape.growth import Form

DEPTH = (0.004, 0.03)
"""Depth under the surface at which stems drift [m]: one above the other where they are many."""
TRIES = 40
"""Places that are tried for each stem."""
MOST_OVER_BUDGET = 20


def drifting_stems(seed: int, outline: FloatArray, form: Form, wanted: Wanted = USUAL) -> Planting:
    """Let stems drift inside an outline on the water; z = 0 is the surface, and no leaf stands above it.

    outline: (k, 2) float64 [m]; wanted: its height is the length of the stems. Stems that find no place inside the outline
    are left out, and the note says how many. Raises ShapeError.
    """
    outline, length = checked_outline(outline), USUAL_HEIGHT_M if wanted.height is None else wanted.height
    require_size("length", length, 0.02, 2.0)
    habit = habit_of(form, wanted)
    grower = DriftingStems(f"drifting {form}", seed, wanted, habit.form, signed_area(outline), habit, length, outline)
    return grower.grown(grower.amount(USUAL_PER_M2))


@dataclass(frozen=True)
class DriftingStems(StemGrower):
    """Stems that lie level inside an outline (k, 2) [m]. They are never instances: no two lie in one way."""

    outline: FloatArray

    def own(self, amount: Amount, rng: np.random.Generator) -> Own:
        """Stems grown upright, then laid down."""
        count = round(amount.plants)
        triangles = count * (self.lone.leaves * self.form.triangles + self.STALK_TRIANGLES)
        require(
            triangles <= MOST_OVER_BUDGET * self.wanted.triangle_budget,
            f"drifting stems: {count} are too many; lower their leaf area",
        )
        axes = axes_of(np.zeros((count, 3)), self.length * rng.uniform(0.7, 0.95, count), rng)
        spread = to_leaf_area(self.form, leaves_along(axes, self.habit, 1.0, rng), amount.leaf_area_m2)
        stem = np.repeat(np.arange(count), nodes_of(axes, self.habit) * self.habit.per_node)
        rotation, foot, placed = self._lying(axes.heights, rng)
        fits = "stems: no stem of that length fits into the outline; make it larger or the stems shorter"
        require(bool(placed.any()), fits)
        whole = placed[stem]
        leaves = _laid(grow(self.form, spread.chosen(whole)), stem[whole], rotation, foot)
        leaves[:, :, 2] = np.minimum(leaves[:, :, 2], -rng.uniform(2e-4, 2.5e-3, len(leaves))[:, None])
        leaves = leaves[inside(self.outline, leaves[:, :, 0], leaves[:, :, 1]).all(axis=1)]
        note = "" if placed.all() else f"{int((~placed).sum())} of {count} stems found no place inside the outline"
        paths = _laid(axes.rings(), np.arange(count), rotation, foot)[placed]
        return Own(leaves, int(placed.sum()), self._stalks(paths), note)

    def _lying(self, lengths: FloatArray, rng: np.random.Generator) -> tuple[FloatArray, FloatArray, np.ndarray]:
        """Turns (n, 3, 3) that lay upright stems level, feet (n, 3) [m], and which found a place with both ends inside."""
        count = len(lengths)
        pieces = shrunk_as_far_as_possible(self.outline, 0.7 * self.habit.leaf_length)
        rotation, foot, placed = np.zeros((count, 3, 3)), np.zeros((count, 3)), np.zeros(count, dtype=bool)
        for _ in range(TRIES):
            open_ones = np.flatnonzero(~placed)
            if len(open_ones) == 0:
                break
            middle = scatter(pieces, len(open_ones), rng)
            turn = rng.uniform(0, 2 * np.pi, len(open_ones))
            along = np.stack([np.cos(turn), np.sin(turn), np.zeros(len(turn))], axis=1)
            ends = [middle + side * 0.5 * lengths[open_ones, None] * along[:, :2] for side in (-1, 1)]
            good = np.ones(len(open_ones), dtype=bool)
            for end in ends:
                good &= np.any([inside(piece, end[:, 0], end[:, 1]) for piece in pieces], axis=0)
            which = open_ones[good]
            up = np.broadcast_to([0.0, 0.0, 1.0], along.shape)
            rotation[which] = np.stack([up, np.cross(along, up), along], axis=2)[good]
            foot[which, :2] = ends[0][good]
            foot[which, 2] = -rng.uniform(*DEPTH, len(which))
            placed[which] = True
        return rotation, foot, placed

    def _stalks(self, paths: FloatArray) -> Shape:
        below = paths.copy()
        below[:, :, 2] = np.minimum(paths[:, :, 2], -2 * self.habit.stem_radius)
        return tubes(below, stem_radii(self.habit, len(paths)))


def _laid(points: FloatArray, stem: np.ndarray, rotation: FloatArray, foot: FloatArray) -> FloatArray:
    """Points (n, v, 3) of upright stems where their stem lies."""
    return np.asarray(np.einsum("nij,nvj->nvi", rotation[stem], points) + foot[stem][:, None])
