"""Closest hit of a ray with the tree.

Legend: o origin, d direction, t distance, n normal. Box tests in float32 on padded boxes, triangle tests in
float64 with the watertight edge rule of Woop, Benthin & Wald (JCGT 2(1):65, 2013): the edge functions of a shared edge
are computed from the same numbers with opposite sign, so a ray cannot slip between two neighbours.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from underlit.geometry.simd import trailing_zeros
from underlit.geometry.slabs import boxes_met, push, reach, run_of, slabs_of
from underlit.kernel_cache import scalar

MISS = -1


class Tree(NamedTuple):
    """The tree and its triangles, as they travel through the kernels; fields as in `transport.tables.Tables`."""

    node_box: np.ndarray
    node_child: np.ndarray
    corners: np.ndarray
    normals: np.ndarray
    triangles: np.ndarray


class Shear(NamedTuple):
    """A ray in Woop's frame: the axis kz of its largest component becomes its own; o and the shear in the order kx, ky, kz."""

    kx: int
    ky: int
    kz: int
    ox: float
    oy: float
    oz: float
    sx: float
    sy: float
    sz: float


@scalar
def shear_of(o, d):
    """The frame of a ray."""
    ax, ay, az = abs(d[0]), abs(d[1]), abs(d[2])
    if az >= ax and az >= ay:
        s = 1.0 / d[2]
        return Shear(0, 1, 2, o[0], o[1], o[2], d[0] * s, d[1] * s, s)
    if ay >= ax:
        s = 1.0 / d[1]
        return Shear(2, 0, 1, o[2], o[0], o[1], d[2] * s, d[0] * s, s)
    s = 1.0 / d[0]
    return Shear(1, 2, 0, o[1], o[2], o[0], d[1] * s, d[2] * s, s)


@scalar
def distance_to(corners, i, ray):
    """Where a ray (a `Shear`) meets triangle i, t of either sign; NaN where it passes by."""
    a_z = corners[i, ray.kz] - ray.oz
    b_z = corners[i, 3 + ray.kz] - ray.oz
    c_z = corners[i, 6 + ray.kz] - ray.oz
    a_x = (corners[i, ray.kx] - ray.ox) - ray.sx * a_z
    a_y = (corners[i, ray.ky] - ray.oy) - ray.sy * a_z
    b_x = (corners[i, 3 + ray.kx] - ray.ox) - ray.sx * b_z
    b_y = (corners[i, 3 + ray.ky] - ray.oy) - ray.sy * b_z
    c_x = (corners[i, 6 + ray.kx] - ray.ox) - ray.sx * c_z
    c_y = (corners[i, 6 + ray.ky] - ray.oy) - ray.sy * c_z
    u = c_x * b_y - c_y * b_x
    v = a_x * c_y - a_y * c_x
    w = b_x * a_y - b_y * a_x
    if (u < 0.0 or v < 0.0 or w < 0.0) and (u > 0.0 or v > 0.0 or w > 0.0):
        return np.nan
    determinant = u + v + w
    if determinant == 0.0:
        return np.nan
    return ray.sz * (u * a_z + v * b_z + w * c_z) / determinant


@scalar
def descend(tree, slabs, code, t_max, work, top):
    """Follow the nearest child from a node to a run of triangles; the other children met go on the stack, the nearest on top.

    Returns (code of the run, or of a node none of whose children is met; top of the stack).
    """
    while code >= 0:
        node = code
        mask = boxes_met(tree.node_box, node, slabs, t_max, work.t_near)
        if mask == 0:
            break
        k = trailing_zeros(mask)
        mask = np.int32(mask & (mask - 1))
        code, entry = tree.node_child[node, k], work.t_near[k]
        base = top
        while mask != 0:
            k = trailing_zeros(mask)
            mask = np.int32(mask & (mask - 1))
            other, other_entry = tree.node_child[node, k], work.t_near[k]
            if other_entry < entry:
                code, other = other, code
                entry, other_entry = other_entry, entry
            top = push(work, base, top, other, other_entry)
    return code, top


@scalar
def of_another_medium(tree, i, d, medium):
    """Whether triangle i is an interface whose side of arrival lies in another medium than the ray's."""
    n, triangle = tree.normals, tree.triangles[i]
    arriving = n[i, 0] * d[0] + n[i, 1] * d[1] + n[i, 2] * d[2]
    wanted = triangle.front_medium if arriving < 0.0 else triangle.back_medium
    return wanted >= 0 and wanted != medium


@scalar
def closest_in_tree(tree, o, d, skip_group, medium, work, root, bottom, limit):
    """Nearest triangle at t >= 0 that is not of `skip_group` and not an interface to another medium than the ray's.

    d need not be of unit length: t counts in lengths of it. root: node to start from; bottom: first free place of the
    stack; limit: only hits nearer than this count. Returns (t or limit, index in tree order or MISS, passed): passed is 1 if an
    interface of another medium lay nearer.
    """
    best_t, best, best_slot = limit, MISS, -1
    passed_t = np.inf
    ray, slabs = shear_of(o, d), slabs_of(o, d)
    t_max = reach(limit)
    work.code[bottom], work.entry[bottom] = root, np.float32(0.0)
    top = bottom + 1
    while top > bottom:
        top -= 1
        if work.entry[top] > t_max:
            continue
        code, top = descend(tree, slabs, work.code[top], t_max, work, top)
        if code >= 0:
            continue
        first, end = run_of(code)
        for i in range(first, end):
            t = distance_to(tree.corners, i, ray)
            # NaN fails this comparison too
            if not (t >= 0.0 and t <= best_t):
                continue
            triangle = tree.triangles[i]
            if triangle.group == skip_group:
                continue
            slot = triangle.slot
            if t == best_t and slot > best_slot:
                continue
            if of_another_medium(tree, i, d, medium):
                passed_t = min(passed_t, t)
                continue
            best_t, best, best_slot = t, i, slot
            t_max = reach(t)
    return best_t, best, 1 if passed_t < best_t else 0


@scalar
def closest_hit(tree, o, d, skip_group, medium, work):
    """`closest_in_tree` from the first node, without a limit: (t or infinity, index in tree order or MISS, passed)."""
    return closest_in_tree(tree, o, d, skip_group, medium, work, 0, 0, np.inf)
