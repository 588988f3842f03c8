"""Light on wood, stone and plants: mean PPFD on what looks up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from underlit.lowering.compiled import Mesh
from underlit.lowering.records import Part, Role
from underlit.lowering.scene import Lowered
from underlit.lowering.shapes.shape import face_areas, face_normals
from underlit.results.estimate import Estimate
from underlit.results.result import Result
from underlit.scene.aquascape.plants import Plants
from underlit.scene.model import Scene

LEVELS = 3
"""A planting is read in this many layers of equal height."""
_LEAST_UP = 1e-6


@dataclass(frozen=True)
class UpperCells:
    """Tally cells of the upper sides of some faces: index into a row (n,), their area [m2], middle (n, 3) [m]."""

    index: np.ndarray
    area: np.ndarray
    middle: np.ndarray

    def chosen(self, which: np.ndarray) -> UpperCells:
        """Some of the cells."""
        return UpperCells(self.index[which], self.area[which], self.middle[which])


@dataclass(frozen=True)
class SurfaceReport:
    """Light on one piece: PPFD on its faces that look up [umol/m2/s], their area [m2]; for plantings also in layers of
    equal height, lowest first (None where a layer holds no leaf).
    """

    name: str
    role: Role
    upper_area_m2: float
    upper: Estimate
    layers: tuple[Estimate | None, ...]


def upper_cells(scene: Scene, result: Result, meshes: Sequence[Mesh]) -> UpperCells:
    """Cells of the faces of a piece that look up and lie above the substrate. Leaves are two-sided: one side looks up."""
    start = result.cells("faces").start
    parts = [_of_copies(start, m) if m.slots is not None else _of_faces(start, scene, m) for m in meshes]
    return UpperCells(
        np.concatenate([p.index for p in parts]),
        np.concatenate([p.area for p in parts]),
        np.concatenate([p.middle for p in parts]),
    )


def _of_faces(start: int, scene: Scene, mesh: Mesh) -> UpperCells:
    up = face_normals(mesh.vertices, mesh.faces)[:, 2]
    middle = mesh.vertices[mesh.faces].mean(axis=1)
    free = middle[:, 2] > scene.bed_heights_m(middle[:, 0], middle[:, 1])
    chosen = free & ((np.abs(up) if mesh.role is Role.PLANTS else up) > _LEAST_UP)
    cell = start + 2 * mesh.face_slots() + (up < 0)
    return UpperCells(cell[chosen], face_areas(mesh.vertices, mesh.faces)[chosen], middle[chosen])


def _of_copies(start: int, mesh: Mesh) -> UpperCells:
    """Copies of a shared mesh are counted by layers of each copy, and by up and down, not front and back."""
    assert mesh.slots is not None
    slots, inverse = np.unique(mesh.slots, return_inverse=True)
    area = face_areas(mesh.vertices, mesh.faces)
    centre = mesh.vertices[mesh.faces].mean(axis=1)
    total = np.bincount(inverse, area)
    middle = np.stack([np.bincount(inverse, area * centre[:, k]) / total for k in range(3)], axis=1)
    return UpperCells(start + 2 * slots, total, middle)


def mean_of(result: Result, cells: UpperCells) -> Estimate | None:
    """Mean PPFD over some cells; None for none."""
    return result.mean_over_faces(cells.index, float(cells.area.sum())) if len(cells.index) else None


def layers_of(scene: Scene, result: Result, plants: Plants, cells: UpperCells) -> tuple[Estimate | None, ...]:
    """Mean PPFD of a planting in layers of equal height, the lowest first; over the substrate for plants rooted in it."""
    if len(cells.index) == 0:
        return ()
    x, y, z = cells.middle.T
    if plants.is_rooted:
        z = z - scene.bed_heights_m(x, y)
    low, high = z.min(), z.max()
    layer = np.clip(((z - low) / max(high - low, 1e-9) * LEVELS).astype(int), 0, LEVELS - 1)
    return tuple(mean_of(result, cells.chosen(layer == k)) for k in range(LEVELS))


def surface_reports(lowered: Lowered, result: Result) -> list[SurfaceReport]:
    """Reports of all wood, stone and plants of a scene, in its order."""
    scene = lowered.scene
    planted = {plants.name: plants for plants in scene.plants}
    reports = []
    shown = [(Role.WOOD, wood.name) for wood in scene.wood] + [(Role.STONE, stone.name) for stone in scene.stone]
    for role, name in [*shown, *((Role.PLANTS, name) for name in planted)]:
        meshes = result.compiled.faces_of(Part(name, role, tank=lowered.tank))
        if not meshes:
            continue
        cells = upper_cells(scene, result, meshes)
        upper = mean_of(result, cells) or Estimate(float("nan"), float("nan"), 0.0)
        layers = layers_of(scene, result, planted[name], cells) if role is Role.PLANTS else ()
        reports.append(SurfaceReport(name, role, float(cells.area.sum()), upper, layers))
    return reports
