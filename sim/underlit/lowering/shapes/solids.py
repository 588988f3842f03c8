"""Closed bodies: union, cutting and tidying through manifold3d, with what it gives back made fit for tracing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from underlit.lowering.shapes.shape import (
    SMALLEST_AREA_M2,
    FloatArray,
    IntArray,
    Shape,
    ShapeError,
    face_areas,
    is_closed,
    without_degenerate_faces,
    without_unused_vertices,
)

if TYPE_CHECKING:
    import manifold3d


def to_manifold(shape: Shape) -> manifold3d.Manifold:
    """The shape as a manifold3d body; ShapeError when it is not a proper closed one."""
    import manifold3d

    mesh = manifold3d.Mesh64(shape.vertices, shape.faces.astype(np.uint64))
    body = manifold3d.Manifold(mesh)
    if body.status() != manifold3d.Error.NoError:
        raise ShapeError(f"solid: not a closed body ({body.status().name}); give a mesh without holes or loose edges")
    return body


def from_manifold(body: manifold3d.Manifold, note: str = "") -> Shape:
    """A tidy Shape of a manifold3d body: no degenerate triangle, still closed."""
    for tolerance in (0.0, 1e-7, 1e-6, 1e-5):
        candidate = body.simplify(tolerance) if tolerance else body
        vertices, faces = arrays_of(candidate)
        if len(faces) and is_closed(faces) and face_areas(vertices, faces).min() > SMALLEST_AREA_M2:
            return Shape(vertices, faces, True, note)
    vertices, faces = without_flat_faces(*arrays_of(body))
    return Shape(vertices, faces, is_closed(faces), note)


def arrays_of(body: manifold3d.Manifold) -> tuple[FloatArray, IntArray]:
    """Vertices (n, 3) float64 [m] and faces (m, 3) int32 of a manifold3d body."""
    mesh = body.to_mesh64()
    vertices = np.ascontiguousarray(np.asarray(mesh.vert_properties)[:, :3], dtype=np.float64)
    return vertices, np.asarray(mesh.tri_verts).astype(np.int32).reshape(-1, 3)


def union(shapes: Sequence[Shape]) -> manifold3d.Manifold:
    """One body of all closed shapes, in the order given."""
    import manifold3d

    bodies = [to_manifold(shape) for shape in shapes]
    return manifold3d.Manifold.batch_boolean(bodies, manifold3d.OpType.Add)


def without_flat_faces(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Remove degenerate triangles of a closed mesh without opening it.

    Short edges collapse; a triangle flattened onto its longest edge is taken out by flipping that edge. What cannot be
    mended so is dropped.
    """
    for _ in range(200):
        faces = faces[(faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])]
        flat = np.flatnonzero(face_areas(vertices, faces) <= SMALLEST_AREA_M2)
        if len(flat) == 0:
            return without_unused_vertices(vertices, faces)
        faces = _mend(vertices, faces.copy(), int(flat[0]))
    return without_degenerate_faces(vertices, faces)


def _mend(vertices: FloatArray, faces: IntArray, flat: int) -> IntArray:
    """faces with one flat triangle taken out."""
    corners = faces[flat]
    edges = np.linalg.norm(vertices[np.roll(corners, -1)] - vertices[corners], axis=1)
    shortest, longest = int(edges.argmin()), int(edges.argmax())
    if edges[shortest] < 1e-6:
        faces[faces == corners[(shortest + 1) % 3]] = corners[shortest]
        return faces
    start, end, middle = corners[longest], corners[(longest + 1) % 3], corners[(longest + 2) % 3]
    across = np.flatnonzero(((faces == end) & (np.roll(faces, -1, axis=1) == start)).any(axis=1))
    if len(across) != 1:
        return np.delete(faces, flat, axis=0)
    far = faces[across[0]][~np.isin(faces[across[0]], (start, end))][0]
    faces[flat] = (start, far, middle)
    faces[across[0]] = (far, end, middle)
    return faces
