"""Rosettes: leaves that spring from one crown at the ground."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from underlit.lowering.shapes.outline import Ground, shrunk_as_far_as_possible
from underlit.lowering.shapes.plants.grower import USUAL, Amount, Grower, Own, Placed, Wanted
from underlit.lowering.shapes.plants.instances import TEMPLATES, PlantTemplate, instances_at, plant_template
from underlit.lowering.shapes.plants.leaves import Blade, LeafForm, LeafSpread, grow, leaf_areas
from underlit.lowering.shapes.plants.planting import Planting, fit_to_budget, require_size
from underlit.lowering.shapes.plants.plot import Plot, lay_on_ground, level
from underlit.lowering.shapes.shape import FloatArray
from underlit.scene.aquascape.growth import Form


class _Longer(Enum):
    """What leaves do that are longer than the plant is tall."""

    LIE_FLATTER = "lie flatter"
    BEND_OVER = "bend over"


@dataclass(frozen=True)
class _Habit:
    """Common practice, no source. width is a share of the length, None where all leaves are
    as wide as the widest; angles in degrees from low to high.
    """

    form: LeafForm
    leaves: tuple[int, int]
    width: tuple[float, float] | None
    rise: tuple[float, float]
    droop: tuple[float, float]
    spacing: float
    """Distance between plants as a share of their height."""
    height: float
    widest: float
    """No leaf gets wider than this [m]."""
    longer: _Longer = _Longer.LIE_FLATTER


HABITS = {
    # short lance-shaped leaves spreading close to the ground
    Form.LOW: _Habit(
        LeafForm(Blade.LANCE, (0.2, 0.45, 0.75)), (9, 15), (0.15, 0.22), (28, 82), (20, 75), 0.8, 0.08, 0.03
    ),
    # broad wavy blades on long stalks, arching outward
    Form.BROAD: _Habit(
        LeafForm(Blade.STALKED, (0.37, 0.43, 0.52, 0.62, 0.73, 0.84, 0.93)),
        (8, 14),
        (0.2, 0.3),
        (42, 86),
        (35, 95),
        0.7,
        0.16,
        0.07,
    ),
    # tall ribbons that stand up and bend over at the top
    Form.RIBBON: _Habit(
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


def rosettes(seed: int, outline: FloatArray, ground: Ground, form: Form, wanted: Wanted = USUAL) -> Planting:
    """Fill an outline with rosette plants, by default as close as such plants are set.

    outline: (k, 2) float64 [m]; ground: vectorised height of the substrate [m]; wanted: its leaf_length is that of the
    longest leaves, which lie the flatter the longer they are, its leaf_width that of the widest. Where the triangle budget
    asks for it, fewer plants with wider leaves are drawn; as instances, only plants that touch the edge have leaves of
    their own. Raises ShapeError.
    """
    plot, habit = Plot.of(outline, ground), HABITS[form]
    height = habit.height if wanted.height is None else wanted.height
    require_size("height", height, 0.01, 2.0)
    if wanted.leaf_width is not None:
        habit = replace(habit, width=None, widest=wanted.leaf_width)
    grower = Rosettes(f"rosettes {form}", seed, wanted, habit.form, plot.area_m2, form, habit, height, plot)
    return grower.grown(grower.amount(1 / (habit.spacing * height) ** 2))


@dataclass(frozen=True)
class Rosettes(Grower):
    """Rosettes rooted in a plot, so high [m]."""

    kind: Form
    habit: _Habit
    height: float
    plot: Plot

    SAMPLED = 60
    DENSEST = (1, 40_000)

    def sample(self, rng: np.random.Generator) -> LeafSpread:
        """Plants at the origin."""
        return self._crowns(np.zeros((self.SAMPLED, 3)), rng)

    def own(self, amount: Amount, rng: np.random.Generator) -> Own:
        """Plants all over the plot; with a budget their leaf area is that of all that were asked for."""
        scale, note = self._budget(amount.plants, "")
        target = amount.leaf_area_m2
        if note and target is None:
            target = amount.plants * self.lone.leaf_area_m2
        roots = self._roots(max(1, round(amount.plants / scale**2)), rng)
        return Own(self._leaves(roots, target, rng), len(roots), note=note)

    def placed(self, amount: Amount, rng: np.random.Generator) -> Placed:
        """Plants along the slope of the ground; ribbons grow straight up."""
        roots = self._roots(round(amount.plants), rng)
        templates = [self._template(rng) for _ in range(TEMPLATES)]
        up = None if self.kind is Form.RIBBON else self.plot.normals(roots)
        groups, left_over = instances_at(templates, roots, rng, up=up, sizes=(0.88, 1.0), fits=self.plot.holds)
        return Placed(groups, len(roots) - int(left_over.sum()), roots[left_over])

    def edge(self, roots: FloatArray, leaf_area_m2: float | None, rng: np.random.Generator) -> Own:
        """Plants at the roots."""
        target = len(roots) * self.lone.leaf_area_m2 if leaf_area_m2 is None else leaf_area_m2
        scale, note = self._budget(len(roots), " along the edge")
        roots = roots[: round(len(roots) / scale**2)]
        return Own(self._leaves(roots, target, rng) if len(roots) else self.no_leaves(), len(roots), note=note)

    def _budget(self, plants: float, where: str) -> tuple[float, str]:
        """By what leaves grow in length and width so that the budget is kept, and the note."""
        budget = self.wanted.triangle_budget
        fit = fit_to_budget(plants * self.lone.leaves, self.form.triangles, budget)
        note = f"{fit.leaf_scale**2:.2f} x fewer leaves{where}, each as much wider, for a budget of {budget} triangles"
        return fit.leaf_scale, fit.note and note

    def _roots(self, count: int, rng: np.random.Generator) -> FloatArray:
        """(count, 3) [m]: crowns, so far from the edge that most leaves find room."""
        reach = 0.3 * self.height if self.kind is not Form.RIBBON else 0.03
        return self.plot.scattered(shrunk_as_far_as_possible(self.plot.outline, min(reach, 0.12)), count, rng)

    def _template(self, rng: np.random.Generator) -> PlantTemplate:
        """One plant, its crown at the origin."""
        leaves = self._grown(self._crowns(np.zeros((1, 3)), rng), rng)
        return plant_template(self.form, lay_on_ground(leaves, level, rng))

    def _leaves(self, roots: FloatArray, leaf_area_m2: float | None, rng: np.random.Generator) -> FloatArray:
        spread = self._fitted(self._crowns(roots, rng), leaf_area_m2, rng)
        return self.plot.laid(self._grown(spread, rng), rng)

    def _grown(self, spread: LeafSpread, rng: np.random.Generator) -> FloatArray:
        """Leaves (n, v, 3); broad ones with wavy margins."""
        leaves = grow(self.form, spread)
        return _wavy(self.form, leaves, spread, rng) if self.kind is Form.BROAD else leaves

    def _crowns(self, roots: FloatArray, rng: np.random.Generator) -> LeafSpread:
        """Leaves around each crown: the inner ones younger, steeper and shorter."""
        habit, height = self.habit, self.height
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
        if self.wanted.leaf_length is not None:
            length = self.wanted.leaf_length * size
            rise, droop = _as_high_as(height * size / length, rise, droop, habit.longer)
        width = np.full(count, habit.widest)
        if habit.width is not None:
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

    def _fitted(self, spread: LeafSpread, leaf_area_m2: float | None, rng: np.random.Generator) -> LeafSpread:
        """Inside the plot, no higher than asked, and with the leaf area asked for, which is made up in the leaves' width."""
        for _ in range(3):
            spread = self.plot.kept_inside(self.form, spread, rng, turns=4)
            # A leaf that had to straighten up against the edge would else stand far above the others.
            highest = self.height / _highest_point(spread.rise, spread.droop)
            spread = replace(spread, length=np.minimum(spread.length, highest))
            if leaf_area_m2 is None:
                return spread
            grown = float(leaf_areas(self.form, grow(self.form, spread)).sum())
            spread = replace(spread, width=spread.width * leaf_area_m2 / max(grown, 1e-12))
        return self.plot.kept_inside(self.form, spread, rng)


def _highest_point(rise: FloatArray, droop: FloatArray) -> FloatArray:
    """(n,): height of a leaf's highest point as a share of its length."""
    t = (np.arange(16) + 0.5) / 16
    climb = np.sin(rise[:, None] - droop[:, None] * t) / 16
    return np.asarray(np.maximum(np.cumsum(climb, axis=1).max(axis=1), 0.15))


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


def _wavy(form: LeafForm, leaves: FloatArray, spread: LeafSpread, rng: np.random.Generator) -> FloatArray:
    """Leaves with the waves along both margins that make them look grown rather than cut out."""
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
    wavy[:, 3:-1] = rows.reshape(len(leaves), 3 * len(along), 3)
    return wavy
