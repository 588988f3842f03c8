"""Cutting shapes off at the glass of a tank that is no box."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import numpy as np

from underlit.lowering.prisms import HAIR, joined
from underlit.lowering.shapes import Shape, ShapeError, clip_to_tank
from underlit.lowering.shapes.placing import cut_to_box
from underlit.lowering.shapes.shape import face_areas, without_degenerate_faces, without_unused_vertices
from underlit.lowering.shapes.solids import arrays_of, from_manifold, to_manifold
from underlit.scene.model import Scene
from underlit.scene.tank.mesh import MeshGlass

if TYPE_CHECKING:
    import shapely

MARGIN = 1e-4
"""Distance kept to the glass [m]."""


def clip_to_inside(shape: Shape, scene: Scene, ceiling: float) -> tuple[Shape, float]:
    """The part of a shape inside the tank, and the share of its surface cut off; see `clip_to_tank`. ShapeError if none."""
    length, depth, _ = scene.tank.inside_m
    clipped, removed = clip_to_tank(shape, length, depth, ceiling, MARGIN)
    if scene.tank.is_box:
        return clipped, removed
    if scene.tank.meshes is not None:
        clipped = _inside_mesh(clipped, scene.tank.meshes)
        return clipped, min(max(1.0 - clipped.area_m2 / shape.area_m2, 0.0), 1.0)
    import shapely

    room = scene.tank.inside_outline.inset(MARGIN)
    shapely.prepare(room)
    inside = shapely.covers(room, shapely.polygons(clipped.vertices[clipped.faces][:, [0, 1, 2, 0], :2]))
    if inside.all():
        return clipped, removed
    sheet = _cut_sheet(clipped, room, inside)
    left = float(face_areas(*sheet).sum())
    if left <= 0.0:
        raise ShapeError("lies wholly outside the tank's outline; move it inside")
    share = min(max(1.0 - left / shape.area_m2, 0.0), 1.0)
    if clipped.closed:
        return _cut_solid(clipped, room), share
    return Shape(*without_degenerate_faces(*sheet), False, clipped.note), share


def _inside_mesh(shape: Shape, meshes: MeshGlass) -> Shape:
    """What lies inside the inner mesh, a hair off it: solids are cut, leaves are left out where a corner lies beyond."""
    middle = (meshes.inside.min(axis=0) + meshes.inside.max(axis=0)) / 2
    least = 1.0 - 2 * HAIR / (np.ptp(meshes.inside, axis=0) / 2).min()
    room = to_manifold(Shape(middle + (meshes.inside - middle) * least, meshes.inside_faces, True))
    if shape.closed:
        cut = from_manifold(to_manifold(shape) ^ room, shape.note)
        if len(cut.faces) == 0:
            raise ShapeError("lies wholly outside the tank; move it inside")
        return cut
    kept = _inside_body(shape.vertices, *arrays_of(room))[shape.faces].all(axis=1)
    if not kept.any():
        raise ShapeError("lies wholly outside the tank; move it inside")
    return Shape(*without_unused_vertices(shape.vertices, shape.faces[kept]), False, shape.note)


def _inside_body(points: np.ndarray, vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Which points (n, 3) lie inside a closed mesh: an odd number of its faces lies over them. (n,) bool."""
    import shapely

    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    normal = np.cross(b - a, c - a)
    seen = np.abs(normal[:, 2]) > 1e-14
    a, normal = a[seen], normal[seen]
    tree = shapely.STRtree(shapely.polygons(vertices[faces[seen]][:, [0, 1, 2, 0], :2]))
    point, face = tree.query(shapely.points(points[:, :2]), predicate="within")
    over = a[face, 2] - ((points[point, :2] - a[face, :2]) * normal[face, :2]).sum(axis=1) / normal[face, 2]
    return np.asarray(np.bincount(point[over > points[point, 2]], minlength=len(points)) % 2 == 1)


def _cut_solid(shape: Shape, room: shapely.Polygon) -> Shape:
    import manifold3d

    low, high = shape.bounds[0, 2] - 1.0, shape.bounds[1, 2] + 1.0
    ring = np.asarray(room.exterior.coords)[:-1]
    column = manifold3d.CrossSection([ring]).extrude(float(high - low)).translate([0.0, 0.0, float(low)])
    return from_manifold(to_manifold(shape) ^ column, shape.note)


def _cut_sheet(shape: Shape, room: shapely.Polygon, whole: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Triangles cut at an outline of the plan, without caps; `whole` says which of them lie inside it altogether."""
    import shapely

    pieces = (
        [room]
        if math.isclose(room.convex_hull.area, room.area)
        else [*shapely.constrained_delaunay_triangles(room).geoms]
    )
    parts = [without_unused_vertices(shape.vertices, shape.faces[whole])]
    crossing = without_unused_vertices(shape.vertices, shape.faces[~whole])
    parts += [_inside_convex(*crossing, piece) for piece in pieces]
    return joined(parts)


def _inside_convex(vertices: np.ndarray, faces: np.ndarray, piece: shapely.Polygon) -> tuple[np.ndarray, np.ndarray]:
    """Triangles cut at the upright planes over the edges of a convex outline."""
    import shapely

    ring = np.asarray(shapely.orient_polygons(piece).exterior.coords)
    endless = np.full(3, np.inf)
    for (x0, y0), (x1, y1) in itertools.pairwise(ring):
        if len(faces) == 0:
            break
        out = np.array([y1 - y0, x0 - x1]) / np.hypot(x1 - x0, y1 - y0)
        # turned so that the edge's outward normal is x: then the cut is one at a coordinate
        turned = np.array([[out[0], out[1], 0.0], [-out[1], out[0], 0.0], [0.0, 0.0, 1.0]])
        high = np.array([out @ (x0, y0), np.inf, np.inf])
        vertices, faces = cut_to_box(vertices @ turned.T, faces, -endless, high)
        vertices = vertices @ turned
    return vertices, faces
