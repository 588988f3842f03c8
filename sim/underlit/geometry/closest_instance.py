"""Closest hit among instances of shared meshes: a tree over the instances, and in each the tree of its mesh.

An instance is a turn, a uniform scale and a shift of a mesh that is kept once. The ray is taken into the mesh's own frame; with
the direction scaled alike, t means the same there as outside.
"""

from __future__ import annotations

import numpy as np

from underlit.geometry.closest_hit import MISS, closest_in_tree
from underlit.geometry.simd import trailing_zeros
from underlit.geometry.slabs import boxes_met, push, reach, run_of, slabs_of
from underlit.kernel_cache import scalar


@scalar
def into_instance(instance, v):
    """A vector of the world in an instance's own frame: the turn undone, over the scale."""
    r, scale = instance.rotation, instance.scale
    return (
        (r[0, 0] * v[0] + r[1, 0] * v[1] + r[2, 0] * v[2]) / scale,
        (r[0, 1] * v[0] + r[1, 1] * v[1] + r[2, 1] * v[2]) / scale,
        (r[0, 2] * v[0] + r[1, 2] * v[1] + r[2, 2] * v[2]) / scale,
    )


@scalar
def out_of_instance(instance, v):
    """A vector of an instance's own frame in the world, turned only."""
    r = instance.rotation
    return (
        r[0, 0] * v[0] + r[0, 1] * v[1] + r[0, 2] * v[2],
        r[1, 0] * v[0] + r[1, 1] * v[1] + r[1, 2] * v[2],
        r[2, 0] * v[0] + r[2, 1] * v[1] + r[2, 2] * v[2],
    )


@scalar
def closest_instance(tree, instances, root, o, d, skip_group, medium, work):
    """Nearest hit among instances: (t or infinity, triangle or MISS, instance or -1). root: node over the instances."""
    best_t, best, best_instance = np.inf, MISS, -1
    slabs, t_max = slabs_of(o, d), reach(np.inf)
    work.code[0], work.entry[0] = root, np.float32(0.0)
    top = 1
    while top > 0:
        top -= 1
        code = work.code[top]
        if work.entry[top] > t_max:
            continue
        if code >= 0:
            mask = boxes_met(tree.node_box, code, slabs, t_max, work.t_near)
            base = top
            while mask != 0:
                k = trailing_zeros(mask)
                mask = np.int32(mask & (mask - 1))
                top = push(work, base, top, tree.node_child[code, k], work.t_near[k])
            continue
        first, end = run_of(code)
        for i in range(first, end):
            instance = instances[i]
            at = instance.origin
            p = into_instance(instance, (o[0] - at[0], o[1] - at[1], o[2] - at[2]))
            q = into_instance(instance, d)
            skip = skip_group - instance.group
            t, hit, _ = closest_in_tree(tree, p, q, skip, medium, work, instance.root, top, best_t)
            if hit != MISS:
                best_t, best, best_instance = t, hit, i
                t_max = reach(t)
    return best_t, best, best_instance
