"""Epiphytes: plants tied to wood or stone, growing from its upper surface."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from underlit.lowering.shapes.outline import checked_outline, inside
from underlit.lowering.shapes.plants.instances import TEMPLATES, Beyond, PlantTemplate, instances_at, plant_template
from underlit.lowering.shapes.plants.leaves import Blade, LeafForm, LeafSpread, grow, leaf_areas
from underlit.lowering.shapes.plants.planting import (
    DEFAULT_TRIANGLE_BUDGET,
    Planting,
    assemble,
    fit_to_budget,
    require,
    require_size,
)
from underlit.lowering.shapes.plants.stalks import tubes
from underlit.lowering.shapes.randomness import generator
from underlit.lowering.shapes.shape import FloatArray, Shape, face_areas, face_normals


class EpiphyteKind(Enum):
    """What grows on the wood."""

    THICK_LEAVES = "thick-leaves"
    """Firm oval leaves on short stalks along a rhizome."""
    MOSS = "moss"
    """A cushion of tiny leaflets."""


@dataclass(frozen=True)
class _Habit:
    """Common practice, no source. leaf: its length as a share of the plants' height; width: as a share of that."""

    form: LeafForm
    leaves: tuple[int, int]
    leaf: float
    width: float
    height: float
    default_index: float


_HABITS = {
    EpiphyteKind.THICK_LEAVES: _Habit(LeafForm(Blade.OVAL, (0.2, 0.45, 0.75)), (5, 9), 0.8, 0.42, 0.07, 1.6),
    EpiphyteKind.MOSS: _Habit(LeafForm(Blade.LANCE, (0.5,), midrib=False), (6, 10), 0.75, 0.34, 0.012, 2.5),
}


def epiphytes(
    seed: int,
    wood_shape: Shape,
    *,
    kind: EpiphyteKind = EpiphyteKind.THICK_LEAVES,
    leaf_area_index: float | None = None,
    plants: int | None = None,
    spacing: float | None = None,
    height: float | None = None,
    leaf_length: float | None = None,
    leaf_width: float | None = None,
    from_z: float = 0.0,
    to_z: float = np.inf,
    outline: FloatArray | None = None,
    triangle_budget: int = DEFAULT_TRIANGLE_BUDGET,
    beyond: Beyond = Beyond.COARSEN,
) -> Planting:
    """Grow plants on the upper surface of wood or stone.

    wood_shape: the support where it stands (place it first); height: how far the plants stand off it [m]; from_z,
    to_z: heights between which they are tied [m]; outline: (k, 2) [m], where on the plan. Density: a number of plants, a
    spacing [m], or leaf_area_index over the plan area of the upper surface there (the Planting's outline_area_m2).
    leaf_length, leaf_width: of a typical leaf [m], by default in proportion to the height. Too many triangles for
    triangle_budget become fewer, larger leaves, and the note says so; or, with Beyond.INSTANCES, instances of a few plants.
    Raises ShapeError.
    """
    habit = _HABITS[kind]
    height = habit.height if height is None else height
    require_size("height", height, 0.003, 0.5)
    said = sum(value is not None for value in (plants, leaf_area_index, spacing))
    require(said <= 1, "density: give plants, spacing or leaf_area_index, not both")
    rng = generator(seed, f"epiphytes {kind.value}")
    support, weights = _upper_faces(wood_shape, from_z, to_z, outline)
    area = float(weights.sum())
    length = habit.leaf * height if leaf_length is None else leaf_length
    if leaf_width is not None:
        habit = replace(habit, width=leaf_width / length)
    probe = _bunches(np.zeros((80, 3)), np.tile([0.0, 0, 1], (80, 1)), habit, length, generator(seed, "probe"))
    per_plant = float(leaf_areas(habit.form, grow(habit.form, probe)).sum()) / 80
    if spacing is not None:
        plants = max(1, round(area / spacing**2))
    if plants is not None:
        require(0 < plants <= 1_000_000, f"plants: {plants} is not believable; give 1 to 1000000")
        count, target = plants, plants * per_plant
    else:
        index = habit.default_index if leaf_area_index is None else leaf_area_index
        require(0 < index <= 40, f"leaf_area_index: {index:g} is not believable; give 0.1 to 40")
        target = index * area
        count = max(1, round(target / per_plant))
    leaves_per_plant, with_rhizome = len(probe) / 80, kind is EpiphyteKind.THICK_LEAVES
    if beyond is Beyond.INSTANCES and count * leaves_per_plant * habit.form.triangles > triangle_budget:
        templates = [_template(habit, length, with_rhizome, rng) for _ in range(TEMPLATES)]
        points, normals = _spots(wood_shape, support, weights, count, rng)
        halfway = np.add(normals, [0.0, 0.0, 1.0])
        halfway /= np.linalg.norm(halfway, axis=1, keepdims=True)
        instances, _ = instances_at(templates, points, rng, up=halfway)
        if plants is None:
            size = float(np.sqrt(target / sum(c.leaf_area_m2 for c in instances)))
            instances = tuple(replace(c, scales=c.scales * size) for c in instances)
        return assemble(
            habit.form, np.zeros((0, len(habit.form.half_widths()), 3)), outline_area_m2=area, plant_count=count,
            instances=instances, instanced_leaves=round(count * leaves_per_plant),
        )  # fmt: skip
    fit = fit_to_budget(count * leaves_per_plant, habit.form.triangles, triangle_budget - 36 * count // 40)
    count = max(1, round(count / fit.leaf_scale**2))
    points, normals = _spots(wood_shape, support, weights, count, rng)
    spread = _bunches(points, normals, habit, length * fit.leaf_scale, rng)
    if plants is None:
        size = float(np.sqrt(target / float(leaf_areas(habit.form, grow(habit.form, spread)).sum())))
        spread.length[:] *= size
        spread.width[:] *= size
    stalks = _rhizomes(points, normals, rng) if with_rhizome else None
    leaves = grow(habit.form, spread)
    return assemble(habit.form, leaves, outline_area_m2=area, plant_count=count, stalks=stalks, note=fit.note)


def _template(habit: _Habit, length: float, with_rhizome: bool, rng: np.random.Generator) -> PlantTemplate:
    """One plant on level ground, its foot at the origin."""
    foot, up = np.zeros((1, 3)), np.array([[0.0, 0.0, 1.0]])
    leaves = grow(habit.form, _bunches(foot, up, habit, length, rng))
    return plant_template(habit.form, leaves, _rhizomes(foot, up, rng) if with_rhizome else None)


def _upper_faces(wood: Shape, from_z: float, to_z: float, outline: FloatArray | None) -> tuple[np.ndarray, FloatArray]:
    """Faces that look up, between the heights and inside the outline; and the plan area of each [m2]."""
    normals, areas = face_normals(wood.vertices, wood.faces), face_areas(wood.vertices, wood.faces)
    middle = wood.vertices[wood.faces].mean(axis=1)
    chosen = (normals[:, 2] > 0.35) & (middle[:, 2] > from_z) & (middle[:, 2] < to_z)
    if outline is not None:
        chosen &= inside(checked_outline(outline), middle[:, 0], middle[:, 1])
    upper = np.flatnonzero(chosen)
    where = "" if outline is None else " inside the outline"
    require(
        len(upper) > 0,
        f"epiphytes: no upper surface from {from_z:g} m to {to_z:g} m{where}; give heights where wood is",
    )
    return upper, areas[upper] * normals[upper, 2]


def _spots(
    wood: Shape, support: np.ndarray, weights: FloatArray, count: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """count points on the supporting faces, evenly by plan area, a hair above the wood, and the normal at each."""
    edges = np.cumsum(weights) / weights.sum()
    even = (rng.permutation(count) + rng.uniform(0, 1, count)) / count
    face = support[np.minimum(np.searchsorted(edges, even), len(support) - 1)]
    root, side = np.sqrt(rng.uniform(0, 1, count)), rng.uniform(0, 1, count)
    shares = np.stack([1 - root, root * (1 - side), root * side], axis=1)
    normals = face_normals(wood.vertices, wood.faces)[face]
    points = np.einsum("ij,ijk->ik", shares, wood.vertices[wood.faces[face]])
    return points + 5e-4 * normals, normals


def _bunches(
    points: FloatArray, normals: FloatArray, habit: _Habit, length: float, rng: np.random.Generator
) -> LeafSpread:
    """Leaves of each plant, fanning out around a direction between the surface's normal and straight up."""
    plants = len(points)
    per_plant = rng.integers(habit.leaves[0], habit.leaves[1] + 1, plants)
    plant = np.repeat(np.arange(plants), per_plant)
    order = np.arange(len(plant)) - np.repeat(np.cumsum(per_plant) - per_plant, per_plant)
    count = len(plant)
    azimuth = rng.uniform(0, 2 * np.pi, plants)[plant] + order * np.deg2rad(137.5) + rng.normal(0, 0.3, count)
    # On a slope leaves lean the way the surface looks: steeper uphill, flatter downhill.
    out = np.stack([np.cos(azimuth), np.sin(azimuth)], axis=1)
    downhill = np.einsum("ij,ij->i", out, normals[plant, :2])
    rise = np.deg2rad(52 + rng.normal(0, 14, count)) - 0.5 * downhill
    size = rng.uniform(0.65, 1.1, count)
    base = points[plant].copy()
    base[:, :2] += out * rng.uniform(0, 0.06, count)[:, None] * length
    return LeafSpread(
        base=base,
        azimuth=azimuth,
        rise=np.clip(rise, np.deg2rad(8), np.deg2rad(88)),
        droop=np.deg2rad(rng.uniform(15, 70, count)),
        length=length * size,
        width=length * size * habit.width * rng.uniform(0.85, 1.15, count),
        fold=np.deg2rad(rng.uniform(3, 14, count)),
        roll=rng.normal(0, 0.2, count),
        wave=rng.normal(0, 0.02, count),
    )


def _rhizomes(points: FloatArray, normals: FloatArray, rng: np.random.Generator) -> Shape:
    """A short creeping rhizome under each plant."""
    turn = rng.uniform(0, 2 * np.pi, len(points))
    level = np.stack([np.cos(turn), np.sin(turn), np.zeros(len(points))], axis=1)
    along = level - normals * np.einsum("ij,ij->i", level, normals)[:, None]
    shares = np.linspace(-1, 1, 4)[None, :, None]
    paths = points[:, None] + 0.009 * shares * along[:, None] + 0.001 * (1 - shares**2) * normals[:, None]
    return tubes(paths, np.broadcast_to(np.array([0.001, 0.0022, 0.0022, 0.001]), paths.shape[:2]))
