"""Mesh files of the user's own, checked and mended as far as that is safe."""

from __future__ import annotations

import numpy as np

from underlit.lowering.shapes.shape import (
    FloatArray,
    IntArray,
    Shape,
    ShapeError,
    face_volumes,
    is_closed,
    without_degenerate_faces,
)
from underlit.scene.named_files import MeshFile

LARGEST_M, SMALLEST_M = 5.0, 0.001

_METRES = {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": 0.3048}


def mended(file: MeshFile, scale: float = 1.0, unit: str = "m") -> Shape:
    """A mesh file as one Shape.

    unit: what one unit of the file means (m, cm, mm, in, ft); scale: a factor on top. Equal vertices are merged, degenerate
    triangles dropped; a closed mesh is wound outward. Raises ShapeError with one line that names the file.
    """
    if unit not in _METRES:
        raise ShapeError(f"{file}: unit {unit!r} is unknown; give one of {', '.join(_METRES)}")
    if not (np.isfinite(scale) and scale > 0):
        raise ShapeError(f"{file}: scale {scale:g} is not usable; give a number above 0")
    vertices, faces = file.content
    shape = _mended(vertices * (_METRES[unit] * scale), faces)
    if len(shape.faces) == 0:
        raise ShapeError(f"{file}: all its faces are degenerate; export a surface mesh of triangles")
    extent = float((shape.bounds[1] - shape.bounds[0]).max())
    if not SMALLEST_M <= extent <= LARGEST_M:
        raise ShapeError(
            f"{file}: comes out {extent:.4g} m large with unit {unit!r} and scale {scale:g}; "
            "1 mm to 5 m is right, so check the unit"
        )
    return shape


def _mended(vertices: FloatArray, faces: IntArray) -> Shape:
    """Merged, without degenerate faces, wound outward where closed."""
    merged, which = np.unique(vertices, axis=0, return_inverse=True)
    faces = which.reshape(-1)[faces]
    count = len(faces)
    merged, faces = without_degenerate_faces(merged, faces.astype(np.int32))
    notes = [f"{count - len(faces)} degenerate faces dropped"] if len(faces) < count else []
    if len(faces) == 0:
        return Shape(merged, faces, False)
    if not is_closed(faces):
        turned = _wound_alike(faces)
        if is_closed(turned):
            notes.append("faces turned so that all wind the same way")
            faces = turned
    if not is_closed(faces):
        notes.append("not closed: treated as a sheet")
        return Shape(merged, faces, False, "; ".join(notes))
    outward = _wound_outward(merged, faces)
    if not np.array_equal(outward, faces):
        notes.append("faces turned to wind outward")
    return Shape(merged, outward, True, "; ".join(notes))


def _neighbours(faces: IntArray) -> tuple[IntArray, IntArray, np.ndarray]:
    """Pairs of faces that share an edge with no third one, and whether they run along it in opposite ways."""
    edges = faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    owner = np.repeat(np.arange(len(faces)), 3)
    forward = edges[:, 0] < edges[:, 1]
    key = np.sort(edges, axis=1)
    order = np.lexsort((key[:, 1], key[:, 0]))
    key, owner, forward = key[order], owner[order], forward[order]
    start = np.flatnonzero(np.r_[True, (key[1:] != key[:-1]).any(axis=1)])
    first = start[np.diff(np.r_[start, len(key)]) == 2]
    return owner[first], owner[first + 1], forward[first] != forward[first + 1]


def _wound_alike(faces: IntArray) -> IntArray:
    """Faces with those turned over that wind against their neighbours.

    Each face stands twice in a graph, as it is and turned; neighbours are linked in the way in which they agree. The
    two copies of a body then fall into two components, and one of them is kept.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    first, second, agree = _neighbours(faces)
    count = len(faces)
    cross = np.where(agree, 0, count)
    rows = np.concatenate([first, first + count])
    columns = np.concatenate([second + cross, (second + count + cross) % (2 * count)])
    graph = coo_matrix((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=(2 * count, 2 * count))
    label = connected_components(graph, directed=False)[1]
    return _turned(faces, label[:count] > label[count:])


def _turned(faces: IntArray, which: np.ndarray) -> IntArray:
    result = faces.copy()
    result[which] = result[which][:, ::-1]
    return result


def _wound_outward(vertices: FloatArray, faces: IntArray) -> IntArray:
    """Turn bodies over that wind inward, but leave hollows inside a larger body as they are."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    first, second, _ = _neighbours(faces)
    graph = coo_matrix((np.ones(len(first), dtype=np.int8), (first, second)), shape=(len(faces), len(faces)))
    bodies, label = connected_components(graph, directed=False)
    volume = np.bincount(label, weights=face_volumes(vertices, faces), minlength=bodies)
    low, high = np.full((bodies, 3), np.inf), np.full((bodies, 3), -np.inf)
    np.minimum.at(low, label, vertices[faces].min(axis=1))
    np.maximum.at(high, label, vertices[faces].max(axis=1))
    inward = volume < 0
    if inward.all() or bodies == 1:
        return _turned(faces, inward[label])
    for body in np.flatnonzero(inward):
        holds = ~inward & (low <= low[body]).all(axis=1) & (high >= high[body]).all(axis=1)
        inward[body] = not holds.any()
    return _turned(faces, inward[label])
