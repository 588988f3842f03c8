"""Putting a shape where it belongs, and cutting off what would stick through the glass."""

from __future__ import annotations

from dataclasses import replace

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


def place(
    shape: Shape,
    position: tuple[float, float, float] | FloatArray,
    turn_deg: float = 0.0,
    tilt_deg: tuple[float, float] = (0.0, 0.0),
    scale: float = 1.0,
) -> Shape:
    """The shape scaled, then tilted about its x and y axes, then turned about z (counter-clockwise from above), then
    moved.

    position: (3,) [m], where the shape's origin goes; tilt_deg: about x (its back rises), then about y. Raises
    ShapeError.
    """
    numbers = np.array([*position, turn_deg, *tilt_deg, scale], dtype=np.float64)
    if numbers.shape != (7,) or not np.isfinite(numbers).all():
        raise ShapeError("place: position (3), turn, tilt (2) and scale must be finite numbers")
    if scale <= 0:
        raise ShapeError(f"place: scale {scale:g} would turn the shape inside out or to nothing; give a number above 0")
    about_x, about_y, about_z = (_rotation(axis, angle) for axis, angle in zip((0, 1, 2), (*tilt_deg, turn_deg)))
    matrix = scale * (about_z @ about_y @ about_x)
    moved = np.einsum("ij,kj->ik", shape.vertices, matrix) + np.asarray(position, dtype=np.float64)
    return _tidied(replace(shape, vertices=moved))


def _tidied(shape: Shape) -> Shape:
    """The shape without triangles that scaling made degenerate."""
    from underlit.lowering.shapes.solids import without_flat_faces

    if face_areas(shape.vertices, shape.faces).min(initial=np.inf) > SMALLEST_AREA_M2:
        return shape
    tidy = without_flat_faces if shape.closed else without_degenerate_faces
    vertices, faces = tidy(shape.vertices, shape.faces)
    return replace(shape, vertices=vertices, faces=faces, closed=shape.closed and is_closed(faces))


def _rotation(axis: int, degrees: float) -> FloatArray:
    # Quarter turns stay exact, so that a box turned by 90 degrees keeps its faces flat on the glass.
    quarter = degrees / 90.0
    angle = np.deg2rad(degrees)
    cos, sin = np.cos(angle), np.sin(angle)
    if quarter == round(quarter):
        cos, sin = (1.0, 0.0, -1.0, 0.0)[int(quarter) % 4], (0.0, 1.0, 0.0, -1.0)[int(quarter) % 4]
    matrix = np.eye(3)
    first, second = (axis + 1) % 3, (axis + 2) % 3
    matrix[first, first] = matrix[second, second] = cos
    matrix[first, second], matrix[second, first] = -sin, sin
    return matrix


def clip_to_tank(shape: Shape, length: float, depth: float, height: float, margin: float = 1e-4) -> tuple[Shape, float]:
    """The part of a shape inside the tank, and the share of its surface that was cut off (0 to 1, caps not counted).

    length, depth, height: inside measures [m] along x, y, z (height may be infinite); margin: distance kept to the
    glass [m]. Solids are closed again where they are cut; open sheets are not. Raises ShapeError when nothing is left.
    """
    low = np.full(3, margin)
    high = np.array([length, depth, height], dtype=np.float64) - margin
    if not (np.isfinite(margin) and (high > low).all()):
        raise ShapeError(f"clip_to_tank: a tank of {length:g} x {depth:g} x {height:g} m has no inside")
    bounds = shape.bounds
    if (bounds[0] >= low).all() and (bounds[1] <= high).all():
        return shape, 0.0
    if (bounds[1] <= low).any() or (bounds[0] >= high).any():
        raise ShapeError(f"{_where(bounds, length, depth, height)}; move it inside")
    high = np.minimum(high, np.maximum(bounds[1], low) + 1.0)
    # What is left of the original surface is measured on the cut sheet, so that caps never enter the share.
    sheet = cut_to_box(shape.vertices, shape.faces, low, high)
    left = float(face_areas(*sheet).sum())
    if left <= 0.0:
        raise ShapeError(f"{_where(bounds, length, depth, height)}; move it inside")
    share = min(max(1.0 - left / shape.area_m2, 0.0), 1.0)
    if not shape.closed:
        return Shape(*without_degenerate_faces(*sheet), False, shape.note), share
    return _cut_solid(shape, low, high, sheet), share


def _where(bounds: FloatArray, length: float, depth: float, height: float) -> str:
    spans = " x ".join(f"{a * 100:.1f} to {b * 100:.1f}" for a, b in bounds.T)
    tank = f"{length * 100:g} x {depth * 100:g} x {height * 100:g}"
    return f"lies wholly outside the tank: it spans {spans} cm, the tank {tank} cm"


def _cut_solid(shape: Shape, low: FloatArray, high: FloatArray, sheet: tuple[FloatArray, IntArray]) -> Shape:
    """The solid's part inside the box, closed by caps; by ever simpler means where the mesh is not a proper body."""
    import manifold3d

    from underlit.lowering.shapes.solids import from_manifold, to_manifold

    try:
        body = to_manifold(shape)
        box = manifold3d.Manifold.cube((high - low).tolist()).translate(low.tolist())
        cut = from_manifold(body ^ box, shape.note)
        if len(cut.faces):
            snapped = np.clip(cut.vertices, low, high)
            return replace(cut, vertices=snapped)
    except ShapeError:
        pass
    capped = _cut_with_caps(shape, low, high)
    if capped is not None:
        return capped
    note = "; ".join(
        filter(None, [shape.note, "cut open at the glass: the mesh is not a proper solid, so it could not be capped"])
    )
    return Shape(*without_degenerate_faces(*sheet), False, note)


def _cut_with_caps(shape: Shape, low: FloatArray, high: FloatArray) -> Shape | None:
    """The same through trimesh's plane cuts, or None where they fail too."""
    import trimesh

    mesh = trimesh.Trimesh(shape.vertices, shape.faces, process=False)
    try:
        for axis in range(3):
            for side, bound in ((1.0, low), (-1.0, high)):
                normal = np.zeros(3)
                normal[axis] = side
                mesh = mesh.slice_plane(bound, normal, cap=True)
    except (ValueError, IndexError, ImportError, AttributeError):
        return None
    vertices, faces = without_degenerate_faces(np.asarray(mesh.vertices), np.asarray(mesh.faces))
    if len(faces) == 0 or not is_closed(faces):
        return None
    return Shape(vertices, faces, True, shape.note)


def cut_to_box(vertices: FloatArray, faces: IntArray, low: FloatArray, high: FloatArray) -> tuple[FloatArray, IntArray]:
    """Triangles cut at the six planes of a box, without caps; cut edges keep shared vertices."""
    for axis in range(3):
        for sign, bound in ((1.0, low[axis]), (-1.0, -high[axis])):
            vertices, faces = _cut_at_plane(vertices, faces, axis, sign, bound)
            if len(faces) == 0:
                return vertices, faces
    return without_unused_vertices(vertices, faces)


def _cut_at_plane(
    vertices: FloatArray, faces: IntArray, axis: int, sign: float, bound: float
) -> tuple[FloatArray, IntArray]:
    """What lies at sign * coordinate >= bound."""
    above = sign * vertices[:, axis] - bound
    kept = (above >= 0)[faces]
    count = kept.sum(axis=1)
    whole, crossing = faces[count == 3], faces[(count == 1) | (count == 2)]
    if len(crossing) == 0:
        return vertices, whole
    inner = kept[(count == 1) | (count == 2)]
    # Turn each crossed triangle so that its odd corner comes first: the one kept, or the one cut off.
    alone = inner.sum(axis=1) == 1
    odd = np.where(alone, inner.argmax(axis=1), (~inner).argmax(axis=1))
    a, b, c = np.take_along_axis(crossing, (odd[:, None] + np.arange(3)) % 3, axis=1).T
    edges = np.sort(np.stack([np.stack([a, b], axis=1), np.stack([a, c], axis=1)]), axis=2)
    unique, which = np.unique(edges.reshape(-1, 2), axis=0, return_inverse=True)
    start, end = vertices[unique[:, 0]], vertices[unique[:, 1]]
    part = above[unique[:, 0]] / (above[unique[:, 0]] - above[unique[:, 1]])
    fresh = start + part[:, None] * (end - start)
    fresh[:, axis] = sign * bound
    on_ab, on_ac = (which.reshape(2, -1) + len(vertices)).astype(np.int64)
    tips = np.stack([a, on_ab, on_ac], axis=1)[alone]
    stumps = np.concatenate([np.stack([on_ab, b, c], axis=1)[~alone], np.stack([on_ab, c, on_ac], axis=1)[~alone]])
    return np.concatenate([vertices, fresh]), np.concatenate([whole, tips, stumps]).astype(np.int32)
