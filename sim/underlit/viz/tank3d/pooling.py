"""Values for colouring: a face's own PPFD where it is certain enough, else the mean of its neighbourhood.

A leaf's triangle of a few square millimetres catches few photons; its own value is mostly counting noise. Pictures
show instead, for each face, the mean over the smallest neighbourhood (the face, then cubes of 1, 2 and 4 cm) whose
simulation error is small. Faces that look different ways are never mixed. Files keep the faces' own values.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from underlit.lowering.compiled import Mesh
from underlit.lowering.records import Role
from underlit.lowering.shapes.shape import face_areas, face_normals
from underlit.results.result import Field, Result

CERTAIN_ENOUGH = 0.05
"""Standard error over value up to which a face stands for itself."""

PATCH_M = 0.03
"""Maps show means over patches as large as a meter head: finer detail would be mostly counting noise."""

CUBES_M = (0.01, 0.02, 0.04)


def bed_sides(bed: Mesh, floor: float = 0.0) -> list[Mesh]:
    """The sides of the substrate as seen through the glass, from its open edge down to the bottom pane (z = floor [m])."""
    edges = np.sort(bed.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    unique, count = np.unique(edges, axis=0, return_counts=True)
    rim = unique[count == 1]
    if len(rim) == 0:
        return []
    top = bed.vertices[rim]
    low = top.copy()
    low[:, :, 2] = min(floor, float(bed.vertices[:, 2].min()))
    vertices = np.concatenate([top.reshape(-1, 3), low.reshape(-1, 3)])
    first, n = 2 * np.arange(len(rim), dtype=np.int32), 2 * len(rim)
    upper = np.stack([first, first + 1, first + n], axis=1)
    lower = np.stack([first + 1, first + n + 1, first + n], axis=1)
    faces = np.concatenate([upper, lower]).astype(np.int32)
    return [Mesh(replace(bed.part, face="side"), vertices, faces, 0, bed.surface)]


def shown_side(mesh: Mesh, found: Field) -> Field:
    """PPFD on the side that is shown, (n_faces,): of leaves the side that looks up, of all else the front."""
    side = np.zeros(len(mesh.faces), dtype=np.int64)
    if mesh.role is Role.PLANTS:
        side[face_normals(mesh.vertices, mesh.faces)[:, 2] < 0] = 1
    return found.picked((np.arange(len(side)), side))


def shown_values(result: Result, mesh: Mesh) -> np.ndarray:
    """(n_faces,) float64 [umol/m2/s]: what each face of a mesh is coloured by in pictures."""
    own = shown_side(mesh, result.faces(mesh))
    area = face_areas(mesh.vertices, mesh.faces)
    value, error = own.value.copy(), own.standard_error
    open_faces = ~certain(value, error)
    for size in CUBES_M:
        if not open_faces.any():
            break
        index = cubes(mesh, size)
        total_area = np.bincount(index, area)
        mean = np.bincount(index, own.value * area) / total_area
        spread = np.sqrt(np.bincount(index, (error * area) ** 2)) / total_area
        good = certain(mean, spread)[index] | (size == CUBES_M[-1])
        use = open_faces & good
        value[use] = mean[index][use]
        open_faces &= ~good
    return value


def cubes(mesh: Mesh, size: float) -> np.ndarray:
    """(n_faces,) int64: which cube of a size [m] a face lies in; faces that look different ways are never together."""
    centres = mesh.vertices[mesh.faces].mean(axis=1)
    cell = np.floor(centres / size).astype(np.int64)
    _, index = np.unique(np.column_stack([cell, _facing(mesh)]), axis=0, return_inverse=True)
    return index.reshape(-1)


def certain(value: np.ndarray, error: np.ndarray) -> np.ndarray:
    """Whether a value can stand for itself."""
    # A face that no photon met has no spread either: its error is not known, not zero.
    return np.asarray(np.isfinite(error) & (value > 0) & (error <= CERTAIN_ENOUGH * value))


def _facing(mesh: Mesh) -> np.ndarray:
    """(n_faces,) int64: which of six ways a face looks; leaves count as looking up."""
    normals = face_normals(mesh.vertices, mesh.faces)
    if mesh.role is Role.PLANTS:
        return np.zeros(len(normals), dtype=np.int64)
    axis = np.argmax(np.abs(normals), axis=1)
    return np.asarray(2 * axis + (normals[np.arange(len(normals)), axis] < 0))


def patch_means(values: np.ndarray, size_x: float, size_y: float) -> np.ndarray:
    """Means over size_x by size_y cells (a Gaussian of that box's variance), over finite cells only; NaN stays."""
    from scipy.ndimage import gaussian_filter

    known = np.isfinite(values)
    sigma = (size_y / np.sqrt(12), size_x / np.sqrt(12))
    weight = gaussian_filter(known.astype(np.float64), sigma, mode="nearest")
    total = gaussian_filter(np.where(known, values, 0.0), sigma, mode="nearest")
    return np.where(known, total / np.where(weight > 0, weight, 1.0), np.nan)
