"""Floating plants: leaf pads at the water surface that hide a stated share of it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from underlit.lowering.shapes.outline import checked_outline, scatter, shrunk_as_far_as_possible, signed_area
from underlit.lowering.shapes.plants.grower import USUAL, Wanted
from underlit.lowering.shapes.plants.planting import Planting, require, require_size
from underlit.lowering.shapes.randomness import generator
from underlit.lowering.shapes.shape import FloatArray, IntArray, Shape, face_areas, without_degenerate_faces
from underlit.scene.aquascape.growth import Form

_SIDES = 7
_CELLS_ACROSS_PAD = 9
_BLOCK = 1000


@dataclass(frozen=True)
class _Habit:
    """Common practice, no source: pad radius [m], pads to a plant, distance of a pad from its plant's middle in
    radii.
    """

    radius: float
    together: int
    apart: float
    dish: float


HABITS = {
    # fronds of a few millimetres, two to four together
    Form.DUCKWEED: _Habit(0.0021, 3, 0.95, 0.1),
    # rosettes of round pads of two to three centimetres
    Form.PADS: _Habit(0.0125, 6, 1.75, 0.12),
}


def floating(
    seed: int, outline: FloatArray, form: Form, coverage: float, wanted: Wanted = USUAL
) -> Planting:  # fmt: skip
    """Cover a share of an outline on the water with floating leaves.

    outline: (k, 2) float64 [m]; coverage: share of its area hidden seen from straight above, above 0 up to 0.97; wanted: of it
    count leaf_length, the diameter of a typical pad or frond, and triangle_budget. z = 0 is the water surface: pads lie .2 to
    4 mm below it, each at a depth of its own. With more pads than the budget allows, larger and fewer ones are drawn, and
    the note says so. The Planting's coverage is the measured one. Raises ShapeError.
    """
    outline, triangle_budget = checked_outline(outline), wanted.triangle_budget
    require(0 < coverage <= 0.97, f"coverage: {coverage:g} is out of range; give a share above 0 up to 0.97")
    rng, habit, area = generator(seed, f"floating {form}"), HABITS[form], signed_area(outline)
    if wanted.leaf_length is not None:
        require_size("leaf_length", wanted.leaf_length, 1e-3, 0.5)
        habit = replace(habit, radius=0.5 * wanted.leaf_length)
    smallest_side = np.sqrt(area)
    radius = min(habit.radius, 0.2 * smallest_side)
    # Pads pushed aside overlap little: about this many layers lie where coverage is hidden.
    layers = coverage * (1 + 0.9 * coverage**3)
    expected = 1.1 * layers * area / (0.85 * np.pi * radius**2)
    note = ""
    if expected * _SIDES > triangle_budget:
        grown = np.sqrt(expected * _SIDES / triangle_budget)
        radius *= grown
        note = (
            f"pads drawn {grown:.2f} x as wide, and {grown**2:.2f} x fewer, for a budget of {triangle_budget} triangles"
        )
    pads = _candidates(outline, coverage, radius, habit, area, rng)
    pads, reached = _until_covered(pads, outline, area, coverage)
    if reached < 0.97 * coverage:
        note = "; ".join(filter(None, [note, f"covers {reached:.2f} instead of {coverage:.2f}: corners stay open"]))
    vertices, faces = _as_mesh(pads, radius * habit.dish, rng)
    leaf_area = float(face_areas(vertices, faces).sum())
    plants = -(-len(pads) // habit.together)
    return Planting(
        Shape(vertices, faces, False, note),
        leaf_area,
        leaf_area / area,
        len(pads),
        plants,
        area,
        coverage=reached,
        leaf_faces=len(faces),
    )


def _candidates(
    outline: FloatArray, coverage: float, radius: float, habit: _Habit, area: float, rng: np.random.Generator
) -> FloatArray:
    """(n, s, 2): rims of more pads than needed, all inside the outline, in the order in which they come."""
    import shapely

    pieces = shrunk_as_far_as_possible(outline, 1.05 * radius)
    layers = 1.2 - 2.0 * np.log1p(-coverage)
    plants = int(layers * area / (0.85 * np.pi * radius**2) / habit.together) + 8
    centres = scatter(pieces, plants, rng)
    turn = rng.uniform(0, 2 * np.pi, (plants, 1)) + 2 * np.pi * np.arange(habit.together) / habit.together
    turn += rng.normal(0, 0.15, turn.shape)
    away = radius * habit.apart * rng.uniform(0.85, 1.15, turn.shape)
    in_plants = centres[:, None] + away[:, :, None] * np.stack([np.cos(turn), np.sin(turn)], axis=2)
    # Single pads at the end reach the gaps that whole plants leave.
    middles = np.concatenate([in_plants.reshape(-1, 2), scatter(pieces, plants * habit.together, rng)])
    sizes = radius * rng.uniform(0.78, 1.15, len(middles))
    angle = rng.uniform(0, 2 * np.pi, (len(middles), 1)) + 2 * np.pi * np.arange(_SIDES) / _SIDES
    reach = sizes[:, None] * rng.uniform(0.93, 1.05, angle.shape)
    rims = middles[:, None] + reach[:, :, None] * np.stack([np.cos(angle), np.sin(angle)], axis=2)
    room = shapely.Polygon(outline)
    shapely.prepare(room)
    return np.asarray(rims[shapely.covers(room, shapely.polygons(rims))])


class _Raster:
    """A fine raster over the outline that knows which cells are hidden already."""

    def __init__(self, outline: FloatArray, reach: float) -> None:
        extent = np.ptp(outline, axis=0)
        self.low = outline.min(axis=0)
        self.cell = max(2 * reach / _CELLS_ACROSS_PAD, float(np.sqrt(np.prod(extent) / 4e6)))
        self.size = np.ceil(extent / self.cell).astype(int) + 1
        self.hidden = np.zeros(self.size[0] * self.size[1], dtype=bool)
        steps = np.arange(-int(np.ceil(reach / self.cell)) - 1, int(np.ceil(reach / self.cell)) + 2)
        self.offsets = np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=2).reshape(-1, 2)

    def middle_cells(self, pads: FloatArray) -> np.ndarray:
        """(n,): the cell under the middle of each pad."""
        column, row = np.floor((pads.mean(axis=1) - self.low) / self.cell).astype(int).T
        return np.asarray(column * self.size[1] + row)

    def under(self, pads: FloatArray) -> tuple[np.ndarray, np.ndarray]:
        """Pairs of pad number and cell for each cell whose middle lies under a pad."""
        corner = np.floor((pads.mean(axis=1) - self.low) / self.cell).astype(int)
        cells = corner[:, None] + self.offsets[None]
        hit = _within_convex(pads, self.low + (cells + 0.5) * self.cell)
        hit &= ((cells >= 0) & (cells < self.size)).all(axis=2)
        number = np.broadcast_to(np.arange(len(pads))[:, None], hit.shape)[hit]
        return number, cells[hit][:, 0] * self.size[1] + cells[hit][:, 1]


def _until_covered(pads: FloatArray, outline: FloatArray, area: float, coverage: float) -> tuple[FloatArray, float]:
    """The pads, taken in order, that cover the share asked for, and the share that they cover.

    A pad that would lie mostly on others is passed over, as plants push each other aside; such pads come in only where
    the surface cannot be covered otherwise.
    """
    raster = _Raster(outline, float(np.abs(pads - pads.mean(axis=1, keepdims=True)).max()))
    wanted = max(1, round(coverage * area / raster.cell**2))
    chosen: list[FloatArray] = []
    hidden = 0
    for least_new in (0.6, 0.3, 0.04):
        passed_over = []
        for start in range(0, len(pads), _BLOCK):
            block = pads[start : start + _BLOCK]
            if least_new > 0.1:
                # A look at its middle spares most of the work on pads that lie on others.
                buried = raster.hidden[raster.middle_cells(block)]
                passed_over.append(block[buried])
                block = block[~buried]
            welcome, cells, gained = _welcome(raster, block, least_new, wanted - hidden)
            passed_over.append(block[~welcome])
            chosen.append(block[welcome])
            raster.hidden[cells] = True
            hidden += gained
            if hidden >= wanted:
                return np.concatenate(chosen), hidden * raster.cell**2 / area
        pads = np.concatenate(passed_over)
    return np.concatenate(chosen), hidden * raster.cell**2 / area


def _welcome(raster: _Raster, block: FloatArray, least_new: float, missing: int) -> tuple[np.ndarray, np.ndarray, int]:
    """Which pads of a block to take, the cells that they hide, and how many of those were open: no more than needed."""
    number, cell = raster.under(block)
    fresh = ~raster.hidden[cell]
    _, first = np.unique(cell[fresh], return_index=True)
    new = np.bincount(number[fresh][first], minlength=len(block))
    welcome = new > least_new * np.maximum(np.bincount(number, minlength=len(block)), 1)
    welcome[int(np.searchsorted(np.cumsum(np.where(welcome, new, 0)), missing)) + 1 :] = False
    taken = np.unique(cell[fresh & welcome[number]])
    return welcome, taken, len(taken)


def _within_convex(rims: FloatArray, points: FloatArray) -> np.ndarray:
    """(n, p) bool: which points (n, p, 2) lie inside the convex counter-clockwise rim (n, s, 2) of their row."""
    within = np.ones(points.shape[:2], dtype=bool)
    following = np.roll(rims, -1, axis=1)
    for k in range(rims.shape[1]):
        edge = following[:, k] - rims[:, k]
        to_point = points - rims[:, k][:, None]
        within &= edge[:, None, 0] * to_point[:, :, 1] - edge[:, None, 1] * to_point[:, :, 0] >= 0
    return within


def _as_mesh(rims: FloatArray, dish: float, rng: np.random.Generator) -> tuple[FloatArray, IntArray]:
    """Each pad a shallow dish: a middle and a rim slightly above it, all below z = 0, no two at one depth."""
    count, sides = rims.shape[:2]
    top = rng.uniform(-1.2e-3, -2e-4, (count, 1))
    sag = dish * rng.uniform(0.5, 1.0, (count, 1))
    towards = rng.uniform(0, 2 * np.pi, (count, 1)) + 2 * np.pi * np.arange(sides) / sides
    tilt = rng.uniform(0, 0.4, (count, 1)) * (1 + np.cos(towards))
    rim_z = top - 0.5 * sag * tilt
    middle = np.concatenate([rims.mean(axis=1), top - sag], axis=1)
    pads = np.concatenate([middle[:, None], np.concatenate([rims, rim_z[:, :, None]], axis=2)], axis=1)
    rim = 1 + np.arange(sides)
    fan = np.stack([np.zeros(sides, dtype=int), rim, np.roll(rim, -1)], axis=1)
    faces = fan[None] + (np.arange(count) * (sides + 1))[:, None, None]
    return without_degenerate_faces(pads.reshape(-1, 3), faces.reshape(-1, 3).astype(np.int32))
