"""Build the bounding-volume tree: binary, binned surface-area heuristic (Wald, IEEE RT 2007), folded to eight-wide.

The fold keeps opening the child with the largest box until a node has eight children (Dammertz, Hanika & Keller,
EGSR 2008). Triangles are reordered so that a leaf is a run of them.
"""

from __future__ import annotations

import numpy as np
from numba import njit

WIDTH = 8
LEAF_MAX = 4
_BINS = 16
_COST_BOX = 1.0
_COST_TRIANGLE = 1.2


@njit(cache=True)
def _half_area(lo, hi):
    x, y, z = hi[0] - lo[0], hi[1] - lo[1], hi[2] - lo[2]
    return x * y + y * z + z * x


@njit(cache=True)
def _grow(lo, hi, box_lo, box_hi):
    for a in range(3):
        lo[a] = min(lo[a], box_lo[a])
        hi[a] = max(hi[a], box_hi[a])


@njit(cache=True)
def _best_split(order, first, last, box_lo, box_hi, centre, c_lo, c_hi):
    """Cheapest of the binned splits of order[first:last]: (axis, bin, cost); axis -1 if the centres coincide."""
    best_axis, best_bin, best_cost = -1, -1, np.inf
    counts = np.empty(_BINS, np.int64)
    los = np.empty((_BINS, 3))
    his = np.empty((_BINS, 3))
    right_cost = np.empty(_BINS)
    lo, hi = np.empty(3), np.empty(3)
    for axis in range(3):
        width = c_hi[axis] - c_lo[axis]
        if width <= 0.0:
            continue
        counts[:] = 0
        los[:] = np.inf
        his[:] = -np.inf
        scale = _BINS / width
        for i in range(first, last):
            t = order[i]
            b = min(_BINS - 1, int((centre[t, axis] - c_lo[axis]) * scale))
            counts[b] += 1
            _grow(los[b], his[b], box_lo[t], box_hi[t])
        lo[:], hi[:] = np.inf, -np.inf
        n = 0
        for b in range(_BINS - 1, 0, -1):
            if counts[b] > 0:
                _grow(lo, hi, los[b], his[b])
                n += counts[b]
            right_cost[b] = n * _half_area(lo, hi) if n > 0 else 0.0
        lo[:], hi[:] = np.inf, -np.inf
        n = 0
        for b in range(_BINS - 1):
            if counts[b] > 0:
                _grow(lo, hi, los[b], his[b])
                n += counts[b]
            if n == 0 or n == last - first:
                continue
            cost = n * _half_area(lo, hi) + right_cost[b + 1]
            if cost < best_cost:
                best_axis, best_bin, best_cost = axis, b, cost
    return best_axis, best_bin, best_cost


@njit(cache=True)
def _build_binary(box_lo, box_hi):
    """Binary tree over n boxes (n, 3): child (m, 2) or -1, run (m, 2) = first, last into order, node boxes."""
    n = box_lo.shape[0]
    centre = 0.5 * (box_lo + box_hi)
    order = np.arange(n)
    nodes = 2 * n
    child = np.full((nodes, 2), -1, np.int64)
    run = np.zeros((nodes, 2), np.int64)
    lo = np.empty((nodes, 3))
    hi = np.empty((nodes, 3))
    lo[0], hi[0] = np.inf, -np.inf
    for t in range(n):
        _grow(lo[0], hi[0], box_lo[t], box_hi[t])
    run[0, 1] = n
    used = 1
    stack = np.empty(nodes, np.int64)
    stack[0] = 0
    top = 1
    c_lo, c_hi = np.empty(3), np.empty(3)
    while top > 0:
        top -= 1
        node = stack[top]
        first, last = run[node, 0], run[node, 1]
        count = last - first
        if count <= 1:
            continue
        c_lo[:], c_hi[:] = np.inf, -np.inf
        for i in range(first, last):
            _grow(c_lo, c_hi, centre[order[i]], centre[order[i]])
        axis, cut, cost = _best_split(order, first, last, box_lo, box_hi, centre, c_lo, c_hi)
        area = _half_area(lo[node], hi[node])
        if count <= LEAF_MAX and cost * _COST_TRIANGLE + _COST_BOX * area >= count * _COST_TRIANGLE * area:
            continue
        if axis >= 0:
            scale = _BINS / (c_hi[axis] - c_lo[axis])
            i, j = first, last - 1
            while i <= j:
                t = order[i]
                if min(_BINS - 1, int((centre[t, axis] - c_lo[axis]) * scale)) <= cut:
                    i += 1
                else:
                    order[i], order[j] = order[j], t
                    j -= 1
            middle = i
        else:
            if count <= LEAF_MAX:
                continue
            middle = first + count // 2
        for side in range(2):
            c = used
            used += 1
            child[node, side] = c
            run[c, 0] = first if side == 0 else middle
            run[c, 1] = middle if side == 0 else last
            lo[c], hi[c] = np.inf, -np.inf
            for k in range(run[c, 0], run[c, 1]):
                _grow(lo[c], hi[c], box_lo[order[k]], box_hi[order[k]])
            stack[top] = c
            top += 1
    return child[:used], run[:used], lo[:used], hi[:used], order


@njit(cache=True)
def _fold(child, run, lo, hi, pad):
    """Eight-wide tree from a binary one: boxes (m, 6, 8) float32 grown by pad, codes (m, 8) int32."""
    n = child.shape[0]
    box = np.empty((n, 6, WIDTH), np.float32)
    code = np.zeros((n, WIDTH), np.int32)
    source = np.empty(n, np.int64)
    source[0] = 0
    used, done = 1, 0
    members = np.empty(WIDTH, np.int64)
    while done < used:
        root = source[done]
        size = 1
        members[0] = root
        while size < WIDTH:
            widest, area = -1, -1.0
            for k in range(size):
                m = members[k]
                if child[m, 0] >= 0 and _half_area(lo[m], hi[m]) > area:
                    widest, area = k, _half_area(lo[m], hi[m])
            if widest < 0:
                break
            m = members[widest]
            members[widest] = child[m, 0]
            members[size] = child[m, 1]
            size += 1
        for k in range(WIDTH):
            if k >= size:
                for a in range(3):
                    box[done, a, k] = np.float32(1e30)
                    box[done, a + 3, k] = np.float32(-1e30)
                continue
            m = members[k]
            for a in range(3):
                box[done, a, k] = np.float32(lo[m, a] - pad)
                box[done, a + 3, k] = np.float32(hi[m, a] + pad)
            if child[m, 0] >= 0:
                code[done, k] = used
                source[used] = m
                used += 1
            else:
                code[done, k] = -1 - (run[m, 0] * 8 + run[m, 1] - run[m, 0])
        done += 1
    return box[:used].copy(), code[:used].copy()


def build_tree(corners: np.ndarray, extent: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Tree over triangles.

    corners: (n, 9) float64 [m]; extent: largest absolute coordinate that a ray may start from [m]. Returns
    (node_box (m, 6, 8) float32, node_child (m, 8) int32, order (n,) int64: new position -> old index).
    The boxes are padded by 2^-19 of the extent: the float32 slab test errs by less than 7 * 2^-24 of it, so it never
    misses a triangle that the float64 test would hit.
    """
    points = np.ascontiguousarray(corners, dtype=np.float64).reshape(-1, 3, 3)
    box_lo, box_hi = np.ascontiguousarray(points.min(axis=1)), np.ascontiguousarray(points.max(axis=1))
    child, run, lo, hi, order = _build_binary(box_lo, box_hi)
    box, code = _fold(child, run, lo, hi, extent * 2.0**-19)
    return box, code, order
