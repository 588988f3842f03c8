"""Flat pieces, curtains and slabs over outlines of the plan, as triangles that share their corners to the bit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from underlit.scene.common import HAIR

if TYPE_CHECKING:
    import shapely

Triangles = tuple[np.ndarray, np.ndarray]
"""Vertices (n, 3) float64 [m] and faces (m, 3) int32."""
_SMALLEST_AREA = 1e-10


def flat(outline: Sequence[Sequence[float]], z: float, *, facing_up: bool = True) -> Triangles:
    """A level piece over one closed outline without holes, its corners counter-clockwise as given and no others."""
    vertices = np.column_stack([np.asarray(outline, dtype=np.float64), np.full(len(outline), z)])
    if len(vertices) == 4:
        faces = np.array([[0, 1, 2], [0, 2, 3]], dtype=np.int32)
    else:
        import shapely

        faces = _triangles(shapely.Polygon(outline), vertices)
    return vertices, faces if facing_up else np.ascontiguousarray(faces[:, ::-1])


def flat_region(region: shapely.Geometry, z: float, *, facing_up: bool = True) -> Triangles:
    """A level piece over a region that may have holes and several parts; no corners but the region's own."""
    import shapely

    parts = []
    for part in polygons_of(region):
        corners = np.concatenate([np.asarray(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)])
        corners = np.column_stack([corners, np.full(len(corners), z)])
        parts.append((corners, _triangles(shapely.Polygon(part), corners)))
    vertices, faces = joined(parts)
    return vertices, faces if facing_up else np.ascontiguousarray(faces[:, ::-1])


def polygons_of(region: shapely.Geometry) -> list[shapely.Polygon]:
    """The polygons of a region, slivers left out."""
    import shapely

    return [p for p in shapely.get_parts(region) if isinstance(p, shapely.Polygon) and p.area > _SMALLEST_AREA]


def _triangles(polygon: shapely.Polygon, vertices: np.ndarray) -> np.ndarray:
    """Faces (m, 3) of a polygon in terms of its own corners, counter-clockwise."""
    import shapely

    number = {(x, y): i for i, (x, y) in reversed(list(enumerate(map(tuple, vertices[:, :2].tolist()))))}
    pieces = shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))
    corners = shapely.get_coordinates(pieces).reshape(-1, 4, 2)[:, :3]
    faces = np.array([[number[x, y] for x, y in triangle] for triangle in corners.tolist()], dtype=np.int32)
    (ax, ay), (bx, by), (cx, cy) = (corners[:, k].T for k in range(3))
    clockwise = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax) < 0
    faces[clockwise] = faces[clockwise][:, ::-1]
    return faces


def curtain(
    start: Sequence[float], end: Sequence[float], z_low: float, z_high: float, cell: float = math.inf
) -> Triangles:
    """An upright quad over the line from start to end; its front is on the line's right-hand side.

    cell: it is divided into quads of about this size [m], which light does not notice and counters do.
    """
    (x0, y0), (x1, y1) = start, end
    columns, rows = (max(1, round(side / cell)) for side in (math.hypot(x1 - x0, y1 - y0), z_high - z_low))
    along, up = np.linspace(0.0, 1.0, columns + 1), np.linspace(z_low, z_high, rows + 1)
    points = np.stack([x0 + along * (x1 - x0), y0 + along * (y1 - y0)], axis=1)
    points[-1] = end
    vertices = np.column_stack([np.tile(points, (rows + 1, 1)), np.repeat(up, columns + 1)])
    low = (np.arange(rows)[:, None] * (columns + 1) + np.arange(columns)).reshape(-1, 1)
    high = low + columns + 1
    faces = np.concatenate([low, low + 1, high + 1, low, high + 1, high], axis=1).reshape(-1, 3)
    return vertices, faces.astype(np.int32)


def curtain_round(outline: Sequence[Sequence[float]], z_low: float, z_high: float) -> Triangles:
    """Upright quads over all edges of an outline; fronts are outside one that runs counter-clockwise."""
    ends = [*outline[1:], outline[0]]
    return joined([curtain(a, b, z_low, z_high) for a, b in zip(outline, ends, strict=True)])


def curtain_of_region(region: shapely.Geometry, z_low: float, z_high: float) -> Triangles:
    """Upright quads over all edges of a region, fronts outside it."""
    import shapely

    parts = []
    for polygon in polygons_of(region):
        oriented = shapely.orient_polygons(polygon)
        for ring in (oriented.exterior, *oriented.interiors):
            parts.append(curtain_round(np.asarray(ring.coords)[:-1].tolist(), z_low, z_high))
    return joined(parts)


def slab(region: shapely.Geometry, z_low: float, z_high: float) -> Triangles:
    """A closed plate over a region, fronts outside."""
    return joined(
        [
            flat_region(region, z_low, facing_up=False),
            flat_region(region, z_high),
            curtain_of_region(region, z_low, z_high),
        ]
    )


def ring(outer: Sequence[Sequence[float]], inner: Sequence[Sequence[float]], z: float) -> Triangles:
    """A level frame that faces up between two outlines of equally many corners, its own corners those of both."""
    n = len(outer)
    vertices = np.array([(x, y, z) for x, y in (*outer, *inner)], dtype=np.float64)
    faces = [f for i in range(n) for j in [(i + 1) % n] for f in ((i, j, n + j), (i, n + j, n + i))]
    return vertices, np.array(faces, dtype=np.int32)


def joined(parts: Sequence[Triangles]) -> Triangles:
    """Several pieces as one."""
    first = np.cumsum([0, *(len(vertices) for vertices, _ in parts)])
    if not parts:
        return np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32)
    vertices = np.concatenate([v for v, _ in parts])
    return vertices, np.concatenate([f + i for (_, f), i in zip(parts, first)]).astype(np.int32)


__all__ = [
    "HAIR", "Triangles", "curtain", "curtain_of_region", "curtain_round", "flat", "flat_region", "joined", "polygons_of",
    "ring", "slab",
]  # fmt: skip
