"""Stem plants: bunches of upright stems with leaves all along them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from underlit.lowering.shapes.outline import Ground, inside, shrunk_as_far_as_possible
from underlit.lowering.shapes.plants.grower import USUAL, Amount, Grower, Own, Placed, Wanted
from underlit.lowering.shapes.plants.instances import TEMPLATES, PlantTemplate, instances_at, plant_template
from underlit.lowering.shapes.plants.leaves import Blade, LeafForm, LeafSpread, grow, leaf_areas
from underlit.lowering.shapes.plants.planting import Planting, require, require_size
from underlit.lowering.shapes.plants.plot import Plot, lay_on_ground, level
from underlit.lowering.shapes.plants.stalks import tubes
from underlit.lowering.shapes.shape import FloatArray, Shape
from underlit.scene.aquascape.growth import Form

USUAL_HEIGHT_M = 0.25
USUAL_PER_M2 = 700.0
"""A stem every 4 cm."""
RINGS = 9


@dataclass(frozen=True)
class StemHabit:
    """Common practice, no source. Lengths in metres; per_node: leaves at a node; internode: stem between two nodes."""

    form: LeafForm
    leaf_length: float
    leaf_width: float
    per_node: int
    internode: float
    stem_radius: float


HABITS = {
    # two leaves at each node, each pair turned a quarter against the last
    Form.OPPOSITE: StemHabit(LeafForm(Blade.OVAL, (0.3, 0.65)), 0.028, 0.0125, 2, 0.014, 0.0011),
    # a ring of narrow leaves at each node
    Form.WHORL: StemHabit(LeafForm(Blade.LANCE, (0.4,)), 0.024, 0.0052, 5, 0.011, 0.0010),
    # dense rings of needle-fine leaves
    Form.FINE: StemHabit(LeafForm(Blade.NEEDLE, (0.5,), midrib=False), 0.02, 0.0014, 12, 0.0075, 0.0009),
}


def stems(seed: int, outline: FloatArray, ground: Ground, form: Form, wanted: Wanted = USUAL) -> Planting:
    """Fill an outline with stem plants.

    outline: (k, 2) float64 [m]; ground: vectorised height of the substrate [m]. Where the triangle budget asks for it, fewer
    nodes with larger leaves are drawn; as instances, only stems that touch the edge have leaves of their own. Raises
    ShapeError.
    """
    plot, height = Plot.of(outline, ground), USUAL_HEIGHT_M if wanted.height is None else wanted.height
    require_size("height", height, 0.02, 2.0)
    habit = habit_of(form, wanted)
    grower = Stems(f"stems {form}", seed, wanted, habit.form, plot.area_m2, habit, height, plot)
    return grower.grown(grower.amount(USUAL_PER_M2))


def habit_of(form: Form, wanted: Wanted) -> StemHabit:
    """The habit of a form with leaves of one's own size; of one measure alone the other follows in proportion."""
    habit, length, width = HABITS[form], wanted.leaf_length, wanted.leaf_width
    if length is None and width is None:
        return habit
    length = length or habit.leaf_length * max(1.0, (width or 0.0) / habit.leaf_length)
    return replace(habit, leaf_length=length, leaf_width=width or habit.leaf_width * length / habit.leaf_length)


@dataclass(frozen=True)
class StemGrower(Grower):
    """What rooted and drifting stems share: a stem is so long [m] and has its leaves at nodes."""

    habit: StemHabit
    length: float

    SAMPLED = 40
    DENSEST = (10, 20_000)
    STALK_TRIANGLES = 6 * (RINGS - 1)

    def sample(self, rng: np.random.Generator) -> LeafSpread:
        """Leaves of stems at the origin."""
        axes = axes_of(np.zeros((self.SAMPLED, 3)), np.full(self.SAMPLED, 0.83 * self.length), rng)
        return leaves_along(axes, self.habit, 1.0, rng)


@dataclass(frozen=True)
class Stems(StemGrower):
    """Stems rooted in a plot."""

    plot: Plot

    def own(self, amount: Amount, rng: np.random.Generator) -> Own:
        """Stems all over the plot."""
        return self.edge(self._roots(round(amount.plants), rng), amount.leaf_area_m2, rng)

    def placed(self, amount: Amount, rng: np.random.Generator) -> Placed:
        """Stems of different heights; those that touch the edge are left over."""
        roots = self._roots(round(amount.plants), rng)
        templates = [self._template(share, rng) for share in (np.arange(TEMPLATES) + 0.5) / TEMPLATES]
        groups, left_over = instances_at(templates, roots, rng, sizes=(0.96, 1.04), fits=self.plot.holds)
        return Placed(groups, len(roots) - int(left_over.sum()), roots[left_over])

    def edge(self, roots: FloatArray, leaf_area_m2: float | None, rng: np.random.Generator) -> Own:
        """Stems at the roots, straightened where they would lean out of the plot."""
        axes = self._upright(roots, rng)
        leaves, note = self._leaves(axes, leaf_area_m2, rng)
        return Own(leaves, len(roots), stem_tubes(axes, self.habit), note)

    def _roots(self, count: int, rng: np.random.Generator) -> FloatArray:
        """(n, 3) [m]: where stems are rooted inside the plot, far enough from its edge for some leaf."""
        return self.plot.scattered(
            shrunk_as_far_as_possible(self.plot.outline, 0.5 * self.habit.leaf_length), count, rng
        )

    def _template(self, share: float, rng: np.random.Generator) -> PlantTemplate:
        """One stem with its leaves, its foot at the origin, its height at a share of the range in which stems stand."""
        axes = axes_of(np.zeros((1, 3)), np.array([self.length * (0.7 + 0.25 * share)]), rng)
        leaves = lay_on_ground(grow(self.form, leaves_along(axes, self.habit, 1.0, rng)), level, rng)
        return plant_template(self.form, leaves, stem_tubes(axes, self.habit))

    def _upright(self, roots: FloatArray, rng: np.random.Generator) -> Axes:
        count = len(roots)
        axes = axes_of(roots, self.length * rng.uniform(0.7, 0.95, count), rng)
        out = np.zeros(count, dtype=np.bool_)
        for _ in range(4):
            points = axes.rings()
            out = np.logical_not(inside(self.plot.outline, points[:, :, 0], points[:, :, 1]).all(axis=1))
            axes = axes.straighter(np.where(out, 0.4, 1.0))
        return axes.straighter(~out)

    def _leaves(self, axes: Axes, leaf_area_m2: float | None, rng: np.random.Generator) -> tuple[FloatArray, str]:
        """Leaves (n, v, 3) of rooted stems inside the plot, of a leaf area [m2], and what the budget cost."""
        budget, count = self.wanted.triangle_budget, len(axes.roots)
        nodes = float(nodes_of(axes, self.habit).sum())
        room = budget - count * self.STALK_TRIANGLES
        needed = 1.02 * nodes * self.habit.per_node * self.form.triangles
        require(room > 0.02 * needed, f"triangle_budget: {budget} is too few for {count} stems; give {int(needed)}")
        coarser = max(1.0, needed / room)
        spread = leaves_along(axes, self.habit, coarser, rng)
        for _ in range(2):
            spread = to_leaf_area(self.form, self.plot.kept_inside(self.form, spread, rng), leaf_area_m2)
        spread = self.plot.kept_inside(self.form, spread, rng)
        note = f"{coarser:.2f} x fewer leaves, each as much larger, for a budget of {budget} triangles"
        return self.plot.laid(grow(self.form, spread), rng), note if coarser > 1 else ""


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
        return np.asarray(self.roots[:, None] + np.concatenate([plan, up[:, :, None]], axis=2))

    def rings(self) -> FloatArray:
        """(n, RINGS, 3): middles of the rings of their tubes [m]."""
        return self.at(np.broadcast_to(np.linspace(0, 1, RINGS), (len(self.roots), RINGS)))

    def straighter(self, share: np.ndarray) -> Axes:
        """Lean and bow as a share (n,) of what they were."""
        return replace(self, lean=self.lean * share[:, None], bow=self.bow * share[:, None])


def axes_of(roots: FloatArray, heights: FloatArray, rng: np.random.Generator) -> Axes:
    """Stems from roots (n, 3) to heights (n,) [m], leaning and bowed at random."""
    count = len(roots)
    lean = rng.normal(0, 0.08, (count, 2)) * heights[:, None]
    bow = rng.normal(0, 0.025, (count, 2)) * heights[:, None]
    return Axes(roots, heights, lean, bow)


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
    """Leaves a little larger or smaller, so that whole plants give the leaf area asked for [m2]."""
    if target is None or len(spread) == 0:
        return spread
    return spread.scaled(float(np.sqrt(target / float(leaf_areas(form, grow(form, spread)).sum()))))


def stem_tubes(axes: Axes, habit: StemHabit) -> Shape:
    """The stems themselves, thinner towards the tip."""
    return tubes(axes.rings(), stem_radii(habit, len(axes.roots)))


def stem_radii(habit: StemHabit, count: int) -> FloatArray:
    """(count, RINGS) [m]: radii of the rings."""
    return np.broadcast_to(habit.stem_radius * np.linspace(1.1, 0.5, RINGS), (count, RINGS))
