"""Epiphytes: plants tied to wood or stone, growing from its upper surface."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from underlit.lowering.shapes.outline import checked_outline, inside
from underlit.lowering.shapes.plants.grower import USUAL, Amount, Grower, Own, Placed, Wanted
from underlit.lowering.shapes.plants.instances import TEMPLATES, PlantTemplate, instances_at, plant_template
from underlit.lowering.shapes.plants.leaves import Blade, LeafForm, LeafSpread, grow
from underlit.lowering.shapes.plants.planting import Planting, fit_to_budget, require, require_size
from underlit.lowering.shapes.plants.stalks import tubes
from underlit.lowering.shapes.plants.stems import to_leaf_area
from underlit.lowering.shapes.shape import FloatArray, Shape, face_areas, face_normals
from underlit.scene.aquascape.growth import Form


@dataclass(frozen=True)
class _Habit:
    """Common practice, no source. leaf: its length as a share of the plants' height; width: as a share of that."""

    form: LeafForm
    leaves: tuple[int, int]
    leaf: float
    width: float
    height: float
    usual_index: float
    rhizome: bool


HABITS = {
    # firm oval leaves on short stalks along a rhizome
    Form.THICK_LEAVES: _Habit(LeafForm(Blade.OVAL, (0.2, 0.45, 0.75)), (5, 9), 0.8, 0.42, 0.07, 1.6, True),
    # a cushion of tiny leaflets
    Form.MOSS: _Habit(LeafForm(Blade.LANCE, (0.5,), midrib=False), (6, 10), 0.75, 0.34, 0.012, 2.5, False),
}


def epiphytes(
    seed: int, wood_shape: Shape, form: Form, wanted: Wanted = USUAL, *, from_z: float = 0.0, to_z: float = np.inf,
    outline: FloatArray | None = None,
) -> Planting:  # fmt: skip
    """Grow plants on the upper surface of wood or stone.

    wood_shape: the support where it stands (place it first); from_z, to_z: heights between which they are tied [m]; outline:
    (k, 2) [m], where on the plan. Leaf area index and density refer to the plan area of the upper surface there (the
    Planting's outline_area_m2); leaves are by default in proportion to the height. Raises ShapeError.
    """
    habit = HABITS[form]
    height = habit.height if wanted.height is None else wanted.height
    require_size("height", height, 0.003, 0.5)
    faces, areas = _upper_faces(wood_shape, from_z, to_z, outline)
    length = habit.leaf * height if wanted.leaf_length is None else wanted.leaf_length
    if wanted.leaf_width is not None:
        habit = replace(habit, width=wanted.leaf_width / length)
    # the label is part of what is drawn: it keeps the hyphen
    label = f"epiphytes {form}".replace(" leaves", "-leaves")
    grower = Epiphytes(
        label, seed, wanted, habit.form, float(areas.sum()), habit, length, wood_shape, faces, areas
    )  # fmt: skip
    if wanted.leaf_area_index is None and wanted.plants_per_m2 is None:
        return grower.grown(grower.amount_of(habit.usual_index))
    return grower.grown(grower.amount(0.0))


@dataclass(frozen=True)
class Epiphytes(Grower):
    """Bunches of leaves, so long [m], on the chosen faces of a support; areas: plan area of each face [m2]."""

    habit: _Habit
    length: float
    support: Shape
    faces: np.ndarray
    areas: FloatArray

    SAMPLED = 80
    DENSEST = (1, 1_000_000)

    def sample(self, rng: np.random.Generator) -> LeafSpread:
        """Plants at the origin."""
        return self._bunches(np.zeros((self.SAMPLED, 3)), np.tile([0.0, 0, 1], (self.SAMPLED, 1)), self.length, rng)

    def own(self, amount: Amount, rng: np.random.Generator) -> Own:
        """Plants all over the support."""
        # kept back for rhizomes
        budget = self.wanted.triangle_budget - 36 * round(amount.plants) // 40
        fit = fit_to_budget(amount.plants * self.lone.leaves, self.form.triangles, budget)
        points, normals = self._spots(max(1, round(amount.plants / fit.leaf_scale**2)), rng)
        spread = self._bunches(points, normals, self.length * fit.leaf_scale, rng)
        spread = to_leaf_area(self.form, spread, amount.leaf_area_m2)
        stalks = _rhizomes(points, normals, rng) if self.habit.rhizome else None
        return Own(grow(self.form, spread), len(points), stalks, fit.note)

    def placed(self, amount: Amount, rng: np.random.Generator) -> Placed:
        """Plants that lean half way from straight up to the surface's normal; none is left over."""
        templates = [self._template(rng) for _ in range(TEMPLATES)]
        points, normals = self._spots(round(amount.plants), rng)
        halfway = np.add(normals, [0.0, 0.0, 1.0])
        halfway /= np.linalg.norm(halfway, axis=1, keepdims=True)
        groups, _ = instances_at(templates, points, rng, up=halfway)
        if amount.leaf_area_m2 is not None:
            size = float(np.sqrt(amount.leaf_area_m2 / sum(group.leaf_area_m2 for group in groups)))
            groups = tuple(replace(group, scales=group.scales * size) for group in groups)
        return Placed(groups, len(points))

    def edge(self, roots: FloatArray, leaf_area_m2: float | None, rng: np.random.Generator) -> Own:
        """Nothing: every instance fits."""
        return Own(self.no_leaves(), 0)

    def _template(self, rng: np.random.Generator) -> PlantTemplate:
        """One plant on level ground, its foot at the origin."""
        foot, up = np.zeros((1, 3)), np.array([[0.0, 0.0, 1.0]])
        leaves = grow(self.form, self._bunches(foot, up, self.length, rng))
        return plant_template(self.form, leaves, _rhizomes(foot, up, rng) if self.habit.rhizome else None)

    def _spots(self, count: int, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
        """count points on the support, evenly by plan area, a hair above it, and the normal at each."""
        edges = np.cumsum(self.areas) / self.areas.sum()
        even = (rng.permutation(count) + rng.uniform(0, 1, count)) / count
        face = self.faces[np.minimum(np.searchsorted(edges, even), len(self.faces) - 1)]
        root, side = np.sqrt(rng.uniform(0, 1, count)), rng.uniform(0, 1, count)
        shares = np.stack([1 - root, root * (1 - side), root * side], axis=1)
        normals = face_normals(self.support.vertices, self.support.faces)[face]
        points = np.einsum("ij,ijk->ik", shares, self.support.vertices[self.support.faces[face]])
        return points + 5e-4 * normals, normals

    def _bunches(self, points: FloatArray, normals: FloatArray, length: float, rng: np.random.Generator) -> LeafSpread:
        """Leaves of each plant, fanning out around a direction between the surface's normal and straight up."""
        habit, plants = self.habit, len(points)
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


def _rhizomes(points: FloatArray, normals: FloatArray, rng: np.random.Generator) -> Shape:
    """A short creeping rhizome under each plant."""
    turn = rng.uniform(0, 2 * np.pi, len(points))
    level = np.stack([np.cos(turn), np.sin(turn), np.zeros(len(points))], axis=1)
    along = level - normals * np.einsum("ij,ij->i", level, normals)[:, None]
    shares = np.linspace(-1, 1, 4)[None, :, None]
    paths = points[:, None] + 0.009 * shares * along[:, None] + 0.001 * (1 - shares**2) * normals[:, None]
    return tubes(paths, np.broadcast_to(np.array([0.001, 0.0022, 0.0022, 0.001]), paths.shape[:2]))
