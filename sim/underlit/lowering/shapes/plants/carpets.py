"""Carpets: low plants that cover an outline evenly."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from underlit.lowering.shapes.outline import Ground, checked_outline, inside, scatter, signed_area
from underlit.lowering.shapes.plants.instances import TEMPLATES, Beyond, PlantTemplate, instances_at, plant_template
from underlit.lowering.shapes.plants.leaves import Blade, LeafForm, LeafSpread, grow, leaf_areas
from underlit.lowering.shapes.plants.planting import (
    DEFAULT_TRIANGLE_BUDGET,
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
    take,
)
from underlit.lowering.shapes.randomness import generator
from underlit.lowering.shapes.shape import FloatArray


class CarpetKind(Enum):
    """What a carpet is made of."""

    ROUND = "round"
    """Small round leaves on creeping runners (the runners themselves are left out: they shade next to nothing)."""
    GRASS = "grass"
    """Tufts of hair-thin blades rooted in the ground."""
    CLOVER = "clover"
    """Four leaflets at the top of each stalk, like a clover."""


# Leaf length and width [m] of a typical grown leaf: common practice, no source.
_LEAF_SIZE = {
    CarpetKind.ROUND: (0.0055, 0.0052),
    CarpetKind.GRASS: (0.045, 0.0011),
    CarpetKind.CLOVER: (0.0075, 0.0068),
}
_FORM = {
    CarpetKind.ROUND: LeafForm(Blade.ROUND, (0.27, 0.74), midrib=False),
    CarpetKind.GRASS: LeafForm(Blade.NEEDLE, (0.35, 0.7), midrib=False),
    CarpetKind.CLOVER: LeafForm(Blade.FAN, (0.5, 0.85), midrib=False),
}
_TOGETHER = {CarpetKind.ROUND: 2, CarpetKind.GRASS: 8, CarpetKind.CLOVER: 4}
"""Leaves that spring from one point."""
PATCH_PITCH = 0.015
"""Distance between patches of which a large carpet is laid [m]."""
PATCH_REACH = 0.85
"""Radius of a patch over that distance: patches overlap."""
_DEFAULT_HEIGHT = {CarpetKind.ROUND: 0.03, CarpetKind.GRASS: 0.05, CarpetKind.CLOVER: 0.04}


def carpet(
    seed: int,
    outline: FloatArray,
    ground: Ground,
    *,
    kind: CarpetKind = CarpetKind.ROUND,
    leaf_area_index: float = 2.0,
    height: float | None = None,
    leaf_length: float | None = None,
    leaf_width: float | None = None,
    triangle_budget: int = DEFAULT_TRIANGLE_BUDGET,
    beyond: Beyond = Beyond.COARSEN,
) -> Planting:
    """Fill an outline with a carpet.

    outline: (k, 2) float64 [m]; ground: vectorised height of the substrate [m]; leaf_area_index: leaf area, one side,
    over the outline's area; height: of the carpet above the ground [m]; leaf_length, leaf_width: of a typical leaf [m]
    (blades of grass are as long as the carpet is high); triangle_budget: with more leaves than it allows, fewer and larger
    ones of the same total area are drawn, and the note says so; or, with Beyond.INSTANCES, the carpet is laid of instances of a
    few patches, with single leaves along its edge. Raises ShapeError.
    """
    outline = checked_outline(outline)
    height = _DEFAULT_HEIGHT[kind] if height is None else height
    require_size("height", height, 0.003, 0.3)
    require(0 < leaf_area_index <= 15, f"leaf_area_index: {leaf_area_index:g} is not believable; give 0.1 to 15")
    rng = generator(seed, f"carpet {kind.value}")
    form, area = _FORM[kind], signed_area(outline)
    length, width = _leaf_size(kind, height, leaf_length, leaf_width)
    target = leaf_area_index * area
    probe = _spread(kind, np.zeros((400, 3)), length, width, height, generator(seed, "probe"))
    wanted = target / float(leaf_areas(form, grow(form, probe)).mean())
    if beyond is Beyond.INSTANCES and wanted * form.triangles > triangle_budget:
        leaf = _Leaf(kind, length, width, height)
        return patched_carpet(leaf, outline, ground, wanted, target, triangle_budget, rng)
    fit = fit_to_budget(wanted, form.triangles, triangle_budget)
    if kind is CarpetKind.GRASS:
        # A blade cannot be longer than the carpet is high: it widens instead.
        width *= fit.leaf_scale**2
    else:
        length, width = length * fit.leaf_scale, width * fit.leaf_scale
    wanted /= fit.leaf_scale**2
    parts: list[FloatArray] = []
    total = 0.0
    for _ in range(8):
        missing = max(1.0 - total / target, 0.05) * wanted
        spread = _placed(kind, outline, ground, int(1.1 * missing) + 4, length, width, height, rng)
        spread, _ = keep_inside(form, spread, outline, rng, turns=6)
        parts.append(lay_on_ground(grow(form, spread), ground, rng))
        total += float(leaf_areas(form, parts[-1]).sum())
        if total >= target:
            break
    leaves = np.concatenate(parts)
    needed = int(np.searchsorted(np.cumsum(leaf_areas(form, leaves)), target)) + 1
    needed = min(needed, triangle_budget // form.triangles)
    return assemble(
        form,
        leaves[:needed],
        outline_area_m2=area,
        plant_count=_plants(kind, min(needed, len(leaves))),
        note=_note(kind, fit.leaf_scale, fit.note),
    )


def _leaf_size(
    kind: CarpetKind, height: float, leaf_length: float | None, leaf_width: float | None
) -> tuple[float, float]:
    """Length and width of a leaf [m]; of one measure alone the other follows in proportion, but for blades of grass."""
    length, width = _LEAF_SIZE[kind]
    if kind is CarpetKind.GRASS:
        return 0.95 * height, leaf_width or width
    if leaf_length is not None:
        return leaf_length, leaf_width or width * leaf_length / length
    return length * max(1.0, (leaf_width or 0.0) / length), leaf_width or width


@dataclass(frozen=True)
class _Leaf:
    """What a carpet's leaves are like: kind, length, width and height of the carpet [m]."""

    kind: CarpetKind
    length: float
    width: float
    height: float


def patched_carpet(
    leaf: _Leaf,
    outline: FloatArray,
    ground: Ground,
    wanted: float,
    target: float,
    budget: int,
    rng: np.random.Generator,
) -> Planting:
    """A carpet of about `wanted` leaves and a leaf area of `target` [m2], laid of instances of a few round patches.

    Patches overlap and are set about evenly beyond the outline; of those that do not fit inside, the leaves that are rooted
    inside grow singly. So the density is the same everywhere.
    """
    import shapely

    form, area = _FORM[leaf.kind], signed_area(outline)
    pitch = PATCH_PITCH if leaf.kind is CarpetKind.GRASS else max(PATCH_PITCH, 1.2 * leaf.length)
    per_patch = max(1, round(wanted / area * pitch**2))
    templates = [_patch(leaf, per_patch, PATCH_REACH * pitch, rng) for _ in range(TEMPLATES)]
    around = np.asarray(shapely.Polygon(outline).buffer(PATCH_REACH * pitch).exterior.coords)[:-1]
    spots = scatter([around], max(1, round(abs(signed_area(around)) / pitch**2)), rng)
    points = np.concatenate([spots, height_at(ground, spots[:, 0], spots[:, 1])[:, None]], axis=1)
    fits = stands_within(outline, ground)
    instances, left_over = instances_at(
        templates, points, rng, up=across_slope(ground, points), sizes=(0.93, 1.07), fits=fits
    )
    missing = target - sum(c.leaf_area_m2 for c in instances)
    centre = np.repeat(points[left_over, :2], per_patch, axis=0) + _in_disc(
        per_patch * int(left_over.sum()), PATCH_REACH * pitch, rng
    )
    centre = centre[inside(outline, centre[:, 0], centre[:, 1])]
    base = np.concatenate([centre, height_at(ground, centre[:, 0], centre[:, 1])[:, None]], axis=1)
    leaves, note = _edge_leaves(leaf, base, outline, ground, missing, budget, rng)
    count = len(leaves) + per_patch * sum(len(c) for c in instances)
    return assemble(
        form, leaves, outline_area_m2=area, plant_count=_plants(leaf.kind, count), instances=instances,
        instanced_leaves=count - len(leaves), note=note,
    )  # fmt: skip


def _patch(leaf: _Leaf, count: int, reach: float, rng: np.random.Generator) -> PlantTemplate:
    """A round patch of so many leaves about the origin."""
    together = _TOGETHER[leaf.kind]
    roots = np.repeat(_in_disc(-(-count // together), reach, rng), together, axis=0)[:count]
    spread = _spread(
        leaf.kind, np.concatenate([roots, np.zeros((count, 1))], axis=1), leaf.length, leaf.width, leaf.height, rng
    )
    form = _FORM[leaf.kind]
    return plant_template(form, lay_on_ground(grow(form, spread), lambda x, y: np.zeros_like(x), rng))


def _in_disc(count: int, radius: float, rng: np.random.Generator) -> FloatArray:
    """(count, 2) random points in a disc."""
    away, turn = radius * np.sqrt(rng.uniform(0, 1, count)), rng.uniform(0, 2 * np.pi, count)
    return np.stack([away * np.cos(turn), away * np.sin(turn)], axis=1)


def _edge_leaves(
    leaf: _Leaf, base: FloatArray, outline: FloatArray, ground: Ground, target: float, budget: int,
    rng: np.random.Generator,
) -> tuple[FloatArray, str]:  # fmt: skip
    """Single leaves (n, v, 3) rooted at base (n, 3), together of the leaf area asked for [m2], and what the budget cost."""
    form = _FORM[leaf.kind]
    if len(base) == 0 or target <= 0:
        return np.zeros((0, len(form.half_widths()), 3)), ""
    fit = fit_to_budget(len(base), form.triangles, budget)
    base = base[rng.permutation(len(base))[: max(1, int(len(base) / fit.leaf_scale**2))]]
    spread = _spread(leaf.kind, base, leaf.length, leaf.width * fit.leaf_scale**2, leaf.height, rng)
    for _ in range(2):
        spread, _ = keep_inside(form, spread, outline, rng, turns=6)
        size = target / float(leaf_areas(form, grow(form, spread)).sum())
        # blades of grass are as long as the carpet is high: they only widen
        along = 1.0 if leaf.kind is CarpetKind.GRASS else float(np.sqrt(size))
        spread = replace(spread, length=spread.length * along, width=spread.width * (size / along))
    spread, _ = keep_inside(form, spread, outline, rng, turns=6)
    return lay_on_ground(grow(form, spread), ground, rng), fit.note


def _note(kind: CarpetKind, scale: float, note: str) -> str:
    if kind is CarpetKind.GRASS and note:
        return note.replace(f"{scale:.2f} x as long", f"{scale**2:.2f} x as wide")
    return note


def _plants(kind: CarpetKind, leaves: int) -> int:
    per_plant = 6 if kind is CarpetKind.ROUND else _TOGETHER[kind]
    return -(-leaves // per_plant)


def _placed(
    kind: CarpetKind,
    outline: FloatArray,
    ground: Ground,
    count: int,
    length: float,
    width: float,
    height: float,
    rng: np.random.Generator,
) -> LeafSpread:
    """count leaves on the ground inside the outline, in an order that can be cut off anywhere."""
    group = _TOGETHER[kind]
    spots = scatter([outline], -(-count // group), rng)
    x, y = np.repeat(spots, group, axis=0).T
    z = height_at(ground, x, y)
    spread = _spread(kind, np.stack([x, y, z], axis=1), length, width, height, rng)
    return take(spread, np.arange(count))


def _spread(
    kind: CarpetKind, base: FloatArray, length: float, width: float, height: float, rng: np.random.Generator
) -> LeafSpread:
    count = len(base)
    if kind is CarpetKind.ROUND:
        return _round(base, length, width, height, rng)
    if kind is CarpetKind.CLOVER:
        return _clover(base, length, width, height, rng)
    base = base.copy()
    base[:, :2] += rng.normal(0, 0.0015, (count, 2))
    return LeafSpread(
        base=base,
        azimuth=rng.uniform(0, 2 * np.pi, count),
        rise=np.deg2rad(rng.uniform(62, 90, count)),
        droop=np.deg2rad(rng.uniform(0, 75, count) * rng.uniform(0.3, 1, count)),
        length=length * rng.uniform(0.65, 1.15, count),
        width=width * rng.uniform(0.8, 1.2, count),
        fold=np.full(count, 0.0),
        roll=rng.uniform(-0.6, 0.6, count),
        wave=rng.normal(0, 0.04, count),
    )


def _round(base: FloatArray, length: float, width: float, height: float, rng: np.random.Generator) -> LeafSpread:
    """Pairs of opposite leaves; the upper layers hold more of them than the shaded lower ones."""
    count = len(base)
    pair = np.arange(count) // 2
    pairs = pair[-1] + 1
    level = (rng.uniform(0.02, 1, pairs) ** 0.7)[pair]
    direction = rng.uniform(0, 2 * np.pi, pairs)[pair] + np.pi * (np.arange(count) % 2)
    base = base.copy()
    base[:, 2] += level * max(height - 0.35 * length, 0.3 * height)
    return LeafSpread(
        base=base,
        azimuth=direction + rng.normal(0, 0.25, count),
        rise=np.deg2rad(rng.normal(18, 16, count)),
        droop=np.deg2rad(rng.uniform(0, 45, count)),
        length=length * rng.uniform(0.7, 1.2, count),
        width=width * rng.uniform(0.75, 1.15, count),
        fold=np.deg2rad(rng.uniform(0, 16, count)),
        roll=rng.normal(0, 0.18, count),
        wave=np.zeros(count),
    )


def _clover(base: FloatArray, length: float, width: float, height: float, rng: np.random.Generator) -> LeafSpread:
    """Four leaflets around the top of each stalk, all tilted alike."""
    count = len(base)
    plant = np.arange(count) // 4
    plants = plant[-1] + 1
    base = base.copy()
    base[:, 2] += (height * rng.uniform(0.12, 1, plants) ** 0.8)[plant]
    azimuth = rng.uniform(0, 2 * np.pi, plants)[plant] + 0.5 * np.pi * (np.arange(count) % 4)
    lean = (np.deg2rad(rng.uniform(0, 22, plants)))[plant]
    towards = rng.uniform(0, 2 * np.pi, plants)[plant]
    return LeafSpread(
        base=base,
        azimuth=azimuth,
        rise=np.deg2rad(8) + lean * np.cos(azimuth - towards),
        droop=np.deg2rad(rng.uniform(5, 25, count)),
        length=(length * rng.uniform(0.75, 1.15, plants))[plant],
        width=(width * rng.uniform(0.85, 1.1, plants))[plant],
        fold=np.deg2rad(rng.uniform(0, 12, count)),
        roll=lean * np.sin(towards - azimuth),
        wave=np.zeros(count),
    )
