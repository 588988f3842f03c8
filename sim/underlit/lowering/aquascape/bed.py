"""The substrate: an open height field that ends exactly on the panes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from underlit.lowering.aquascape.terraces import covered_by, soil
from underlit.lowering.pieces import MeshPiece
from underlit.lowering.prisms import HAIR, Triangles, polygons_of
from underlit.lowering.shapes.shape import Shape, ShapeError, face_normals, without_unused_vertices
from underlit.lowering.tank.panes import BED
from underlit.scene.model import Scene
from underlit.scene.tank.mesh import MeshGlass

if TYPE_CHECKING:
    import shapely

BEYOND = 0.01
"""How far a block of substrate is pushed out of a tank from meshes before it is cut at them [m]."""
FLATTEST = 1e-6
"""Faces of a block that look up less than this are its sides."""

_SAME_POINT = 1e-9
"""Corners of neighbouring cut triangles this close [m] are one corner."""


def bare_bottom(scene: Scene) -> bool:
    """Whether there is no substrate to speak of: then the bottom pane itself is what light reaches."""
    return float(scene.substrate.grid_m.max()) < HAIR


def bed(scene: Scene) -> Iterator[MeshPiece]:
    """The substrate; a bare bottom has none. ShapeError where nothing of it lies in the tank."""
    if not bare_bottom(scene):
        yield MeshPiece(BED, *bed_triangles(scene), soil(scene))


def bed_triangles(scene: Scene) -> Triangles:
    """The height field over the inside of the tank, cut at its outline."""
    rows, columns = scene.substrate.grid_m.shape
    length, depth, _ = scene.tank.inside_m
    x, y = np.linspace(0, length, columns), np.linspace(0, depth, rows)
    heights = np.maximum(scene.substrate.grid_m, HAIR)
    vertices = np.stack([np.tile(x, rows), np.repeat(y, columns), heights.ravel()], axis=1)
    at = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = at[:-1, :-1].ravel(), at[:-1, 1:].ravel(), at[1:, 1:].ravel(), at[1:, :-1].ravel()
    faces = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)]).astype(np.int32)
    if scene.tank.meshes is not None:
        return _cut_to_mesh(vertices, faces, scene.tank.meshes)
    if scene.tank.is_box and not scene.substrate.terraces:
        return vertices, faces
    return cut_to_outline(vertices, faces, scene)


def bed_outline(scene: Scene) -> shapely.Polygon:
    """What the substrate covers seen from above: the inside of the panes where it meets them."""
    import shapely

    if scene.tank.meshes is None or bare_bottom(scene):
        return scene.tank.inside_outline.polygon
    vertices, faces = bed_triangles(scene)
    # not on a grid: that tears slivers and what borders on them apart
    whole = shapely.union_all(shapely.polygons(vertices[faces][:, [0, 1, 2, 0], :2]))
    return max(shapely.get_parts(whole), key=lambda part: part.area)


def _cut_to_mesh(vertices: np.ndarray, faces: np.ndarray, meshes: MeshGlass) -> Triangles:
    """The part of a height field inside the inner mesh of the glass: what is left of the top of a block under it."""
    from underlit.lowering.shapes.solids import to_manifold

    block = to_manifold(Shape(*_block_under(vertices, faces), True)).as_original()
    inside = to_manifold(Shape(meshes.inside, meshes.inside_faces, True))
    mesh = (block ^ inside).to_mesh64()
    points = np.asarray(mesh.vert_properties)[:, :3]
    corners = np.asarray(mesh.tri_verts).astype(np.int32).reshape(-1, 3)
    ends = np.asarray(mesh.run_index) // 3
    of_block = np.zeros(len(corners), bool)
    for origin, start, end in zip(mesh.run_original_id, ends, ends[1:], strict=False):
        of_block[start:end] = origin == block.original_id()
    top = of_block & (face_normals(points, corners)[:, 2] > FLATTEST)
    if not top.any():
        raise ShapeError("substrate: nothing of it lies inside the tank")
    return without_unused_vertices(points, corners[top])


def _block_under(vertices: np.ndarray, faces: np.ndarray) -> Triangles:
    """A closed block whose top is a height field, its sides pushed out of the tank."""
    top = vertices.copy()
    for axis in (0, 1):
        low, high = top[:, axis].min(), top[:, axis].max()
        top[top[:, axis] == low, axis] = low - BEYOND
        top[top[:, axis] == high, axis] = high + BEYOND
    below = top * (1.0, 1.0, 0.0) - (0.0, 0.0, 1.0)
    n = len(top)
    edges = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    _, where, count = np.unique(np.sort(edges, axis=1), axis=0, return_index=True, return_counts=True)
    a, b = edges[where[count == 1]].T
    sides = [np.stack([a, a + n, b + n], axis=1), np.stack([a, b + n, b], axis=1)]
    return np.concatenate([top, below]), np.concatenate([faces, faces[:, ::-1] + n, *sides]).astype(np.int32)


def cut_to_outline(vertices: np.ndarray, faces: np.ndarray, scene: Scene) -> Triangles:
    """The part of a height field inside the tank's outline and not under a terrace; its edge has the outline's own corners."""
    import shapely

    polygon = scene.tank.inside_outline.polygon - covered_by(scene, scene.substrate.terraces)
    shapely.prepare(polygon)
    corners = vertices[faces]
    triangles = shapely.polygons(np.concatenate([corners, corners[:, :1]], axis=1)[:, :, :2])
    whole = shapely.covers(polygon, triangles)
    made = [corners[whole]]
    for corner, triangle in zip(corners[~whole], triangles[~whole], strict=True):
        pieces = [shapely.constrained_delaunay_triangles(part) for part in polygons_of(triangle & polygon)]
        pieces = shapely.get_parts(pieces)
        if len(pieces) == 0:
            continue
        xy = shapely.get_coordinates(pieces).reshape(-1, 4, 2)[:, :3]
        made.append(np.concatenate([xy, _height_on(corner, xy)[..., None]], axis=2))
    return _welded(np.concatenate(made), np.array(scene.tank.inside_outline.points))


def _height_on(corner: np.ndarray, xy: np.ndarray) -> np.ndarray:
    """Height of a triangle (3, 3) at points (..., 2) of the plan."""
    edges = corner[1:] - corner[0]
    share = (xy - corner[0, :2]) @ np.linalg.inv(edges[:, :2])
    return np.asarray(corner[0, 2] + share @ edges[:, 2])


def _welded(corners: np.ndarray, exact: np.ndarray) -> Triangles:
    """Triangles (n, 3, 3) with corners shared to the bit; those at points of `exact` (k, 2) stand exactly there."""
    from scipy.spatial import cKDTree

    points = corners.reshape(-1, 3).copy()
    far, nearest = cKDTree(exact).query(points[:, :2])
    points[far < _SAME_POINT, :2] = exact[nearest[far < _SAME_POINT]]
    _, first, number = np.unique(
        np.round(points[:, :2] / _SAME_POINT).astype(np.int64), axis=0, return_index=True, return_inverse=True
    )
    faces = number.reshape(-1, 3)
    vertices = points[first]
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    doubled = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    faces[doubled < 0] = faces[doubled < 0][:, ::-1]
    distinct = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    return vertices, faces[distinct & (np.abs(doubled) > 1e-14)].astype(np.int32)
