"""The one way in which every planting grows; a grower says only what is its own.

1. A few plants are grown at the origin and measured: leaf area, leaves and triangles of the average one (`Lone`).
2. Leaf area index or density says how many plants there are (`amount`).
3. Where they fit into the triangle budget, all get leaves of their own (`own`). Where they do not, they become instances of
   a few templates (`placed`), and only those that no instance fits, along the edge, get leaves of their own (`edge`);
   or, with `Beyond.COARSEN`, `own` draws fewer, larger leaves of the same total area.
4. All is put together and measured on its triangles.

Each planting draws from generators of its seed and label only, so that one never moves another.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar, NamedTuple

import numpy as np

from underlit.lowering.shapes.plants.instances import Beyond, InstanceGroup
from underlit.lowering.shapes.plants.leaves import LeafForm, LeafSpread, flatten, grow, leaf_areas
from underlit.lowering.shapes.plants.planting import Planting, require
from underlit.lowering.shapes.randomness import generator
from underlit.lowering.shapes.shape import FloatArray, Shape, face_areas, join, without_degenerate_faces

DEFAULT_TRIANGLE_BUDGET = 60_000
"""Triangles that one planting may use unless told otherwise: a tank's worth of plants then traces at full speed."""


@dataclass(frozen=True)
class Wanted:
    """What is asked of a planting. A size [m] that is None is the usual one of the form.

    height: to which plants have grown above what they stand on; how dense: leaf_area_index (leaf area, one side, over the
    plan area planted) or plants_per_m2, not both; leaf_length, leaf_width: of a typical grown leaf; triangle_budget, beyond:
    most triangles, and what is done with more.
    """

    height: float | None = None
    leaf_area_index: float | None = None
    plants_per_m2: float | None = None
    leaf_length: float | None = None
    leaf_width: float | None = None
    triangle_budget: int = DEFAULT_TRIANGLE_BUDGET
    beyond: Beyond = Beyond.COARSEN


USUAL = Wanted()
"""Everything as is usual of the form."""


class Lone(NamedTuple):
    """The average plant: leaf area, one side [m2], and leaves."""

    leaf_area_m2: float
    leaves: float


class Amount(NamedTuple):
    """How many plants, and the leaf area that they are to have together [m2], None where it follows from the plants."""

    plants: float
    leaf_area_m2: float | None


class Own(NamedTuple):
    """Plants with triangles of their own: leaves (n, v, 3) [m], how many plants, stalks, and what the budget cost."""

    leaves: FloatArray
    plants: int
    stalks: Shape | None = None
    note: str = ""


class Placed(NamedTuple):
    """Instances, how many plants they are, and where none fits: roots (n, 3) [m]."""

    groups: tuple[InstanceGroup, ...] = ()
    plants: int = 0
    left_over: FloatArray = np.zeros((0, 3))


@dataclass(frozen=True)
class Grower(ABC):
    """Plants of one form in one place. form: of their leaves; area_m2: plan area planted."""

    label: str
    seed: int
    wanted: Wanted
    form: LeafForm
    area_m2: float

    SAMPLED: ClassVar[int]
    """Plants that are grown to measure the average one."""
    DENSEST: ClassVar[tuple[float, float]]
    """Plants per m2 between which a density is believable."""
    STALK_TRIANGLES: ClassVar[int] = 0
    """Triangles of one plant besides its leaves."""

    @abstractmethod
    def sample(self, rng: np.random.Generator) -> LeafSpread:
        """Leaves of SAMPLED plants at the origin."""

    @abstractmethod
    def own(self, amount: Amount, rng: np.random.Generator) -> Own:
        """All plants with leaves of their own, fewer and larger ones where the budget asks for it."""

    def placed(self, amount: Amount, rng: np.random.Generator) -> Placed:
        """The plants as instances of a few templates."""
        raise NotImplementedError

    def edge(self, roots: FloatArray, leaf_area_m2: float | None, rng: np.random.Generator) -> Own:
        """Plants with leaves of their own at the roots (n, 3) that instances left over, with a leaf area together [m2]."""
        raise NotImplementedError

    @cached_property
    def lone(self) -> Lone:
        """The average plant."""
        spread = self.sample(generator(self.seed, "probe"))
        area = float(leaf_areas(self.form, grow(self.form, spread)).sum())
        return Lone(area / self.SAMPLED, len(spread) / self.SAMPLED)

    def amount(self, usual_per_m2: float) -> Amount:
        """Plants that leaf area index or density ask for; usual_per_m2: where neither is given. Raises ShapeError."""
        index, dense = self.wanted.leaf_area_index, self.wanted.plants_per_m2
        require(index is None or dense is None, "density: give plants_per_m2 or leaf_area_index, not both")
        if index is not None:
            require_index(index)
            return self.amount_of(index)
        dense, (least, most) = usual_per_m2 if dense is None else dense, self.DENSEST
        require(0 < dense <= most, f"plants_per_m2: {dense:g} is not believable; give {least:g} to {most:g}")
        return Amount(max(1, round(dense * self.area_m2)), None)

    def amount_of(self, index: float) -> Amount:
        """Plants that a leaf area index asks for."""
        target = index * self.area_m2
        return Amount(max(1, round(target / self.lone.leaf_area_m2)), target)

    def grown(self, amount: Amount) -> Planting:
        """So many plants, grown. Raises ShapeError."""
        rng = generator(self.seed, self.label)
        triangles = amount.plants * (self.lone.leaves * self.form.triangles + self.STALK_TRIANGLES)
        if self.wanted.beyond is Beyond.COARSEN or triangles <= self.wanted.triangle_budget:
            return self._measured(self.own(amount, rng), Placed())
        placed = self.placed(amount, rng)
        missing = amount.leaf_area_m2
        if missing is not None:
            missing = max(missing - sum(group.leaf_area_m2 for group in placed.groups), 0.0)
        return self._measured(self.edge(placed.left_over, missing, rng), placed)

    def plants_of(self, plants: int) -> int:
        """Plants that people would count; carpets count leaves."""
        return plants

    def no_leaves(self) -> FloatArray:
        """(0, v, 3)."""
        return np.zeros((0, len(self.form.half_widths()), 3))

    def _measured(self, own: Own, placed: Placed) -> Planting:
        """Own leaves, stalks and instances as one planting, with its leaf area measured on the triangles that stay."""
        groups = placed.groups
        require(
            len(own.leaves) + len(groups) > 0, "plants: nothing fits into the outline; make it larger or the plants smaller"
        )  # fmt: skip
        vertices, faces = without_degenerate_faces(*flatten(self.form, own.leaves))
        leaf_area = float(face_areas(vertices, faces).sum()) + sum(group.leaf_area_m2 for group in groups)
        stalk_area = sum(group.stalk_area_m2 for group in groups)
        shape = Shape(vertices, faces, False)
        if own.stalks is not None and len(own.stalks.faces):
            stalk_area += own.stalks.area_m2
            shape = join([shape, own.stalks])
        return Planting(
            Shape(shape.vertices, shape.faces, False, own.note),
            leaf_area,
            leaf_area / self.area_m2,
            len(own.leaves) + round(placed.plants * self.lone.leaves),
            self.plants_of(placed.plants + own.plants),
            self.area_m2,
            stalk_area,
            leaf_faces=len(faces),
            instances=groups,
        )


def require_index(index: float, most: float = 40) -> None:
    """ShapeError unless a leaf area index is believable."""
    require(0 < index <= most, f"leaf_area_index: {index:g} is not believable; give 0.1 to {most:g}")
