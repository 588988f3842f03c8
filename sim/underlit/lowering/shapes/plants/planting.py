"""A planting as measured, and the words for what cannot be planted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.lowering.shapes.plants.instances import InstanceGroup
from underlit.lowering.shapes.shape import Shape, ShapeError


@dataclass(frozen=True)
class Planting:
    """A planting as measured on its own triangles, after everything was fitted, clipped and dropped.

    leaf_area_m2: one side, all leaf blades [m2]; leaf_area_index: that over outline_area_m2; leaf_count, plant_count:
    leaf blades and plants; stalk_area_m2: triangles of stalks and stems, not part of the leaf area; coverage: share of
    the outline hidden seen from straight above, where it was asked for. leaf_faces: so many faces of the shape, the first
    ones, are leaf blades. instances: plants besides those of the shape; the other numbers count them in.
    """

    shape: Shape
    leaf_area_m2: float
    leaf_area_index: float
    leaf_count: int
    plant_count: int
    outline_area_m2: float
    stalk_area_m2: float = 0.0
    coverage: float | None = None
    leaf_faces: int = 0
    instances: tuple[InstanceGroup, ...] = ()


def require(condition: bool, message: str) -> None:
    """ShapeError with message unless condition holds."""
    if not condition:
        raise ShapeError(message)


def require_size(name: str, value: float, low: float, high: float) -> None:
    """ShapeError unless low <= value <= high (metres)."""
    require(
        bool(np.isfinite(value)) and low <= value <= high,
        f"{name}: {value:g} m is not believable; give {low * 100:g} cm to {high * 100:g} cm",
    )


@dataclass(frozen=True)
class Fit:
    """Answer of the triangle budget: leaves grow by leaf_scale in length and width, count shrinks by its square."""

    leaf_scale: float
    note: str


def fit_to_budget(leaf_count: float, triangles_per_leaf: float, budget: int) -> Fit:
    """Fewer, larger leaves of the same total area where leaf_count leaves would need more than budget triangles."""
    require(budget >= 100, f"triangle_budget: {budget} is too few for a planting; give 100 or more")
    # A few per cent are left for leaves that come out smaller than the average.
    needed = 1.04 * leaf_count * triangles_per_leaf
    if needed <= budget:
        return Fit(1.0, "")
    scale = float(np.sqrt(needed / budget))
    note = f"leaves drawn {scale:.2f} x as long, and {scale**2:.2f} x fewer, for a budget of {budget} triangles"
    return Fit(scale, note)
