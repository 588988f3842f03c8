"""The one form in which every mesh reaches the scene tables: vertices, faces, closed or not, and a remark.

Metres, right-handed, z up. Faces wind counter-clockwise seen from outside a solid; on an open two-sided sheet
(a leaf) counter-clockwise is the upper side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from underlit.lowering.prisms import joined

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.integer[Any]]

SMALLEST_AREA_M2 = 1e-14
"""Triangles up to this area (a tenth of a micrometre squared) are degenerate: no ray needs them, and their normal is
noise.
"""


class ShapeError(ValueError):
    """A shape that cannot be used. The message is one line: where, what, what would be right."""


@dataclass(frozen=True)
class Shape:
    """A triangle mesh.

    vertices: (n, 3) float64 [m]; faces: (m, 3) int32, counter-clockwise seen from outside (upper side for sheets);
    closed: whether it bounds a solid; note: what had to be changed or is worth saying, one line, or empty.
    """

    vertices: FloatArray
    faces: IntArray
    closed: bool
    note: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "vertices", np.ascontiguousarray(self.vertices, dtype=np.float64).reshape(-1, 3))
        object.__setattr__(self, "faces", np.ascontiguousarray(self.faces, dtype=np.int32).reshape(-1, 3))

    @property
    def area_m2(self) -> float:
        """Total area of the triangles, one side [m2]."""
        return float(face_areas(self.vertices, self.faces).sum())

    @property
    def volume_m3(self) -> float:
        """Signed volume [m3]: positive when a closed shape winds outward; meaningless for open sheets."""
        return float(face_volumes(self.vertices, self.faces).sum())

    @property
    def bounds(self) -> FloatArray:
        """(2, 3) float64 [m]: lowest and highest corner."""
        return np.stack([self.vertices.min(axis=0), self.vertices.max(axis=0)])


def face_areas(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """(m,) float64 [m2]: area of each triangle."""
    return np.asarray(0.5 * np.linalg.norm(_doubled_normals(vertices, faces), axis=1))


def face_normals(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """(m, 3) float64: unit normal of each triangle (zero where it is degenerate)."""
    doubled = _doubled_normals(vertices, faces)
    lengths = np.linalg.norm(doubled, axis=1, keepdims=True)
    return np.asarray(np.divide(doubled, lengths, out=np.zeros_like(doubled), where=lengths > 0))


def face_volumes(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """(m,) float64 [m3]: signed volume of the tetrahedron between each triangle and the mesh's centre."""
    a, b, c = np.moveaxis(vertices[faces] - vertices.mean(axis=0), 1, 0)
    return np.asarray(np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0)


def _doubled_normals(vertices: FloatArray, faces: IntArray) -> FloatArray:
    corners = vertices[faces]
    return np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])


def is_closed(faces: IntArray) -> bool:
    """Whether each directed edge is matched by as many edges the other way: watertight and wound alike."""
    if len(faces) == 0:
        return False
    start = faces[:, [0, 1, 2]].ravel().astype(np.int64)
    end = faces[:, [1, 2, 0]].ravel().astype(np.int64)
    count = int(faces.max()) + 1
    forward = np.sort(start * count + end)
    backward = np.sort(end * count + start)
    return bool(np.array_equal(forward, backward))


def without_unused_vertices(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """The same triangles with only the vertices that they use, in their old order."""
    used = np.zeros(len(vertices), dtype=bool)
    used[faces.ravel()] = True
    renumbered = np.cumsum(used) - 1
    return vertices[used], renumbered[faces].astype(np.int32)


def without_degenerate_faces(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Drop triangles of at most SMALLEST_AREA_M2, and vertices that nothing uses."""
    return without_unused_vertices(vertices, faces[face_areas(vertices, faces) > SMALLEST_AREA_M2])


def join(shapes: Sequence[Shape]) -> Shape:
    """All shapes as one, in order; closed only if each part is. Parts may overlap."""
    return Shape(
        *joined([(shape.vertices, shape.faces) for shape in shapes]),
        all(shape.closed for shape in shapes) and bool(shapes),
        "; ".join(dict.fromkeys(shape.note for shape in shapes if shape.note)),
    )
