"""Stems and leaf stalks as thin three-sided open tubes, many at once."""

from __future__ import annotations

import numpy as np

from underlit.lowering.shapes.shape import FloatArray, Shape, without_degenerate_faces


def tubes(paths: FloatArray, radii: FloatArray) -> Shape:
    """Three-sided tubes along paths (n, p, 3) [m] with radii (n, p) [m], open at both ends, wound outward."""
    count, points = paths.shape[:2]
    if count == 0:
        return Shape(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32), False)
    tangents = np.gradient(paths, axis=1)
    tangents /= np.maximum(np.linalg.norm(tangents, axis=2, keepdims=True), 1e-12)
    # One reference direction per tube, the axis least along it, so that rings do not twist.
    overall = np.abs(paths[:, -1] - paths[:, 0])
    reference = np.eye(3)[np.argmin(overall, axis=1)][:, None]
    first = np.cross(tangents, reference)
    first /= np.maximum(np.linalg.norm(first, axis=2, keepdims=True), 1e-12)
    second = np.cross(tangents, first)
    angles = 2 * np.pi * np.arange(3) / 3
    ring = np.cos(angles)[:, None] * first[:, :, None] + np.sin(angles)[:, None] * second[:, :, None]
    vertices = paths[:, :, None] + radii[:, :, None, None] * ring
    corner = np.arange(count * points * 3).reshape(count, points, 3)
    near, far = corner[:, :-1], corner[:, 1:]
    near_next, far_next = np.roll(near, -1, axis=2), np.roll(far, -1, axis=2)
    faces = np.concatenate(
        [
            np.stack([near, near_next, far_next], axis=-1).reshape(-1, 3),
            np.stack([near, far_next, far], axis=-1).reshape(-1, 3),
        ]
    )
    return Shape(*without_degenerate_faces(vertices.reshape(-1, 3), faces.astype(np.int32)), False)
