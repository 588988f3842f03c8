"""A ray against the eight boxes of a node, and the stack of nodes still to visit; for trees of triangles and of instances.

Box tests are in float32 on padded boxes. Legend: o origin, d direction.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from underlit.geometry.simd import hit_boxes
from underlit.kernel_cache import scalar

STACK_SIZE = 512
_TINY = 1e-18
_LARGEST = 3e38
_ROUNDED_UP = np.float32(1.0000003)


class Work(NamedTuple):
    """Scratch arrays of one thread."""

    code: np.ndarray  # (STACK_SIZE,) int32: child codes of the nodes still to visit
    entry: np.ndarray  # (STACK_SIZE,) float32: where the ray enters them
    t_near: np.ndarray  # (8,) float32: where the ray enters the children of a node


class Slabs(NamedTuple):
    """A ray as the box test takes it, float32; near_x, near_y, near_z: row of the plane met first on each axis."""

    ox: float
    oy: float
    oz: float
    ix: float
    iy: float
    iz: float
    near_x: int
    near_y: int
    near_z: int


@njit(cache=True, error_model="numpy")
def make_workspace():
    """Scratch arrays of one thread."""
    return Work(np.empty(STACK_SIZE, np.int32), np.empty(STACK_SIZE, np.float32), np.empty(8, np.float32))


@scalar
def inverse(x):
    """1/x with zero kept finite, so that 0 * inf never arises in the slab test."""
    if abs(x) < _TINY:
        return 1.0 / _TINY if x >= 0.0 else -1.0 / _TINY
    return 1.0 / x


@scalar
def slabs_of(o, d):
    """A ray as the box test takes it."""
    return Slabs(
        np.float32(o[0]), np.float32(o[1]), np.float32(o[2]),
        np.float32(inverse(d[0])), np.float32(inverse(d[1])), np.float32(inverse(d[2])),
        0 if d[0] >= 0.0 else 3, 1 if d[1] >= 0.0 else 4, 2 if d[2] >= 0.0 else 5,
    )  # fmt: skip


@scalar
def reach(t):
    """A distance as a float32 that is surely not below it."""
    return np.float32(min(t, _LARGEST)) * _ROUNDED_UP


@scalar
def boxes_met(node_box, node, slabs, t_max, t_near):
    """The children of a node that the ray enters before t_max, a bit each; where, into t_near."""
    return hit_boxes(
        node_box, node, slabs.ox, slabs.oy, slabs.oz, slabs.ix, slabs.iy, slabs.iz, slabs.near_x, slabs.near_y, slabs.near_z,
        t_max, t_near,
    )  # fmt: skip


@scalar
def push(work, base, top, code, entry):
    """Put a node on the stack, sorted in among those from `base` on, the nearest on top; returns the new top."""
    j = top
    while j > base and work.entry[j - 1] < entry:
        work.entry[j] = work.entry[j - 1]
        work.code[j] = work.code[j - 1]
        j -= 1
    work.entry[j], work.code[j] = entry, code
    return top + 1


@scalar
def run_of(code):
    """The items of a leaf from its (negative) code: (first, one past the last)."""
    run = -1 - code
    first = run >> 3
    return first, first + (run & 7)
