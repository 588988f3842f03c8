"""Build the bounding-volume tree: binary, binned surface-area heuristic (Wald, IEEE RT 2007), folded to eight-wide.

Which nodes of the binary tree become the children of a wide one, and which become leaves, is the cheapest choice by
the surface-area heuristic, found by dynamic programming (Ylitie, Karras & Laine, HPG 2017). Triangles are reordered so
that a leaf is a run of them; wide nodes lie depth first, so that a node's near relations share its cache lines.
"""

from __future__ import annotations

import numpy as np
from numba import njit

WIDTH = 8
LEAF_MAX = 4
_BINS = 16
_COST_NODE = 1.0
_COST_TRIANGLE = 0.4


@njit(cache=True)
def _half_area(lo, hi):
    x, y, z = hi[0] - lo[0], hi[1] - lo[1], hi[2] - lo[2]
    return x * y + y * z + z * x


@njit(cache=True)
def _empty(lo, hi):
    """Make a box empty."""
    for a in range(3):
        lo[a], hi[a] = np.inf, -np.inf


@njit(cache=True)
def _grow(lo, hi, box_lo, box_hi):
    for a in range(3):
        lo[a] = min(lo[a], box_lo[a])
        hi[a] = max(hi[a], box_hi[a])


@njit(cache=True)
def _best_split(order, first, last, box_lo, box_hi, centre, c_lo, c_hi):
    """Cheapest of the binned splits of order[first:last]: (axis, bin); axis -1 if the centres coincide."""
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
        for b in range(_BINS):
            counts[b] = 0
            _empty(los[b], his[b])
        scale = _BINS / width
        for i in range(first, last):
            t = order[i]
            b = min(_BINS - 1, int((centre[t, axis] - c_lo[axis]) * scale))
            counts[b] += 1
            _grow(los[b], his[b], box_lo[t], box_hi[t])
        _empty(lo, hi)
        n = 0
        for b in range(_BINS - 1, 0, -1):
            if counts[b] > 0:
                _grow(lo, hi, los[b], his[b])
                n += counts[b]
            right_cost[b] = n * _half_area(lo, hi) if n > 0 else 0.0
        _empty(lo, hi)
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
    return best_axis, best_bin


@njit(cache=True)
def _build_binary(box_lo, box_hi):
    """Binary tree over n boxes (n, 3), one box a leaf: child (m, 2) or -1, run (m, 2) (first, last), boxes."""
    n = box_lo.shape[0]
    centre = 0.5 * (box_lo + box_hi)
    order = np.arange(n)
    nodes = 2 * n
    child = np.full((nodes, 2), -1, np.int64)
    run = np.zeros((nodes, 2), np.int64)
    lo = np.empty((nodes, 3))
    hi = np.empty((nodes, 3))
    _empty(lo[0], hi[0])
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
        _empty(c_lo, c_hi)
        for i in range(first, last):
            _grow(c_lo, c_hi, centre[order[i]], centre[order[i]])
        axis, cut = _best_split(order, first, last, box_lo, box_hi, centre, c_lo, c_hi)
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
            middle = first + count // 2
        for side in range(2):
            c = used
            used += 1
            child[node, side] = c
            run[c, 0] = first if side == 0 else middle
            run[c, 1] = middle if side == 0 else last
            _empty(lo[c], hi[c])
            for k in range(run[c, 0], run[c, 1]):
                _grow(lo[c], hi[c], box_lo[order[k]], box_hi[order[k]])
            stack[top] = c
            top += 1
    return child[:used], run[:used], lo[:used], hi[:used], order


@njit(cache=True)
def _cheapest_forests(child, run, lo, hi):
    """Cost of standing for each binary node with at most i + 1 wide children or leaves, and how.

    Returns choice (m, WIDTH) int8. choice[n, 0]: 0 leaf, 1 wide node of its own. choice[n, i]: how many of i + 1 places
    go to the first child (the rest to the second); 0: one place fewer does as well.
    """
    n = child.shape[0]
    cost = np.empty((n, WIDTH))
    choice = np.zeros((n, WIDTH), np.int8)
    # children come after their parents
    for node in range(n - 1, -1, -1):
        area = _half_area(lo[node], hi[node])
        count = run[node, 1] - run[node, 0]
        as_leaf = area * count * _COST_TRIANGLE if count <= LEAF_MAX else np.inf
        a, b = child[node, 0], child[node, 1]
        if a < 0:
            for i in range(WIDTH):
                cost[node, i] = as_leaf
            continue
        for i in range(1, WIDTH):
            cost[node, i] = np.inf
            for k in range(1, i + 1):
                c = cost[a, k - 1] + cost[b, i - k]
                if c < cost[node, i]:
                    cost[node, i] = c
                    choice[node, i] = k
        as_node = cost[node, WIDTH - 1] + area * _COST_NODE
        choice[node, 0] = 1 if as_node < as_leaf else 0
        cost[node, 0] = min(as_node, as_leaf)
        for i in range(1, WIDTH):
            if cost[node, i - 1] <= cost[node, i]:
                cost[node, i] = cost[node, i - 1]
                choice[node, i] = 0
    return choice


@njit(cache=True)
def _members(root, child, choice, found, places):
    """Binary nodes that the wide node of `root` has as its children, into found (WIDTH,); returns how many."""
    found[0], places[0] = root, WIDTH
    size, k = 1, 0
    if choice[root, 0] == 0:
        # a whole world of a few triangles
        return size
    while k < size:
        m, i = found[k], places[k] - 1
        # the root has all places, so it is never taken for a child of its own
        while i > 0 and choice[m, i] == 0:
            i -= 1
        if i == 0:
            k += 1
            continue
        first = choice[m, i]
        found[k], places[k] = child[m, 0], first
        found[size], places[size] = child[m, 1], i + 1 - first
        size += 1
    return size


@njit(cache=True)
def _fold(child, run, lo, hi, pad):
    """Eight-wide tree from a binary one: boxes (m, 6, 8) float32 grown by pad, codes (m, 8) int32."""
    choice = _cheapest_forests(child, run, lo, hi)
    n = child.shape[0]
    box = np.empty((n, 6, WIDTH), np.float32)
    # an empty place is an empty leaf: even a ray without a direction comes to an end
    code = np.full((n, WIDTH), -1, np.int32)
    found, places = np.empty(WIDTH, np.int64), np.empty(WIDTH, np.int64)
    # binary nodes that wait to become wide ones, and where their number is wanted
    waiting, parent, place = np.zeros(n, np.int64), np.zeros(n, np.int64), np.zeros(n, np.int64)
    top, used = 1, 0
    while top > 0:
        top -= 1
        code[parent[top], place[top]] = used
        size = _members(waiting[top], child, choice, found, places)
        for k in range(WIDTH):
            m = found[min(k, size - 1)]
            for a in range(3):
                # an empty place is a box that no ray enters
                box[used, a, k] = np.float32(lo[m, a] - pad if k < size else 1e30)
                box[used, a + 3, k] = np.float32(hi[m, a] + pad if k < size else -1e30)
            if k >= size:
                continue
            if choice[m, 0] == 1:
                waiting[top], parent[top], place[top] = m, used, k
                top += 1
            else:
                code[used, k] = -1 - (run[m, 0] * 8 + run[m, 1] - run[m, 0])
        used += 1
    return box[:used].copy(), code[:used].copy()


def build_tree(corners: np.ndarray, extent: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Tree over triangles.

    corners: (n, 9) float64 [m]; extent: largest absolute coordinate that a ray may start from [m]. Returns
    (node_box (m, 6, 8) float32, node_child (m, 8) int32, order (n,) int64: new position -> old index).
    The boxes are padded by 2^-19 of the extent: the float32 slab test errs by less than 7 * 2^-24 of it, so it never
    misses a triangle that the float64 test would hit.
    """
    points = np.ascontiguousarray(corners, dtype=np.float64).reshape(-1, 3, 3)
    return build_tree_of_boxes(points.min(axis=1), points.max(axis=1), extent)


def build_tree_of_boxes(low: np.ndarray, high: np.ndarray, extent: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Tree over boxes low, high (n, 3) float64 [m]; otherwise as `build_tree`."""
    box_lo, box_hi = np.ascontiguousarray(low, dtype=np.float64), np.ascontiguousarray(high, dtype=np.float64)
    child, run, lo, hi, order = _build_binary(box_lo, box_hi)
    box, code = _fold(child, run, lo, hi, extent * 2.0**-19)
    return box, code, order
