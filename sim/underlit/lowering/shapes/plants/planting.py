"""What every planting shares: keeping leaves inside the outline and above the ground, triangle budget, measured leaf
area.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from underlit.lowering.shapes.outline import Ground, inside
from underlit.lowering.shapes.plants.instances import InstanceGroup
from underlit.lowering.shapes.plants.leaves import LeafForm, LeafSpread, flatten, grow
from underlit.lowering.shapes.shape import FloatArray, Shape, ShapeError, face_areas, join, without_degenerate_faces

DEFAULT_TRIANGLE_BUDGET = 60_000
"""Triangles that one planting may use unless told otherwise: a tank's worth of plants then traces at full speed."""

SINKS = 1e-3
"""So far may the lowest leaf of a copy reach into the ground [m]."""


@dataclass(frozen=True)
class Planting:
    """A planting as measured on its own triangles, after everything was fitted, clipped and dropped.

    leaf_area_m2: one side, all leaf blades [m2]; leaf_area_index: that over outline_area_m2; leaf_count, plant_count:
    leaf blades and plants; stalk_area_m2: triangles of stalks and stems, not part of the leaf area; coverage: share of
    the outline hidden seen from straight above, where it was asked for. leaf_faces: so many faces of the shape, the first
    ones, are leaf blades. instances: plants besides those of the shape, as instances of a few; the other numbers count them in.
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


def take(spread: LeafSpread, which: np.ndarray) -> LeafSpread:
    """The chosen leaves (index or boolean array)."""
    return LeafSpread(**{name: getattr(spread, name)[which] for name in LeafSpread.__dataclass_fields__})


def put(spread: LeafSpread, which: np.ndarray, part: LeafSpread) -> LeafSpread:
    """spread with the chosen leaves replaced by part."""
    fields = {name: getattr(spread, name).copy() for name in LeafSpread.__dataclass_fields__}
    for name, values in fields.items():
        values[which] = getattr(part, name)
    return LeafSpread(**fields)


def keep_inside(
    form: LeafForm, spread: LeafSpread, outline: FloatArray, rng: np.random.Generator, *, turns: int = 0
) -> tuple[LeafSpread, np.ndarray]:
    """Turn and then straighten up leaves that would leave the outline, as leaves do against glass.

    turns: how many other directions are tried first. Returns the leaves and their indices in spread; the few that
    cannot be kept inside are left out.
    """
    outside = np.flatnonzero(_leaves_outside(form, spread, outline))
    for _ in range(turns):
        if len(outside) == 0:
            break
        part = take(spread, outside)
        part = replace(part, azimuth=rng.uniform(0, 2 * np.pi, len(outside)))
        spread, outside = _try(form, spread, outside, part, outline)
    for straighter in (0.4, 0.7, 0.9, 1.0):
        if len(outside) == 0:
            break
        part = take(spread, outside)
        upright = np.deg2rad(88)
        middle = part.rise - 0.5 * part.droop
        droop = part.droop * (1 - straighter)
        part = replace(part, rise=middle + (upright - middle) * straighter + 0.5 * droop, droop=droop)
        spread, outside = _try(form, spread, outside, part, outline)
    kept = np.setdiff1d(np.arange(len(spread)), outside)
    return take(spread, kept), kept


def _try(
    form: LeafForm, spread: LeafSpread, outside: np.ndarray, part: LeafSpread, outline: FloatArray
) -> tuple[LeafSpread, np.ndarray]:
    """Take over those leaves of part that lie inside; the others keep their old state and stay on the list."""
    failed = _leaves_outside(form, part, outline)
    return put(spread, outside[~failed], take(part, ~failed)), outside[failed]


def _leaves_outside(form: LeafForm, spread: LeafSpread, outline: FloatArray) -> np.ndarray:
    leaves = grow(form, spread)
    within = inside(outline, leaves[:, :, 0], leaves[:, :, 1])
    return np.logical_not(np.logical_and.reduce(within, axis=1))


def lay_on_ground(leaves: FloatArray, ground: Ground, rng: np.random.Generator) -> FloatArray:
    """Leaves (n, v, 3) with no vertex below the ground.

    Each leaf gets a clearance of its own (.2 to 1.5 mm), or leaves lying on flat ground would share one plane.
    """
    floor = height_at(ground, leaves[:, :, 0], leaves[:, :, 1]) + rng.uniform(2e-4, 1.5e-3, len(leaves))[:, None]
    lifted = leaves.copy()
    lifted[:, :, 2] = np.maximum(leaves[:, :, 2], floor)
    return lifted


def height_at(ground: Ground, x: FloatArray, y: FloatArray) -> FloatArray:
    """ground(x, y) with the shape of x; ShapeError when it is not finite."""
    heights = np.broadcast_to(np.asarray(ground(x, y), dtype=np.float64), np.shape(x))
    require(bool(np.isfinite(heights).all()), "ground: gave heights that are not finite inside a planting's outline")
    return heights


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


def assemble(
    form: LeafForm,
    leaves: FloatArray,
    *,
    outline_area_m2: float,
    plant_count: int,
    stalks: Shape | None = None,
    instances: tuple[InstanceGroup, ...] = (),
    instanced_leaves: int = 0,
    note: str = "",
) -> Planting:
    """Leaves (n, v, 3), stalks and instances as one planting, with its leaf area measured on the triangles that stay."""
    require(
        len(leaves) + len(instances) > 0, "plants: nothing fits into the outline; make it larger or the plants smaller"
    )
    vertices, faces = without_degenerate_faces(*flatten(form, leaves))
    leaf_area = float(face_areas(vertices, faces).sum()) + sum(c.leaf_area_m2 for c in instances)
    stalk_area = sum(c.stalk_area_m2 for c in instances)
    shape = Shape(vertices, faces, False)
    if stalks is not None and len(stalks.faces):
        stalk_area += stalks.area_m2
        shape = join([shape, stalks])
    return Planting(
        Shape(shape.vertices, shape.faces, False, note),
        leaf_area,
        leaf_area / outline_area_m2,
        len(leaves) + instanced_leaves,
        plant_count,
        outline_area_m2,
        stalk_area,
        leaf_faces=len(faces),
        instances=instances,
    )


def stands_within(outline: FloatArray, ground: Ground) -> Callable[[FloatArray], np.ndarray]:
    """Which instances lie inside an outline and not in the ground, from their outermost points (n, p, 3)."""

    def fits(points: FloatArray) -> np.ndarray:
        x, y, z = points[:, :, 0], points[:, :, 1], points[:, :, 2]
        return np.asarray((inside(outline, x, y) & (z > height_at(ground, x, y) - SINKS)).all(axis=1))

    return fits


def across_slope(ground: Ground, points: FloatArray, step: float = 5e-3) -> FloatArray:
    """(n, 3): unit normals of the ground at points (n, 3) [m]."""
    x, y = points[:, 0], points[:, 1]
    rise_x = (height_at(ground, x + step, y) - height_at(ground, x - step, y)) / (2 * step)
    rise_y = (height_at(ground, x, y + step) - height_at(ground, x, y - step)) / (2 * step)
    # at the edge of a terrace the rise is that of a wall
    up = np.stack([-np.clip(rise_x, -1, 1), -np.clip(rise_y, -1, 1), np.ones(len(points))], axis=1)
    return up / np.linalg.norm(up, axis=1, keepdims=True)
