"""Stem plants that drift: stems lying level just under the water surface."""

from __future__ import annotations

import numpy as np

from underlit.lowering.shapes.outline import checked_outline, inside, scatter, shrunk_as_far_as_possible, signed_area
from underlit.lowering.shapes.plants.leaves import LeafForm, flatten, grow, leaf_areas
from underlit.lowering.shapes.plants.planting import (
    DEFAULT_TRIANGLE_BUDGET,
    Planting,
    assemble,
    require,
    require_size,
    take,
)
from underlit.lowering.shapes.plants.stalks import tubes
from underlit.lowering.shapes.plants.stems import (
    RINGS,
    StemHabit,
    StemKind,
    axes_of,
    habit_of,
    leaves_along,
    nodes_of,
    to_leaf_area,
)
from underlit.lowering.shapes.randomness import generator
from underlit.lowering.shapes.shape import FloatArray, Shape

DEPTH = (0.004, 0.03)
"""Depth under the surface at which stems drift [m]: one above the other where they are many."""
_TRIES = 40


def drifting_stems(
    seed: int,
    outline: FloatArray,
    *,
    kind: StemKind = StemKind.OPPOSITE,
    length: float = 0.25,
    stems_per_m2: float | None = None,
    leaf_area_index: float | None = None,
    leaf_length: float | None = None,
    leaf_width: float | None = None,
    triangle_budget: int = DEFAULT_TRIANGLE_BUDGET,
) -> Planting:
    """Let stems drift inside an outline on the water; z = 0 is the surface, and no leaf stands above it.

    outline: (k, 2) float64 [m]; length: of the stems [m]; the other arguments as for rooted `stems`. Stems that find no
    place inside the outline are left out, and the note says how many. Raises ShapeError.
    """
    outline = checked_outline(outline)
    require_size("length", length, 0.02, 2.0)
    require((stems_per_m2 is None) != (leaf_area_index is None), "density: give stems_per_m2 or leaf_area_index")
    rng, habit = generator(seed, f"drifting {kind.value}"), habit_of(kind, leaf_length, leaf_width)
    area, form = signed_area(outline), habit.form
    probe = generator(seed, "probe")
    lone = leaves_along(axes_of(np.zeros((40, 3)), np.full(40, 0.83 * length), probe), habit, 1.0, probe)
    per_stem = float(leaf_areas(form, grow(form, lone)).sum()) / 40
    wanted = stems_per_m2 * area if stems_per_m2 is not None else (leaf_area_index or 0.0) * area / per_stem
    count = max(1, round(wanted))
    triangles = count * (len(lone) / 40 * form.triangles + 6 * (RINGS - 1))
    require(triangles <= 20 * triangle_budget, f"drifting stems: {count} are too many; lower their leaf area")
    axes = axes_of(np.zeros((count, 3)), length * rng.uniform(0.7, 0.95, count), rng)
    spread = leaves_along(axes, habit, 1.0, rng)
    spread = to_leaf_area(form, spread, None if leaf_area_index is None else leaf_area_index * area)
    stem = np.repeat(np.arange(count), nodes_of(axes, habit) * habit.per_node)
    rotation, foot, placed = _lying(outline, axes.heights, habit, rng)
    require(
        bool(placed.any()), "stems: no stem of that length fits into the outline; make it larger or the stems shorter"
    )
    whole = placed[stem]
    leaves = _laid(grow(form, take(spread, whole)), stem[whole], rotation, foot)
    leaves[:, :, 2] = np.minimum(leaves[:, :, 2], -rng.uniform(2e-4, 2.5e-3, len(leaves))[:, None])
    leaves = leaves[_within(form, leaves, outline)]
    note = "" if placed.all() else f"{int((~placed).sum())} of {count} stems found no place inside the outline"
    shares = np.broadcast_to(np.linspace(0, 1, RINGS), (count, RINGS))
    stalks = _stalks(_laid(axes.at(shares), np.arange(count), rotation, foot)[placed], habit)
    return assemble(
        form, leaves, outline_area_m2=area, plant_count=int(placed.sum()), stalks=stalks, note=note
    )  # fmt: skip


def _lying(
    outline: FloatArray, lengths: FloatArray, habit: StemHabit, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, np.ndarray]:
    """Turns (n, 3, 3) that lay upright stems level, feet (n, 3) [m], and which stems found a place with both ends inside."""
    count = len(lengths)
    pieces = shrunk_as_far_as_possible(outline, 0.7 * habit.leaf_length)
    rotation, foot, placed = np.zeros((count, 3, 3)), np.zeros((count, 3)), np.zeros(count, dtype=bool)
    for _ in range(_TRIES):
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


def _laid(points: FloatArray, stem: np.ndarray, rotation: FloatArray, foot: FloatArray) -> FloatArray:
    """Points (n, v, 3) of upright stems where their stem lies."""
    return np.einsum("nij,nvj->nvi", rotation[stem], points) + foot[stem][:, None]


def _within(form: LeafForm, leaves: FloatArray, outline: FloatArray) -> np.ndarray:
    vertices, _ = flatten(form, leaves)
    return np.asarray(inside(outline, vertices[:, 0], vertices[:, 1]).reshape(len(leaves), -1).all(axis=1))


def _stalks(paths: FloatArray, habit: StemHabit) -> Shape:
    below = paths.copy()
    below[:, :, 2] = np.minimum(paths[:, :, 2], -2 * habit.stem_radius)
    return tubes(below, np.broadcast_to(habit.stem_radius * np.linspace(1.1, 0.5, RINGS), paths.shape[:2]))
