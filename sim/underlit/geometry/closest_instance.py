"""Closest hit among placed copies of shared meshes: a tree over the copies, and in each the tree of its mesh.

A copy is a turn, a uniform scale and a shift of a mesh that is kept once. The ray is taken into the mesh's own frame; with the
direction scaled alike, t means the same there as outside.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from underlit.geometry.closest_hit import MISS, _inverse, closest_in_tree
from underlit.geometry.simd import hit_boxes, trailing_zeros


@njit(cache=True, error_model="numpy")
def into_copy(rotation, scale, x, y, z):
    """A vector of the world in a copy's own frame: the turn undone, over the scale."""
    return (
        (rotation[0, 0] * x + rotation[1, 0] * y + rotation[2, 0] * z) / scale,
        (rotation[0, 1] * x + rotation[1, 1] * y + rotation[2, 1] * z) / scale,
        (rotation[0, 2] * x + rotation[1, 2] * y + rotation[2, 2] * z) / scale,
    )


@njit(cache=True, error_model="numpy")
def closest_instance(
    node_box, node_child, corners, normals, triangles, instances, root,
    ox, oy, oz, dx, dy, dz, skip_group, medium, stack_code, stack_t, t_near,
):  # fmt: skip
    """Nearest hit among copies: (t or infinity, triangle or MISS, copy or -1). root: node over the copies."""
    best_t, best, best_copy = np.inf, MISS, -1
    fox, foy, foz = np.float32(ox), np.float32(oy), np.float32(oz)
    fix, fiy, fiz = np.float32(_inverse(dx)), np.float32(_inverse(dy)), np.float32(_inverse(dz))
    near_x = 0 if dx >= 0.0 else 3
    near_y = 1 if dy >= 0.0 else 4
    near_z = 2 if dz >= 0.0 else 5
    t_max = np.float32(3e38)
    stack_code[0], stack_t[0] = root, np.float32(0.0)
    top = 1
    while top > 0:
        top -= 1
        code = stack_code[top]
        if stack_t[top] > t_max:
            continue
        if code >= 0:
            mask = hit_boxes(
                node_box, code, fox, foy, foz, fix, fiy, fiz, near_x, near_y, near_z, t_max, t_near
            )  # fmt: skip
            base = top
            while mask != 0:
                k = trailing_zeros(mask)
                mask = np.int32(mask & (mask - 1))
                tk = t_near[k]
                j = top
                while j > base and stack_t[j - 1] < tk:
                    stack_t[j], stack_code[j] = stack_t[j - 1], stack_code[j - 1]
                    j -= 1
                stack_t[j], stack_code[j] = tk, node_child[code, k]
                top += 1
            continue
        run = -1 - code
        first = run >> 3
        for i in range(first, first + (run & 7)):
            copy = instances[i]
            px, py, pz = into_copy(
                copy.rotation, copy.scale, ox - copy.origin[0], oy - copy.origin[1], oz - copy.origin[2]
            )
            qx, qy, qz = into_copy(copy.rotation, copy.scale, dx, dy, dz)
            t, hit, _ = closest_in_tree(
                node_box, node_child, corners, normals, triangles,
                px, py, pz, qx, qy, qz, skip_group - copy.group, medium, stack_code, stack_t, t_near,
                copy.root, top, best_t,
            )  # fmt: skip
            if hit != MISS:
                best_t, best, best_copy = t, hit, i
                t_max = np.float32(t) * np.float32(1.0000003)
    return best_t, best, best_copy
