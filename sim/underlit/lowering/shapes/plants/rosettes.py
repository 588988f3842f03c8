"""Rosettes: leaves that spring from one crown at the ground."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from underlit.lowering.shapes.outline import Ground, checked_outline, scatter, shrunk_as_far_as_possible, signed_area
from underlit.lowering.shapes.plants.instances import (
    TEMPLATES,
    Beyond,
    InstanceGroup,
    PlantTemplate,
    instances_at,
    plant_template,
)
from underlit.lowering.shapes.plants.leaves import Blade, LeafForm, LeafSpread, grow, leaf_areas
from underlit.lowering.shapes.plants.planting import (
    DEFAULT_TRIANGLE_BUDGET,
    Fit,
    Planting,
    across_slope,
    assemble,
    fit_to_budget,
    height_at,
    keep_inside,
    lay_on_ground,
    require,
    require_size,
    stands_within,
)
from underlit.lowering.shapes.randomness import generator
from underlit.lowering.shapes.shape import FloatArray


class RosetteKind(Enum):
    """What grows from a crown."""

    LOW = "low"
    """Short lance-shaped leaves spreading close to the ground."""
    BROAD = "broad"
    """Broad wavy blades on long stalks, arching outward."""
    RIBBON = "ribbon"
    """Tall ribbons that stand up and bend over at the top."""


class _Longer(Enum):
    """What leaves do that are longer than the plant is tall."""

    LIE_FLATTER = "lie flatter"
    BEND_OVER = "bend over"


@dataclass(frozen=True)
class _Habit:
    """Common practice, no source. width is a share of the length; angles in degrees from low to high."""

    form: LeafForm
    leaves: tuple[int, int]
    width: tuple[float, float]
    rise: tuple[float, float]
    droop: tuple[float, float]
    spacing: float
    """Distance between plants as a share of their height."""
    height: float
    widest: float
    """No leaf gets wider than this [m]."""
    longer: _Longer = _Longer.LIE_FLATTER


_HABITS = {
    RosetteKind.LOW: _Habit(
        LeafForm(Blade.LANCE, (0.2, 0.45, 0.75)), (9, 15), (0.15, 0.22), (28, 82), (20, 75), 0.8, 0.08, 0.03
    ),
    RosetteKind.BROAD: _Habit(
        LeafForm(Blade.STALKED, (0.37, 0.43, 0.52, 0.62, 0.73, 0.84, 0.93)),
        (8, 14),
        (0.2, 0.3),
        (42, 86),
        (35, 95),
        0.7,
        0.16,
        0.07,
    ),
    RosetteKind.RIBBON: _Habit(
        LeafForm(Blade.RIBBON, (0.15, 0.32, 0.5, 0.66, 0.8, 0.92), midrib=False),
        (8, 14),
        (0.02, 0.03),
        (78, 90),
        (10, 120),
        0.2,
        0.4,
        0.014,
        _Longer.BEND_OVER,
    ),
}


def rosettes(
    seed: int,
    outline: FloatArray,
    ground: Ground,
    *,
    kind: RosetteKind = RosetteKind.BROAD,
    height: float | None = None,
    plants_per_m2: float | None = None,
    leaf_area_index: float | None = None,
    leaf_length: float | None = None,
    leaf_width: float | None = None,
    triangle_budget: int = DEFAULT_TRIANGLE_BUDGET,
    beyond: Beyond = Beyond.COARSEN,
) -> Planting:
    """Fill an outline with rosette plants.

    outline: (k, 2) float64 [m]; ground: vectorised height of the substrate [m]; height: of the tallest leaves above
    the ground [m]. Density: plants_per_m2 (by default as close as such plants are set), or leaf_area_index, which sets
    the number of plants. leaf_length: of the longest leaves [m], which lie the flatter the longer they are; leaf_width: of
    the widest [m]. With more triangles than triangle_budget, fewer and larger plants of the same leaf area are drawn, and
    the note says so; or, with Beyond.INSTANCES, plants that do not touch the edge become instances of a few. Raises ShapeError.
    """
    outline = checked_outline(outline)
    habit, area = _HABITS[kind], signed_area(outline)
    height = habit.height if height is None else height
    require_size("height", height, 0.01, 2.0)
    require(
        plants_per_m2 is None or leaf_area_index is None, "density: give plants_per_m2 or leaf_area_index, not both"
    )
    if leaf_width is not None:
        habit = replace(habit, width=(math.inf, math.inf), widest=leaf_width)
    rng = generator(seed, f"rosettes {kind.value}")
    probe = _crowns(np.zeros((60, 3)), habit, height, leaf_length, generator(seed, "probe"))
    per_plant = float(leaf_areas(habit.form, grow(habit.form, probe)).sum()) / 60
    if leaf_area_index is not None:
        require(0 < leaf_area_index <= 40, f"leaf_area_index: {leaf_area_index:g} is not believable; give 0.1 to 40")
        count = max(1, round(leaf_area_index * area / per_plant))
    else:
        density = 1 / (habit.spacing * height) ** 2 if plants_per_m2 is None else plants_per_m2
        require(0 < density <= 40_000, f"plants_per_m2: {density:g} is not believable; give 1 to 40000")
        count = max(1, round(density * area))
    target = None if leaf_area_index is None else leaf_area_index * area
    leaves_per_plant = len(probe) / 60
    copying = beyond is Beyond.INSTANCES and count * leaves_per_plant * habit.form.triangles > triangle_budget
    fit = Fit(1.0, "") if copying else fit_to_budget(count * leaves_per_plant, habit.form.triangles, triangle_budget)
    if fit.note and target is None:
        target = count * per_plant
    count = max(1, round(count / fit.leaf_scale**2))
    reach = 0.3 * height if kind is not RosetteKind.RIBBON else 0.03
    spots = scatter(shrunk_as_far_as_possible(outline, min(reach, 0.12)), count, rng)
    roots = np.concatenate([spots, height_at(ground, spots[:, 0], spots[:, 1])[:, None]], axis=1)
    instances: tuple[InstanceGroup, ...] = ()
    instanced = 0
    if copying:
        templates = [_template(kind, habit, height, leaf_length, rng) for _ in range(TEMPLATES)]
        instances, roots = _instances(kind, templates, outline, ground, roots, rng)
        instanced = count - len(roots)
        target = len(roots) * per_plant if target is None else target - sum(c.leaf_area_m2 for c in instances)
        fit = fit_to_budget(len(roots) * leaves_per_plant, habit.form.triangles, triangle_budget)
        roots = roots[: round(len(roots) / fit.leaf_scale**2)]
    leaves = np.zeros((0, len(habit.form.half_widths()), 3))
    if len(roots):
        spread = _crowns(roots, habit, height, leaf_length, rng)
        spread = _fitted(spread, habit, height, outline, target, rng)
        leaves = lay_on_ground(_wavy(grow(habit.form, spread), spread, kind, rng), ground, rng)
    where = " along the edge" if copying else ""
    note = f"{fit.leaf_scale**2:.2f} x fewer leaves{where}, each as much wider, for a budget of {triangle_budget} triangles"
    return assemble(
        habit.form, leaves, outline_area_m2=area, plant_count=instanced + len(roots), instances=instances,
        instanced_leaves=round(instanced * leaves_per_plant), note=fit.note and note,
    )  # fmt: skip


def _instances(
    kind: RosetteKind, templates: list[PlantTemplate], outline: FloatArray, ground: Ground, roots: FloatArray,
    rng: np.random.Generator,
) -> tuple[tuple[InstanceGroup, ...], FloatArray]:  # fmt: skip
    """Instances of templates at the roots (n, 3) where they fit, and the roots where none does. Ribbons grow straight up."""
    up = None if kind is RosetteKind.RIBBON else across_slope(ground, roots)
    instances, left_over = instances_at(
        templates, roots, rng, up=up, sizes=(0.88, 1.0), fits=stands_within(outline, ground)
    )  # fmt: skip
    return instances, roots[left_over]


def _template(
    kind: RosetteKind, habit: _Habit, height: float, leaf_length: float | None, rng: np.random.Generator
) -> PlantTemplate:
    """One plant, its crown at the origin."""
    spread = _crowns(np.zeros((1, 3)), habit, height, leaf_length, rng)
    leaves = _wavy(grow(habit.form, spread), spread, kind, rng)
    return plant_template(habit.form, lay_on_ground(leaves, lambda x, y: np.zeros_like(x), rng))


def _crowns(
    roots: FloatArray, habit: _Habit, height: float, leaf_length: float | None, rng: np.random.Generator
) -> LeafSpread:
    """Leaves around each crown: the inner ones younger, steeper and shorter."""
    plants = len(roots)
    per_plant = rng.integers(habit.leaves[0], habit.leaves[1] + 1, plants)
    plant = np.repeat(np.arange(plants), per_plant)
    order = np.arange(len(plant)) - np.repeat(np.cumsum(per_plant) - per_plant, per_plant)
    age = 1 - (order + 0.5) / per_plant[plant]
    count = len(plant)
    # The golden angle between one leaf and the next is what keeps real rosettes from shading themselves.
    azimuth = rng.uniform(0, 2 * np.pi, plants)[plant] + order * np.deg2rad(137.5) + rng.normal(0, 0.2, count)
    rise = np.deg2rad(habit.rise[1] - (habit.rise[1] - habit.rise[0]) * age + rng.normal(0, 5, count))
    rise = np.minimum(rise, np.deg2rad(90))
    droop = np.deg2rad(rng.uniform(*habit.droop, count)) * (0.4 + 0.6 * age)
    size = rng.uniform(0.75, 1.0, plants)[plant] * np.where(age < 0.25, 0.7, 1.0) * rng.uniform(0.85, 1.0, count)
    # The length that brings a leaf's highest point up to the height it is to have.
    length = np.minimum(height * size / _highest_point(rise, droop), 1.7 * height)
    if leaf_length is not None:
        length = leaf_length * size
        rise, droop = _as_high_as(height * size / length, rise, droop, habit.longer)
    width = np.minimum(length * rng.uniform(*habit.width, count), habit.widest)
    base = roots[plant].copy()
    base[:, :2] += rng.normal(0, 0.02, (count, 2)) * np.minimum(length, 0.15)[:, None]
    return LeafSpread(
        base=base,
        azimuth=azimuth,
        rise=rise,
        droop=droop,
        length=length,
        width=width,
        fold=np.deg2rad(rng.uniform(5, 22, count)),
        roll=rng.normal(0, 0.15, count),
        wave=rng.normal(0, 0.03, count),
    )


def _fitted(
    spread: LeafSpread,
    habit: _Habit,
    height: float,
    outline: FloatArray,
    target: float | None,
    rng: np.random.Generator,
) -> LeafSpread:
    """Inside the outline, no higher than asked, and with the leaf area asked for, which is made up in the leaves'
    width.
    """
    for _ in range(3):
        spread, _ = keep_inside(habit.form, spread, outline, rng, turns=4)
        # A leaf that had to straighten up against the edge would else stand far above the others.
        spread = replace(spread, length=np.minimum(spread.length, height / _highest_point(spread.rise, spread.droop)))
        if target is None:
            break
        grown = float(leaf_areas(habit.form, grow(habit.form, spread)).sum())
        spread = replace(spread, width=spread.width * target / max(grown, 1e-12))
    return keep_inside(habit.form, spread, outline, rng)[0] if target is not None else spread


def _highest_point(rise: FloatArray, droop: FloatArray) -> FloatArray:
    """(n,): height of a leaf's highest point as a share of its length."""
    t = (np.arange(16) + 0.5) / 16
    climb = np.sin(rise[:, None] - droop[:, None] * t) / 16
    return np.maximum(np.cumsum(climb, axis=1).max(axis=1), 0.15)


def _as_high_as(
    share: FloatArray, rise: FloatArray, droop: FloatArray, longer: _Longer
) -> tuple[FloatArray, FloatArray]:
    """Rise and droop (n,) [rad] with which a leaf's highest point is at a share (n,) of its length: lower or steeper than
    those given, found by halving.
    """
    low, high = np.zeros(len(share)), np.ones(len(share))
    for _ in range(20):
        middle = 0.5 * (low + high)
        too_high = _highest_point(*_between_low_and_upright(middle, rise, droop, longer)) > share
        low, high = np.where(too_high, low, middle), np.where(too_high, middle, high)
    return _between_low_and_upright(low, rise, droop, longer)


def _between_low_and_upright(
    t: FloatArray, rise: FloatArray, droop: FloatArray, longer: _Longer
) -> tuple[FloatArray, FloatArray]:
    """Lowest at t = 0 (flat, or bent over to the ground), as given half way, straight up at t = 1."""
    lower, steeper = 1 - np.minimum(2 * t, 1.0), np.maximum(2 * t - 1, 0.0)
    lowest = (0 * rise, 0 * droop) if longer is _Longer.LIE_FLATTER else (rise, np.full(len(rise), np.deg2rad(175)))
    rise = rise + (lowest[0] - rise) * lower + (np.deg2rad(89) - rise) * steeper
    return rise, (droop + (lowest[1] - droop) * lower) * (1 - steeper)


def _wavy(leaves: FloatArray, spread: LeafSpread, kind: RosetteKind, rng: np.random.Generator) -> FloatArray:
    """Broad leaves get the waves along both margins that make them look grown rather than cut out."""
    if kind is not RosetteKind.BROAD:
        return leaves
    form = _HABITS[kind].form
    along, half = form.positions()[1:-1], form.half_widths()[1:-1]
    waves = rng.uniform(2.5, 4.0, (len(leaves), 1, 2))
    phase = rng.uniform(0, 2 * np.pi, (len(leaves), 1, 2))
    height = 0.08 * spread.width[:, None, None] * half[None, :, None]
    # downward only: no leaf rises over the height asked for
    bumps = height * (np.sin(2 * np.pi * waves * along[None, :, None] + phase) - 1)
    wavy = leaves.copy()
    # after the three corners of the foot come rows of right margin, midrib, left margin, then the tip
    rows = wavy[:, 3:-1].reshape(len(leaves), len(along), 3, 3)
    rows[:, :, [0, 2], 2] += bumps
    wavy[:, 3:-1] = rows.reshape(len(leaves), -1, 3)
    return wavy
