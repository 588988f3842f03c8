"""Stem plants: bunches of upright stems with leaves all along them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from underlit.lowering.shapes.outline import (
    Ground,
    checked_outline,
    inside,
    scatter,
    shrunk_as_far_as_possible,
    signed_area,
)
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
    Planting,
    assemble,
    height_at,
    keep_inside,
    lay_on_ground,
    require,
    require_size,
    stands_within,
    take,
)
from underlit.lowering.shapes.plants.stalks import tubes
from underlit.lowering.shapes.randomness import generator
from underlit.lowering.shapes.shape import FloatArray, Shape


class StemKind(Enum):
    """How leaves stand along the stem."""

    OPPOSITE = "opposite"
    """Two leaves at each node, each pair turned a quarter against the last."""
    WHORL = "whorl"
    """A ring of narrow leaves at each node."""
    FINE = "fine"
    """Dense rings of needle-fine leaves."""


@dataclass(frozen=True)
class StemHabit:
    """Common practice, no source. Lengths in metres; per_node: leaves at a node; internode: stem between two nodes."""

    form: LeafForm
    leaf_length: float
    leaf_width: float
    per_node: int
    internode: float
    stem_radius: float


_HABITS = {
    StemKind.OPPOSITE: StemHabit(LeafForm(Blade.OVAL, (0.3, 0.65)), 0.028, 0.0125, 2, 0.014, 0.0011),
    StemKind.WHORL: StemHabit(LeafForm(Blade.LANCE, (0.4,)), 0.024, 0.0052, 5, 0.011, 0.0010),
    StemKind.FINE: StemHabit(LeafForm(Blade.NEEDLE, (0.5,), midrib=False), 0.02, 0.0014, 12, 0.0075, 0.0009),
}
RINGS = 9


def stems(
    seed: int,
    outline: FloatArray,
    ground: Ground,
    *,
    kind: StemKind = StemKind.OPPOSITE,
    height: float = 0.25,
    stems_per_m2: float | None = None,
    leaf_area_index: float | None = None,
    leaf_length: float | None = None,
    leaf_width: float | None = None,
    triangle_budget: int = DEFAULT_TRIANGLE_BUDGET,
    beyond: Beyond = Beyond.COARSEN,
) -> Planting:
    """Fill an outline with stem plants.

    outline: (k, 2) float64 [m]; ground: vectorised height of the substrate [m]; height: to which they have grown above
    the ground [m]. Density: stems_per_m2 (by default 700, a stem every 4 cm), or leaf_area_index, which sets the
    number of stems. leaf_length, leaf_width: of grown leaves [m], by default those of the kind. With more triangles than
    triangle_budget, fewer nodes with larger leaves of the same total area are drawn, and the note says so; or, with
    Beyond.INSTANCES, stems that do not touch the edge become instances of a few. Raises ShapeError.
    """
    outline = checked_outline(outline)
    require_size("height", height, 0.02, 2.0)
    require(stems_per_m2 is None or leaf_area_index is None, "density: give stems_per_m2 or leaf_area_index, not both")
    rng, habit, area = (
        generator(seed, f"stems {kind.value}"),
        habit_of(kind, leaf_length, leaf_width),
        signed_area(outline),
    )
    probe = generator(seed, "probe")
    lone = leaves_along(axes_of(np.zeros((40, 3)), np.full(40, 0.83 * height), probe), habit, 1.0, probe)
    if leaf_area_index is not None:
        require(0 < leaf_area_index <= 40, f"leaf_area_index: {leaf_area_index:g} is not believable; give 0.1 to 40")
        per_stem = float(leaf_areas(habit.form, grow(habit.form, lone)).sum()) / 40
        count = max(1, round(leaf_area_index * area / per_stem))
    else:
        density = 700.0 if stems_per_m2 is None else stems_per_m2
        require(0 < density <= 20_000, f"stems_per_m2: {density:g} is not believable; give 10 to 20000")
        count = max(1, round(density * area))
    triangles = len(lone) / 40 * habit.form.triangles + 6 * (RINGS - 1)
    target = None if leaf_area_index is None else leaf_area_index * area
    instances: tuple[InstanceGroup, ...] = ()
    roots = _roots(outline, ground, count, habit, rng)
    if beyond is Beyond.INSTANCES and count * triangles > triangle_budget:
        templates = [_template(habit, height, share, rng) for share in (np.arange(TEMPLATES) + 0.5) / TEMPLATES]
        fits = stands_within(outline, ground)
        instances, left_over = instances_at(templates, roots, rng, sizes=(0.96, 1.04), fits=fits)
        roots = roots[left_over]
        target = None if target is None else max(target - sum(c.leaf_area_m2 for c in instances), 0.0)
    instanced = count - len(roots)
    axes = _upright(outline, roots, height, rng)
    leaves, note = _leaves(axes, habit, outline, ground, target, triangle_budget, rng)
    return assemble(
        habit.form, leaves, outline_area_m2=area, plant_count=count, stalks=_stem_tubes(axes, habit), instances=instances,
        instanced_leaves=round(instanced * len(lone) / 40), note=note,
    )  # fmt: skip


def habit_of(kind: StemKind, leaf_length: float | None, leaf_width: float | None) -> StemHabit:
    """The habit of a kind with leaves of one's own size; of one measure alone the other follows in proportion."""
    habit = _HABITS[kind]
    if leaf_length is None and leaf_width is None:
        return habit
    length = leaf_length or habit.leaf_length * max(1.0, (leaf_width or 0.0) / habit.leaf_length)
    width = leaf_width or habit.leaf_width * length / habit.leaf_length
    return replace(habit, leaf_length=length, leaf_width=width)


def _template(habit: StemHabit, height: float, share: float, rng: np.random.Generator) -> PlantTemplate:
    """One stem with its leaves, its foot at the origin, its height at a share of the range in which stems stand."""
    axes = axes_of(np.zeros((1, 3)), np.array([height * (0.7 + 0.25 * share)]), rng)
    leaves = lay_on_ground(grow(habit.form, leaves_along(axes, habit, 1.0, rng)), lambda x, y: np.zeros_like(x), rng)
    return plant_template(habit.form, leaves, _stem_tubes(axes, habit))


def _leaves(
    axes: Axes, habit: StemHabit, outline: FloatArray, ground: Ground, target: float | None, budget: int,
    rng: np.random.Generator,
) -> tuple[FloatArray, str]:  # fmt: skip
    """Leaves (n, v, 3) of rooted stems inside the outline, of the leaf area asked for [m2], and what the budget cost."""
    count = len(axes.roots)
    nodes = float(nodes_of(axes, habit).sum())
    room = budget - count * 6 * (RINGS - 1)
    needed = 1.02 * nodes * habit.per_node * habit.form.triangles
    require(room > 0.02 * needed, f"triangle_budget: {budget} is too few for {count} stems; give {int(needed)}")
    coarser = max(1.0, needed / room)
    spread = leaves_along(axes, habit, coarser, rng)
    for _ in range(2):
        spread, _ = keep_inside(habit.form, spread, outline, rng)
        spread = to_leaf_area(habit.form, spread, target)
    spread, _ = keep_inside(habit.form, spread, outline, rng)
    note = (
        f"{coarser:.2f} x fewer leaves, each as much larger, for a budget of {budget} triangles" if coarser > 1 else ""
    )
    return lay_on_ground(grow(habit.form, spread), ground, rng), note


@dataclass(frozen=True)
class Axes:
    """Stems as curves: roots (n, 3), heights (n,), lean (n, 2) of their tops, bow (n, 2) halfway [m]."""

    roots: FloatArray
    heights: FloatArray
    lean: FloatArray
    bow: FloatArray

    def at(self, share: FloatArray) -> FloatArray:
        """(n, p, 3): points at shares (n, p) of the height."""
        plan = self.lean[:, None] * share[:, :, None] ** 1.6 + self.bow[:, None] * np.sin(np.pi * share)[:, :, None]
        up = self.heights[:, None] * share
        return self.roots[:, None] + np.concatenate([plan, up[:, :, None]], axis=2)


def axes_of(roots: FloatArray, heights: FloatArray, rng: np.random.Generator) -> Axes:
    """Stems from roots (n, 3) to heights (n,) [m], leaning and bowed at random."""
    count = len(roots)
    lean = rng.normal(0, 0.08, (count, 2)) * heights[:, None]
    bow = rng.normal(0, 0.025, (count, 2)) * heights[:, None]
    return Axes(roots, heights, lean, bow)


def _roots(outline: FloatArray, ground: Ground, count: int, habit: StemHabit, rng: np.random.Generator) -> FloatArray:
    """(n, 3) [m]: where stems are rooted inside the outline, far enough from its edge for some leaf."""
    spots = scatter(shrunk_as_far_as_possible(outline, 0.5 * habit.leaf_length), count, rng)
    return np.concatenate([spots, height_at(ground, spots[:, 0], spots[:, 1])[:, None]], axis=1)


def _upright(outline: FloatArray, roots: FloatArray, height: float, rng: np.random.Generator) -> Axes:
    """Stems from roots (n, 3), straightened where they would lean out of the outline."""
    count = len(roots)
    axes = axes_of(roots, height * rng.uniform(0.7, 0.95, count), rng)
    shares = np.broadcast_to(np.linspace(0, 1, RINGS), (count, RINGS))
    out = np.zeros(count, dtype=bool)
    for _ in range(4):
        points = axes.at(shares)
        out = ~np.logical_and.reduce(inside(outline, points[:, :, 0], points[:, :, 1]), axis=1)
        straighter = np.where(out, 0.4, 1.0)[:, None]
        axes = Axes(axes.roots, axes.heights, axes.lean * straighter, axes.bow * straighter)
    upright = ~out[:, None]
    return Axes(axes.roots, axes.heights, axes.lean * upright, axes.bow * upright)


def nodes_of(axes: Axes, habit: StemHabit, coarser: float = 1.0) -> np.ndarray:
    """(n,): nodes on each stem, so many times farther apart."""
    return np.maximum(np.floor(axes.heights / (habit.internode * coarser)), 2).astype(int)


def leaves_along(axes: Axes, habit: StemHabit, coarser: float, rng: np.random.Generator) -> LeafSpread:
    """Leaves at every node of every stem: small and erect at the tip, wide and level below."""
    stems_count = len(axes.roots)
    per_stem = nodes_of(axes, habit, coarser)
    stem = np.repeat(np.arange(stems_count), per_stem)
    node = np.arange(len(stem)) - np.repeat(np.cumsum(per_stem) - per_stem, per_stem)
    share = np.clip((node + 0.6 + rng.uniform(-0.15, 0.15, len(node))) / per_stem[stem], 0.03, 0.995)
    place = _at_each(axes, stem, share)
    turn = rng.uniform(0, 2 * np.pi, stems_count)[stem] + node * np.pi / habit.per_node
    k = habit.per_node
    leaf_node = np.repeat(np.arange(len(node)), k)
    count = len(leaf_node)
    azimuth = turn[leaf_node] + 2 * np.pi * (np.arange(count) % k) / k + rng.normal(0, 0.18, count)
    top = share[leaf_node]
    size = np.interp(top, [0, 0.12, 0.35, 0.8, 1.0], [0.6, 0.85, 1.0, 0.95, 0.5]) * rng.uniform(0.85, 1.1, count)
    young = np.clip((top - 0.72) / 0.28, 0, 1)
    rise = np.deg2rad(18 + 50 * young + rng.normal(0, 9, count))
    grown = np.sqrt(coarser)
    return LeafSpread(
        base=place[leaf_node],
        azimuth=azimuth,
        rise=rise,
        droop=np.deg2rad(rng.uniform(15, 55, count) * (1 - 0.7 * young)),
        length=habit.leaf_length * size * grown,
        width=habit.leaf_width * size * grown * rng.uniform(0.85, 1.1, count),
        fold=np.deg2rad(rng.uniform(4, 18, count)),
        roll=rng.normal(0, 0.15, count),
        wave=np.zeros(count),
    )


def _at_each(axes: Axes, stem: np.ndarray, share: FloatArray) -> FloatArray:
    """(m, 3): one point on each listed stem."""
    chosen = Axes(axes.roots[stem], axes.heights[stem], axes.lean[stem], axes.bow[stem])
    return chosen.at(share[:, None])[:, 0]


def to_leaf_area(form: LeafForm, spread: LeafSpread, target: float | None) -> LeafSpread:
    """Leaves a little larger or smaller, so that whole stems give the leaf area asked for [m2]."""
    if target is None or len(spread) == 0:
        return spread
    size = np.sqrt(target / float(leaf_areas(form, grow(form, spread)).sum()))
    whole = take(spread, np.arange(len(spread)))
    whole.length[:] *= size
    whole.width[:] *= size
    return whole


def _stem_tubes(axes: Axes, habit: StemHabit) -> Shape:
    shares = np.broadcast_to(np.linspace(0, 1, RINGS), (len(axes.roots), RINGS))
    radii = habit.stem_radius * np.linspace(1.1, 0.5, RINGS)
    return tubes(axes.at(shares), np.broadcast_to(radii, shares.shape))
