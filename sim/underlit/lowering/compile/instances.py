"""Instances of shared meshes into the kernels' tables: one tree a mesh, one tree over the instances."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from underlit.geometry.tree_build import build_tree, build_tree_of_boxes
from underlit.lowering.compiled import LAYERS, Instances, Template
from underlit.lowering.records import Part
from underlit.lowering.shapes.plants.instances import outermost
from underlit.transport.tables import INSTANCE, TRIANGLE


@dataclass
class InstanceTables:
    """Tables of the instances, to be put after those of the plain triangles."""

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
    placed: list[Instances],
    parts: Mapping[Part, int],
    *,
    nodes: int,
    items: int,
    slots: int,
    groups: int,
    extent: float,
) -> InstanceTables:
    """Tables of all instances; parts: number of each whole part; nodes, items, slots, groups: how many of each the
    plain triangles use; extent [m].
    """
    found = InstanceTables([], [], [], [], [], np.zeros(0, INSTANCE), -1, 0)
    if not placed:
        return found
    roots, firsts, group_counts, bounds = {}, {}, {}, {}
    smallest = min(float(c.scales.min()) for c in placed)
    for index in sorted({c.template for c in placed}):
        template = templates[index]
        # rays come from anywhere in the world, in the mesh's own measure
        box, code, order = build_tree(template.corners, 2.0 * extent / smallest)
        roots[index], firsts[index] = nodes, items
        found.boxes.append(box)
        found.children.append(shift_codes(code, nodes, items))
        _add_triangles(found, template, order)
        group_counts[index] = len(order)
        bounds[index] = outermost(template.corners.reshape(-1, 3))
        nodes += len(box)
        items += len(order)
    rows, lows, highs = [], [], []
    for c in placed:
        block = np.zeros(len(c.scales), INSTANCE)
        block["root"], block["part"] = roots[c.template], parts[c.part.whole]
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


def _add_triangles(found: InstanceTables, template: Template, order: np.ndarray) -> None:
    corners = template.corners[order]
    normals = np.cross(corners[:, 3:6] - corners[:, :3], corners[:, 6:] - corners[:, :3])
    rows = np.zeros(len(order), TRIANGLE)
    # each triangle is a plane of its own: leaves are curved
    rows["group"], rows["surface"], rows["slot"] = np.arange(len(order)), template.surface, template.layer[order]
    rows["front_medium"] = rows["back_medium"] = -1
    found.corners.append(corners)
    found.normals.append(normals / np.linalg.norm(normals, axis=1, keepdims=True))
    found.triangles.append(rows)


def _boxes(c: Instances, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    low, high = np.empty((len(c.scales), 3)), np.empty((len(c.scales), 3))
    for i, (rotation, scale, origin) in enumerate(zip(c.rotations, c.scales, c.origins, strict=True)):
        corners = points @ rotation.T * scale + origin
        low[i], high[i] = corners.min(axis=0), corners.max(axis=0)
    return low, high
