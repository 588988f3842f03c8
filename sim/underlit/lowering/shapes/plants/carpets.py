"""Carpets: low plants that cover an outline evenly."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from underlit.lowering.shapes.outline import Ground, inside, scatter, signed_area
from underlit.lowering.shapes.plants.grower import USUAL, Amount, Grower, Own, Placed, Wanted, require_index
from underlit.lowering.shapes.plants.instances import TEMPLATES, PlantTemplate, instances_at, plant_template
from underlit.lowering.shapes.plants.leaves import Blade, LeafForm, LeafSpread, grow, leaf_areas
from underlit.lowering.shapes.plants.planting import Planting, fit_to_budget, require_size
from underlit.lowering.shapes.plants.plot import Plot, lay_on_ground, level
from underlit.lowering.shapes.shape import FloatArray
from underlit.scene.aquascape.growth import Form

PATCH_PITCH = 0.015
"""Distance between patches of which a large carpet is laid [m]."""
PATCH_REACH = 0.85
"""Radius of a patch over that distance: patches overlap."""
FULLEST = 15.0
"""Largest leaf area index of a carpet."""
USUAL_INDEX = 2.0


@dataclass(frozen=True)
class Leaf:
    """A typical leaf [m], and the height of the carpet [m]."""

    length: float
    width: float
    height: float


@dataclass(frozen=True)
class _Habit:
    """Common practice, no source. leaf: usual; together: leaves that spring from one point; per_plant: leaves of a plant;
    spread: n leaves that spring from points (n, 3) [m].
    """

    form: LeafForm
    leaf: Leaf
    together: int
    per_plant: int
    spread: Callable[[FloatArray, Leaf, np.random.Generator], LeafSpread]


def carpet(seed: int, outline: FloatArray, ground: Ground, form: Form, wanted: Wanted = USUAL) -> Planting:
    """Fill an outline with a carpet.

    outline: (k, 2) float64 [m]; ground: vectorised height of the substrate [m]. Blades of grass are as long as the carpet is
    high, and one of them that would be too many makes the others wider. As instances a carpet is laid of patches of a few
    kinds, with single leaves along its edge. Raises ShapeError.
    """
    plot, habit = Plot.of(outline, ground), HABITS[form]
    height = habit.leaf.height if wanted.height is None else wanted.height
    require_size("height", height, 0.003, 0.3)
    leaf = _leaf_of(form, habit.leaf, height, wanted)
    grower = Carpet(f"carpet {form}", seed, wanted, habit.form, plot.area_m2, plot, form, habit, leaf)
    index = USUAL_INDEX if wanted.leaf_area_index is None else wanted.leaf_area_index
    require_index(index, FULLEST)
    target = index * grower.area_m2
    return grower.grown(Amount(target / grower.lone.leaf_area_m2, target))


def _leaf_of(form: Form, usual: Leaf, height: float, wanted: Wanted) -> Leaf:
    """Of one measure alone the other follows in proportion, but for blades of grass."""
    length, width = wanted.leaf_length, wanted.leaf_width
    if form is Form.GRASS:
        return Leaf(0.95 * height, width or usual.width, height)
    if length is not None:
        return Leaf(length, width or usual.width * length / usual.length, height)
    return Leaf(usual.length * max(1.0, (width or 0.0) / usual.length), width or usual.width, height)


@dataclass(frozen=True)
class Carpet(Grower):
    """Leaves are counted, not plants."""

    plot: Plot
    kind: Form
    habit: _Habit
    leaf: Leaf

    SAMPLED = 400

    def sample(self, rng: np.random.Generator) -> LeafSpread:
        """Leaves at the origin."""
        return self.habit.spread(np.zeros((self.SAMPLED, 3)), self.leaf, rng)

    def plants_of(self, plants: int) -> int:
        """Plants of so many leaves."""
        return -(-plants // self.habit.per_plant)

    def own(self, amount: Amount, rng: np.random.Generator) -> Own:
        """Leaves all over the outline until their area is reached."""
        assert amount.leaf_area_m2 is not None
        fit = fit_to_budget(amount.plants, self.form.triangles, self.wanted.triangle_budget)
        leaf, wanted = self._larger(fit.leaf_scale), amount.plants / fit.leaf_scale**2
        parts: list[FloatArray] = []
        total = 0.0
        for _ in range(8):
            missing = max(1.0 - total / amount.leaf_area_m2, 0.05) * wanted
            spread = self._all_over(int(1.1 * missing) + 4, leaf, rng)
            spread = self.plot.kept_inside(self.form, spread, rng, turns=6)
            parts.append(self.plot.laid(grow(self.form, spread), rng))
            total += float(leaf_areas(self.form, parts[-1]).sum())
            if total >= amount.leaf_area_m2:
                break
        leaves = np.concatenate(parts)
        needed = int(np.searchsorted(np.cumsum(leaf_areas(self.form, leaves)), amount.leaf_area_m2)) + 1
        leaves = leaves[: min(needed, self.wanted.triangle_budget // self.form.triangles)]
        return Own(leaves, len(leaves), note=self._note(fit.leaf_scale, fit.note))

    def _larger(self, scale: float) -> Leaf:
        """Leaves of a larger area. A blade cannot be longer than the carpet is high: it widens instead."""
        if self.kind is Form.GRASS:
            return replace(self.leaf, width=self.leaf.width * scale**2)
        return replace(self.leaf, length=self.leaf.length * scale, width=self.leaf.width * scale)

    def _note(self, scale: float, note: str) -> str:
        if self.kind is Form.GRASS and note:
            return note.replace(f"{scale:.2f} x as long", f"{scale**2:.2f} x as wide")
        return note

    def _all_over(self, count: int, leaf: Leaf, rng: np.random.Generator) -> LeafSpread:
        """count leaves on the ground inside the outline, in an order that can be cut off anywhere."""
        together = self.habit.together
        spots = scatter([self.plot.outline], -(-count // together), rng)
        base = self.plot.on_ground(np.repeat(spots, together, axis=0))
        return self.habit.spread(base, leaf, rng).chosen(np.arange(count))

    def placed(self, amount: Amount, rng: np.random.Generator) -> Placed:
        """Overlapping round patches, about evenly spread beyond the outline too.

        Of those that do not fit inside, the leaves that are rooted inside are left over. So the density is the same
        everywhere.
        """
        import shapely

        pitch = PATCH_PITCH if self.kind is Form.GRASS else max(PATCH_PITCH, 1.2 * self.leaf.length)
        reach, per_patch = PATCH_REACH * pitch, max(1, round(amount.plants / self.area_m2 * pitch**2))
        patches = [self._patch(per_patch, reach, rng) for _ in range(TEMPLATES)]
        around = np.asarray(shapely.Polygon(self.plot.outline).buffer(reach).exterior.coords)[:-1]
        points = self.plot.scattered([around], max(1, round(abs(signed_area(around)) / pitch**2)), rng)
        groups, left_over = instances_at(
            patches, points, rng, up=self.plot.normals(points), sizes=(0.93, 1.07), fits=self.plot.holds
        )
        centre = np.repeat(points[left_over, :2], per_patch, axis=0)
        spots = centre + _in_disc(per_patch * int(left_over.sum()), reach, rng)
        spots = spots[inside(self.plot.outline, spots[:, 0], spots[:, 1])]
        return Placed(groups, per_patch * sum(len(group) for group in groups), self.plot.on_ground(spots))

    def _patch(self, count: int, reach: float, rng: np.random.Generator) -> PlantTemplate:
        """A round patch of so many leaves about the origin."""
        together = self.habit.together
        roots = np.repeat(_in_disc(-(-count // together), reach, rng), together, axis=0)[:count]
        spread = self.habit.spread(np.concatenate([roots, np.zeros((count, 1))], axis=1), self.leaf, rng)
        return plant_template(self.form, lay_on_ground(grow(self.form, spread), level, rng))

    def edge(self, roots: FloatArray, leaf_area_m2: float | None, rng: np.random.Generator) -> Own:
        """Single leaves at the roots."""
        if len(roots) == 0 or not leaf_area_m2:
            return Own(self.no_leaves(), 0)
        fit = fit_to_budget(len(roots), self.form.triangles, self.wanted.triangle_budget)
        roots = roots[rng.permutation(len(roots))[: max(1, int(len(roots) / fit.leaf_scale**2))]]
        spread = self.habit.spread(roots, replace(self.leaf, width=self.leaf.width * fit.leaf_scale**2), rng)
        for _ in range(2):
            spread = self.plot.kept_inside(self.form, spread, rng, turns=6)
            size = leaf_area_m2 / max(float(leaf_areas(self.form, grow(self.form, spread)).sum()), 1e-12)
            # blades of grass are as long as the carpet is high: they only widen
            along = 1.0 if self.kind is Form.GRASS else float(np.sqrt(size))
            spread = replace(spread, length=spread.length * along, width=spread.width * (size / along))
        spread = self.plot.kept_inside(self.form, spread, rng, turns=6)
        leaves = self.plot.laid(grow(self.form, spread), rng)
        return Own(leaves, len(leaves), note=fit.note)


def _in_disc(count: int, radius: float, rng: np.random.Generator) -> FloatArray:
    """(count, 2) random points in a disc."""
    away, turn = radius * np.sqrt(rng.uniform(0, 1, count)), rng.uniform(0, 2 * np.pi, count)
    return np.stack([away * np.cos(turn), away * np.sin(turn)], axis=1)


def _grass(base: FloatArray, leaf: Leaf, rng: np.random.Generator) -> LeafSpread:
    """Tufts of hair-thin blades rooted in the ground."""
    count = len(base)
    base = base.copy()
    base[:, :2] += rng.normal(0, 0.0015, (count, 2))
    return LeafSpread(
        base=base,
        azimuth=rng.uniform(0, 2 * np.pi, count),
        rise=np.deg2rad(rng.uniform(62, 90, count)),
        droop=np.deg2rad(rng.uniform(0, 75, count) * rng.uniform(0.3, 1, count)),
        length=leaf.length * rng.uniform(0.65, 1.15, count),
        width=leaf.width * rng.uniform(0.8, 1.2, count),
        fold=np.full(count, 0.0),
        roll=rng.uniform(-0.6, 0.6, count),
        wave=rng.normal(0, 0.04, count),
    )


def _round(base: FloatArray, leaf: Leaf, rng: np.random.Generator) -> LeafSpread:
    """Pairs of opposite small round leaves; the upper layers hold more of them than the shaded lower ones.

    The creeping runners that they stand on are left out: they shade next to nothing.
    """
    count = len(base)
    pair = np.arange(count) // 2
    pairs = pair[-1] + 1
    layer = (rng.uniform(0.02, 1, pairs) ** 0.7)[pair]
    direction = rng.uniform(0, 2 * np.pi, pairs)[pair] + np.pi * (np.arange(count) % 2)
    base = base.copy()
    base[:, 2] += layer * max(leaf.height - 0.35 * leaf.length, 0.3 * leaf.height)
    return LeafSpread(
        base=base,
        azimuth=direction + rng.normal(0, 0.25, count),
        rise=np.deg2rad(rng.normal(18, 16, count)),
        droop=np.deg2rad(rng.uniform(0, 45, count)),
        length=leaf.length * rng.uniform(0.7, 1.2, count),
        width=leaf.width * rng.uniform(0.75, 1.15, count),
        fold=np.deg2rad(rng.uniform(0, 16, count)),
        roll=rng.normal(0, 0.18, count),
        wave=np.zeros(count),
    )


def _clover(base: FloatArray, leaf: Leaf, rng: np.random.Generator) -> LeafSpread:
    """Four leaflets around the top of each stalk, all tilted the same way."""
    count = len(base)
    plant = np.arange(count) // 4
    plants = plant[-1] + 1
    base = base.copy()
    base[:, 2] += (leaf.height * rng.uniform(0.12, 1, plants) ** 0.8)[plant]
    azimuth = rng.uniform(0, 2 * np.pi, plants)[plant] + 0.5 * np.pi * (np.arange(count) % 4)
    lean = (np.deg2rad(rng.uniform(0, 22, plants)))[plant]
    towards = rng.uniform(0, 2 * np.pi, plants)[plant]
    return LeafSpread(
        base=base,
        azimuth=azimuth,
        rise=np.deg2rad(8) + lean * np.cos(azimuth - towards),
        droop=np.deg2rad(rng.uniform(5, 25, count)),
        length=(leaf.length * rng.uniform(0.75, 1.15, plants))[plant],
        width=(leaf.width * rng.uniform(0.85, 1.1, plants))[plant],
        fold=np.deg2rad(rng.uniform(0, 12, count)),
        roll=lean * np.sin(towards - azimuth),
        wave=np.zeros(count),
    )


HABITS = {
    Form.ROUND: _Habit(
        LeafForm(Blade.ROUND, (0.27, 0.74), midrib=False), Leaf(0.0055, 0.0052, 0.03), 2, 6, _round
    ),
    Form.GRASS: _Habit(LeafForm(Blade.NEEDLE, (0.35, 0.7), midrib=False), Leaf(0.045, 0.0011, 0.05), 8, 8, _grass),
    Form.CLOVER: _Habit(LeafForm(Blade.FAN, (0.5, 0.85), midrib=False), Leaf(0.0075, 0.0068, 0.04), 4, 4, _clover),
}  # fmt: skip
