"""Closest hit of a ray with the tree.

Legend: o origin, d direction (unit), t distance, n normal. Box tests in float32 on padded boxes, triangle tests in
float64 with the watertight edge rule of Woop, Benthin & Wald (JCGT 2(1):65, 2013): the edge functions of a shared edge
are computed from the same numbers with opposite sign, so a ray cannot slip between two neighbours.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from underlit.geometry.simd import hit_boxes, trailing_zeros

STACK_SIZE = 512
MISS = -1
_TINY = 1e-18


@njit(cache=True)
def make_workspace():
    """Scratch arrays of one thread: stack of codes, stack of entry distances, eight entry distances."""
    return np.empty(STACK_SIZE, np.int32), np.empty(STACK_SIZE, np.float32), np.empty(8, np.float32)


@njit(cache=True, error_model="numpy")
def _inverse(x):
    """1/x with zero kept finite, so that 0 * inf never arises in the slab test."""
    if abs(x) < _TINY:
        return 1.0 / _TINY if x >= 0.0 else -1.0 / _TINY
    return 1.0 / x


@njit(cache=True, error_model="numpy")
def closest_in_tree(
    node_box, node_child, corners, normals, triangles,
    ox, oy, oz, dx, dy, dz, skip_group, medium, stack_code, stack_t, t_near,
    root, bottom, limit,
):  # fmt: skip
    """Nearest triangle at t >= 0 that is not of `skip_group` and not an interface to another medium than the ray's.

    d need not be of unit length: t counts in lengths of it. root: node to start from; bottom: first free place of the
    stack; limit: only hits nearer than this count. Returns (t or limit, index in tree order or MISS, passed): passed is 1 if an
    interface of another medium lay nearer.
    """
    best_t, best, best_slot = limit, MISS, -1
    passed_t = np.inf
    # Woop's shear: the axis of the largest component becomes the ray's own
    ax, ay, az = abs(dx), abs(dy), abs(dz)
    if az >= ax and az >= ay:
        kx, ky, kz = 0, 1, 2
        sz = 1.0 / dz
        sx, sy = dx * sz, dy * sz
        okx, oky, okz = ox, oy, oz
    elif ay >= ax:
        kx, ky, kz = 2, 0, 1
        sz = 1.0 / dy
        sx, sy = dz * sz, dx * sz
        okx, oky, okz = oz, ox, oy
    else:
        kx, ky, kz = 1, 2, 0
        sz = 1.0 / dx
        sx, sy = dy * sz, dz * sz
        okx, oky, okz = oy, oz, ox
    fox, foy, foz = np.float32(ox), np.float32(oy), np.float32(oz)
    fix, fiy, fiz = np.float32(_inverse(dx)), np.float32(_inverse(dy)), np.float32(_inverse(dz))
    near_x = 0 if dx >= 0.0 else 3
    near_y = 1 if dy >= 0.0 else 4
    near_z = 2 if dz >= 0.0 else 5
    t_max = np.float32(min(limit, 3e38)) * np.float32(1.0000003)
    stack_code[bottom], stack_t[bottom] = root, np.float32(0.0)
    top = bottom + 1
    while top > bottom:
        top -= 1
        if stack_t[top] > t_max:
            continue
        code = stack_code[top]
        while code >= 0:
            node = code
            mask = hit_boxes(
                node_box, node, fox, foy, foz, fix, fiy, fiz, near_x, near_y, near_z, t_max, t_near
            )  # fmt: skip
            if mask == 0:
                break
            k = trailing_zeros(mask)
            mask = np.int32(mask & (mask - 1))
            # the nearest child stays in hand, the others go on the stack, sorted, nearest on top
            code, t_code = node_child[node, k], t_near[k]
            base = top
            while mask != 0:
                k = trailing_zeros(mask)
                mask = np.int32(mask & (mask - 1))
                other, t_other = node_child[node, k], t_near[k]
                if t_other < t_code:
                    code, other = other, code
                    t_code, t_other = t_other, t_code
                j = top
                while j > base and stack_t[j - 1] < t_other:
                    stack_t[j] = stack_t[j - 1]
                    stack_code[j] = stack_code[j - 1]
                    j -= 1
                stack_t[j], stack_code[j] = t_other, other
                top += 1
        if code >= 0:
            continue
        run = -1 - code
        first = run >> 3
        for i in range(first, first + (run & 7)):
            a_z = corners[i, kz] - okz
            b_z = corners[i, 3 + kz] - okz
            c_z = corners[i, 6 + kz] - okz
            a_x = (corners[i, kx] - okx) - sx * a_z
            a_y = (corners[i, ky] - oky) - sy * a_z
            b_x = (corners[i, 3 + kx] - okx) - sx * b_z
            b_y = (corners[i, 3 + ky] - oky) - sy * b_z
            c_x = (corners[i, 6 + kx] - okx) - sx * c_z
            c_y = (corners[i, 6 + ky] - oky) - sy * c_z
            u = c_x * b_y - c_y * b_x
            v = a_x * c_y - a_y * c_x
            w = b_x * a_y - b_y * a_x
            if (u < 0.0 or v < 0.0 or w < 0.0) and (u > 0.0 or v > 0.0 or w > 0.0):
                continue
            determinant = u + v + w
            if determinant == 0.0:
                continue
            t = sz * (u * a_z + v * b_z + w * c_z) / determinant
            # NaN fails this comparison too
            if not (t >= 0.0 and t <= best_t):
                continue
            triangle = triangles[i]
            if triangle.group == skip_group:
                continue
            slot = triangle.slot
            if t == best_t and slot > best_slot:
                continue
            arriving = normals[i, 0] * dx + normals[i, 1] * dy + normals[i, 2] * dz
            wanted = triangle.front_medium if arriving < 0.0 else triangle.back_medium
            if wanted >= 0 and wanted != medium:
                passed_t = min(passed_t, t)
                continue
            best_t, best, best_slot = t, i, slot
            t_max = np.float32(t) * np.float32(1.0000003)
    return best_t, best, 1 if passed_t < best_t else 0


@njit(cache=True, error_model="numpy")
def closest_hit(
    node_box, node_child, corners, normals, triangles,
    ox, oy, oz, dx, dy, dz, skip_group, medium, stack_code, stack_t, t_near,
):  # fmt: skip
    """`closest_in_tree` from the first node, without a limit: (t or infinity, index in tree order or MISS, passed)."""
    return closest_in_tree(
        node_box, node_child, corners, normals, triangles,
        ox, oy, oz, dx, dy, dz, skip_group, medium, stack_code, stack_t, t_near, 0, 0, np.inf,
    )  # fmt: skip
