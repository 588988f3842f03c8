"""Placed copies of shared meshes into the kernels' tables: one tree a mesh, one tree over the copies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from underlit.geometry.tree_build import build_tree, build_tree_of_boxes
from underlit.lowering.world import LAYERS, Instances, Mesh, Role, Template
from underlit.transport.tables import INSTANCE, TRIANGLE


@dataclass
class Copied:
    """Tables of the copies, to be put after those of the plain triangles."""

    boxes: list[np.ndarray]
    children: list[np.ndarray]
    corners: list[np.ndarray]
    normals: list[np.ndarray]
    triangles: list[np.ndarray]
    instances: np.ndarray
    root: int
    slots: int


def shift_codes(code: np.ndarray, nodes: int, items: int) -> np.ndarray:
    """Child codes of a tree that is put after `nodes` nodes and `items` items of others."""
    return np.where(code >= 0, code + nodes, code - 8 * items).astype(np.int32)


def compile_instances(
    templates: list[Template],
    copies: list[Instances],
    *,
    nodes: int,
    items: int,
    slots: int,
    groups: int,
    extent: float,
) -> Copied:
    """Tables of all copies. nodes, items, slots, groups: how many of each the plain triangles use; extent [m]."""
    found = Copied([], [], [], [], [], np.zeros(0, INSTANCE), -1, 0)
    if not copies:
        return found
    roots, firsts, group_counts, bounds = {}, {}, {}, {}
    smallest = min(float(c.scales.min()) for c in copies)
    for index in sorted({c.template for c in copies}):
        template = templates[index]
        # rays come from anywhere in the world, in the mesh's own measure
        box, code, order = build_tree(template.corners, 2.0 * extent / smallest)
        roots[index], firsts[index] = nodes, items
        found.boxes.append(box)
        found.children.append(shift_codes(code, nodes, items))
        _add_triangles(found, template, order)
        group_counts[index] = len(order)
        points = template.corners.reshape(-1, 3)
        bounds[index] = points[_hull(points)]
        nodes += len(box)
        items += len(order)
    rows, lows, highs = [], [], []
    for c in copies:
        block = np.zeros(len(c.scales), INSTANCE)
        block["root"], block["part"] = roots[c.template], c.part
        block["first"], block["count"] = firsts[c.template], group_counts[c.template]
        block["group"] = groups + np.arange(len(block)) * group_counts[c.template]
        block["slot"] = slots + found.slots + np.arange(len(block)) * LAYERS
        block["scale"], block["origin"], block["rotation"] = c.scales, c.origins, c.rotations
        groups += len(block) * group_counts[c.template]
        found.slots += len(block) * LAYERS
        low, high = _boxes(c, bounds[c.template])
        rows.append(block)
        lows.append(low)
        highs.append(high)
    box, code, order = build_tree_of_boxes(np.concatenate(lows), np.concatenate(highs), extent)
    found.boxes.append(box)
    found.children.append(shift_codes(code, nodes, 0))
    found.instances = np.ascontiguousarray(np.concatenate(rows)[order])
    found.root = nodes
    return found


def _add_triangles(found: Copied, template: Template, order: np.ndarray) -> None:
    corners = template.corners[order]
    normals = np.cross(corners[:, 3:6] - corners[:, :3], corners[:, 6:] - corners[:, :3])
    rows = np.zeros(len(order), TRIANGLE)
    # each triangle is a plane of its own: leaves are curved
    rows["group"], rows["surface"], rows["slot"] = np.arange(len(order)), template.surface, template.layer[order]
    rows["front_medium"] = rows["back_medium"] = -1
    found.corners.append(corners)
    found.normals.append(normals / np.linalg.norm(normals, axis=1, keepdims=True))
    found.triangles.append(rows)


def _hull(points: np.ndarray) -> np.ndarray:
    """Indices of points among which every extreme one is: the convex hull, or all of a flat or small set."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        return ConvexHull(points).vertices if len(points) > 50 else np.arange(len(points))
    except QhullError:
        return np.arange(len(points))


def _boxes(c: Instances, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    low, high = np.empty((len(c.scales), 3)), np.empty((len(c.scales), 3))
    for i, (rotation, scale, origin) in enumerate(zip(c.rotations, c.scales, c.origins, strict=True)):
        placed = points @ rotation.T * scale + origin
        low[i], high[i] = placed.min(axis=0), placed.max(axis=0)
    return low, high


def as_mesh(name: str, copies: Sequence[Instances], templates: Sequence[Template], first_slot: int) -> Mesh:
    """All copies of a part as one mesh, for drawing and for areas: the only place where they are written out."""
    vertices, slots = [], []
    next_slot = first_slot
    for c in copies:
        template = templates[c.template]
        corners = template.corners.reshape(-1, 3)
        placed = np.einsum("nij,kj->nki", c.rotations, corners) * c.scales[:, None, None] + c.origins[:, None]
        vertices.append(placed.reshape(-1, 3))
        slots.append((next_slot + np.arange(len(c.scales))[:, None] * LAYERS + template.layer[None]).ravel())
        next_slot += len(c.scales) * LAYERS
    points = np.concatenate(vertices)
    faces = np.arange(len(points), dtype=np.int32).reshape(-1, 3)
    surface = templates[copies[0].template].surface
    return Mesh(name, points, faces, first_slot, surface, Role(copies[0].role), np.concatenate(slots).astype(np.int64))
