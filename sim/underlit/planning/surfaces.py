"""Light on wood, stone and plants: mean PPFD on what looks up, and how it spreads, piece by piece."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.lowering.scene import Lowered
from underlit.lowering.shapes.shape import face_areas, face_normals
from underlit.lowering.world import Mesh, Role
from underlit.results.estimate import Estimate, combine, mean_of_groups
from underlit.results.result import Result

SHOWN = (Role.WOOD, Role.STONE, Role.PLANTS)
LEVELS = 3
"""A planting is read in this many layers of equal height."""
_LEAST_UP = 1e-6


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


def mean_over(result: Result, cells: np.ndarray, area: float) -> Estimate:
    """Mean PPFD over tally cells (indices into a row) of a total area [m2]."""
    parts = []
    for i, counts in enumerate(result.counts):
        batches = np.maximum(counts.group_batches, 1)
        means = counts.groups[:, cells].sum(axis=1) / batches * (result.source_scale(i) / area)
        parts.append(mean_of_groups(means, counts.group_batches))
    value, error, dof = combine(parts)
    return Estimate(float(value), float(error), float(dof))


def surface_reports(lowered: Lowered, result: Result) -> list[SurfaceReport]:
    """Reports of all wood, stone and plants of a scene, in its order."""
    return [_report(lowered, result, mesh) for mesh in result.plan.meshes if mesh.role in SHOWN]


def _report(lowered: Lowered, result: Result, mesh: Mesh) -> SurfaceReport:
    area = face_areas(mesh.vertices, mesh.faces)
    up = face_normals(mesh.vertices, mesh.faces)[:, 2]
    centre = mesh.vertices[mesh.faces].mean(axis=1)
    free = centre[:, 2] > lowered.scene.bed_heights_m(centre[:, 0], centre[:, 1])
    two_sided = mesh.role is Role.PLANTS
    chosen = free & ((np.abs(up) if two_sided else up) > _LEAST_UP)
    # copies of a shared mesh are counted up and down, not front and back
    side = np.zeros(len(up), np.int64) if mesh.slots is not None else (up < 0).astype(np.int64)
    cells = result.cells("faces").start + 2 * mesh.face_slots() + side

    def mean(which: np.ndarray) -> Estimate | None:
        return mean_over(result, np.unique(cells[which]), float(area[which].sum())) if which.any() else None

    layers: tuple[Estimate | None, ...] = ()
    if two_sided and chosen.any():
        z = centre[:, 2]
        low, high = z[chosen].min(), z[chosen].max()
        layer = np.clip(((z - low) / max(high - low, 1e-9) * LEVELS).astype(int), 0, LEVELS - 1)
        layers = tuple(mean(chosen & (layer == k)) for k in range(LEVELS))
    upper = mean(chosen) or Estimate(float("nan"), float("nan"), 0.0)
    return SurfaceReport(mesh.name, mesh.role, float(area[chosen].sum()), upper, layers)
