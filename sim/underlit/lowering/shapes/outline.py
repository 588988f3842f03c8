"""Outlines on the floor plan: area, inside tests, even sampling, shrinking."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from underlit.lowering.shapes.shape import FloatArray, ShapeError

Ground = Callable[[FloatArray, FloatArray], FloatArray]
"""Height of the substrate [m] at plan positions x, y [m], vectorised."""


def checked_outline(outline: FloatArray) -> FloatArray:
    """The outline as (k, 2) float64 [m], counter-clockwise; ShapeError when it encloses nothing or crosses itself."""
    import shapely

    points = np.asarray(outline, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < 3:
        raise ShapeError(f"outline: needs at least 3 corners of x and y, got an array of shape {points.shape}")
    if not np.isfinite(points).all():
        raise ShapeError("outline: has corners that are not finite numbers; give each corner as two lengths")
    if np.array_equal(points[0], points[-1]):
        points = points[:-1]
    polygon = shapely.Polygon(points) if len(points) >= 3 else None
    if polygon is None or not polygon.is_valid:
        raise ShapeError("outline: crosses itself or has no inside; list its corners once around")
    if polygon.area < 1e-8:
        raise ShapeError(f"outline: encloses only {polygon.area * 1e6:.3g} mm2; give corners that enclose an area")
    return np.ascontiguousarray(points if signed_area(points) > 0 else points[::-1])


def signed_area(outline: FloatArray) -> float:
    """Area [m2], positive when the corners run counter-clockwise."""
    x, y = outline[:, 0], outline[:, 1]
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def inside(outline: FloatArray, x: FloatArray, y: FloatArray) -> np.ndarray:
    """Boolean array like x: which points lie inside."""
    import shapely

    polygon = shapely.Polygon(outline)
    shapely.prepare(polygon)
    return np.asarray(shapely.contains_xy(polygon, x, y))


def shrunk(outline: FloatArray, distance: float) -> list[FloatArray]:
    """Outlines moved inwards by distance [m]: none, one or several pieces."""
    import shapely

    inner = shapely.Polygon(outline).buffer(-distance, join_style="mitre")
    pieces = [piece for piece in shapely.get_parts(inner) if piece.area > 1e-9]
    return [np.asarray(piece.exterior.coords)[:-1] for piece in pieces]


def shrunk_as_far_as_possible(outline: FloatArray, distance: float) -> list[FloatArray]:
    """Like shrunk, but with less distance where the full one would leave nothing."""
    for share in (1.0, 0.75, 0.5, 0.25, 0.1):
        pieces = shrunk(outline, share * distance)
        if pieces:
            return pieces
    return [outline]


def scatter(pieces: list[FloatArray], count: int, rng: np.random.Generator) -> FloatArray:
    """About evenly spread random points (count, 2) [m] inside the pieces, in random order.

    One point somewhere in each cell of a square grid, the grid shifted at random: even enough to leave no bare
    patches, random enough to show no rows.
    """
    if count <= 0:
        return np.zeros((0, 2))
    area = sum(abs(signed_area(piece)) for piece in pieces)
    low = np.min([piece.min(axis=0) for piece in pieces], axis=0)
    high = np.max([piece.max(axis=0) for piece in pieces], axis=0)
    pitch = np.sqrt(area / count)
    for _ in range(60):
        origin = low - pitch * rng.uniform(0, 1, 2)
        cells = np.maximum(np.ceil((high - origin) / pitch).astype(int), 1)
        columns, rows = np.meshgrid(np.arange(cells[0]), np.arange(cells[1]), indexing="ij")
        corners = np.stack([columns.ravel(), rows.ravel()], axis=1)
        points = origin + pitch * (corners + rng.uniform(0, 1, corners.shape))
        within = np.zeros(len(points), dtype=bool)
        for piece in pieces:
            within |= inside(piece, points[:, 0], points[:, 1])
        points = points[within]
        if len(points) >= count:
            return rng.permutation(points)[:count]
        pitch *= 0.97
    raise ShapeError("outline: too thin to plant; give it a width of a millimetre or more")
