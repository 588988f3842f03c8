"""Many plants as instances of a few grown ones: each template is stored once, its instances are turned, leaned and scaled."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from underlit.lowering.shapes.plants.leaves import LeafForm, flatten
from underlit.lowering.shapes.shape import FloatArray, Shape, face_areas, join, without_degenerate_faces

TEMPLATES = 8
"""Grown plants of which all others of a planting are instances: with turns and sizes, no two look alike."""


class Beyond(Enum):
    """What is done with a planting of more triangles than its budget."""

    COARSEN = "coarsen"
    """Fewer, larger leaves of the same total area."""
    INSTANCES = "instances"
    """Leaves of their own size; plants become instances of a few templates."""


@dataclass(frozen=True)
class PlantTemplate:
    """A plant to be placed many times, its foot at the origin: its triangles, the first leaf_faces of which are leaf blades."""

    shape: Shape
    leaf_faces: int

    @property
    def leaf_area_m2(self) -> float:
        """Area of the leaf blades, one side [m2]."""
        return float(face_areas(self.shape.vertices, self.shape.faces[: self.leaf_faces]).sum())


@dataclass(frozen=True)
class InstanceGroup:
    """Instances of one template: origins (n, 3) [m], rotations (n, 3, 3), scales (n,)."""

    template: PlantTemplate
    origins: FloatArray
    rotations: FloatArray
    scales: FloatArray

    def __len__(self) -> int:
        return len(self.scales)

    @property
    def leaf_area_m2(self) -> float:
        """Leaf area of all instances, one side [m2]."""
        return self.template.leaf_area_m2 * float((self.scales**2).sum())

    @property
    def stalk_area_m2(self) -> float:
        """Area of the stalks of all instances [m2]."""
        return self.template.shape.area_m2 * float((self.scales**2).sum()) - self.leaf_area_m2

    @property
    def triangles(self) -> int:
        """Triangles of all instances, were they written out."""
        return len(self) * len(self.template.shape.faces)

    def placed(self, points: FloatArray) -> FloatArray:
        """(n, p, 3) [m]: points (p, 3) of the template on every instance."""
        turned: FloatArray = np.einsum("nij,kj->nki", self.rotations, points)
        return turned * self.scales[:, None, None] + self.origins[:, None]

    def chosen(self, which: np.ndarray) -> InstanceGroup:
        """Some of the instances (index or boolean array)."""
        return replace(
            self, origins=self.origins[which], rotations=self.rotations[which], scales=self.scales[which]
        )  # fmt: skip

    def bounds(self) -> FloatArray:
        """(n, 2, 3) [m]: lowest and highest corner of each instance."""
        points = self.placed(outermost(self.template.shape.vertices))
        return np.stack([points.min(axis=1), points.max(axis=1)], axis=1)

    def written_out(self) -> tuple[Shape, Shape]:
        """All instances as meshes of their own: leaf blades, and stalks (maybe no triangle)."""
        points = self.placed(self.template.shape.vertices)
        count, each = points.shape[:2]
        parts = []
        for faces in (
            self.template.shape.faces[: self.template.leaf_faces],
            self.template.shape.faces[self.template.leaf_faces :],
        ):
            all_faces = faces[None] + (np.arange(count) * each)[:, None, None]
            parts.append(Shape(*without_degenerate_faces(points.reshape(-1, 3), all_faces.reshape(-1, 3)), False))
        return parts[0], parts[1]


def outermost(points: FloatArray) -> FloatArray:
    """Points (p, 3) among which every extreme one is: the corners of the convex hull, or all of a flat or small set."""
    from scipy.spatial import ConvexHull, QhullError

    if len(points) <= 50:
        return points
    try:
        return np.asarray(points[ConvexHull(points).vertices])
    except QhullError:
        return points


def plant_template(form: LeafForm, leaves: FloatArray, stalks: Shape | None = None) -> PlantTemplate:
    """A template of leaves (n, v, 3) and stalks about the origin."""
    blades = Shape(*without_degenerate_faces(*flatten(form, leaves)), False)
    whole = blades if stalks is None or len(stalks.faces) == 0 else join([blades, stalks])
    return PlantTemplate(whole, len(blades.faces))


def instances_at(
    templates: Sequence[PlantTemplate],
    points: FloatArray,
    rng: np.random.Generator,
    *,
    up: FloatArray | None = None,
    sizes: tuple[float, float] = (0.9, 1.1),
    fits: Callable[[FloatArray], np.ndarray] | None = None,
) -> tuple[tuple[InstanceGroup, ...], np.ndarray]:
    """Instances at points (n, 3) [m], and which points are left over because their instance would not fit, (n,) bool.

    up: direction that each stands along, (n, 3) unit vectors (straight up by default); fits: of outermost points (n, p, 3)
    of instances, which instances may stand, (n,) bool.
    """
    count = len(points)
    which, turn = rng.integers(0, len(templates), count), rng.uniform(0, 2 * np.pi, count)
    size = rng.uniform(*sizes, count)
    rotation = np.zeros((count, 3, 3))
    rotation[:, 0, 0] = rotation[:, 1, 1] = np.cos(turn)
    rotation[:, 1, 0], rotation[:, 0, 1] = np.sin(turn), -np.sin(turn)
    rotation[:, 2, 2] = 1.0
    if up is not None:
        rotation = np.einsum("nij,njk->nik", _leaning(up), rotation)
    left_over = np.zeros(count, dtype=bool)
    found = []
    for k, template in enumerate(templates):
        mine = np.flatnonzero(which == k)
        group = InstanceGroup(template, points[mine], rotation[mine], size[mine])
        if fits is not None and len(mine):
            good = fits(group.placed(outermost(template.shape.vertices)))
            left_over[mine[~good]] = True
            group = group.chosen(good)
        if len(group):
            found.append(group)
    return tuple(found), left_over


def _leaning(up: FloatArray) -> FloatArray:
    """(n, 3, 3): the shortest turn that takes straight up to each direction (n, 3) (not straight down)."""
    x, y, z = up.T
    k = 1.0 / (1.0 + z)
    rows = [[1 - k * x * x, -k * x * y, x], [-k * x * y, 1 - k * y * y, y], [-x, -y, z]]
    return np.moveaxis(np.array(rows), 2, 0)
