"""Where the inside of solids is, by counting the surfaces above a point."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(cache=True, error_model="numpy")
def inside_solids(corners, x, y, z):
    """Whether points lie inside closed meshes: corners (n, 9) [m], x (nx,), y (ny,) rising, z (ny, nx) -> (ny, nx) bool.

    Above each point the surfaces that face up are entered from above, those that face down are left: a positive balance
    is inside. Overlapping bodies add up, so their union counts.
    """
    nx, ny = x.shape[0], y.shape[0]
    balance = np.zeros((ny, nx), np.int32)
    for t in range(corners.shape[0]):
        ax, ay, az = corners[t, 0], corners[t, 1], corners[t, 2]
        bx, by, bz = corners[t, 3], corners[t, 4], corners[t, 5]
        cx, cy, cz = corners[t, 6], corners[t, 7], corners[t, 8]
        doubled = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if doubled == 0.0:
            continue
        sign = 1 if doubled > 0.0 else -1
        i0 = np.searchsorted(x, min(ax, bx, cx))
        i1 = np.searchsorted(x, max(ax, bx, cx), side="right")
        j0 = np.searchsorted(y, min(ay, by, cy))
        j1 = np.searchsorted(y, max(ay, by, cy), side="right")
        for j in range(j0, j1):
            for i in range(i0, i1):
                u = ((bx - x[i]) * (cy - y[j]) - (by - y[j]) * (cx - x[i])) * sign
                v = ((cx - x[i]) * (ay - y[j]) - (cy - y[j]) * (ax - x[i])) * sign
                w = ((ax - x[i]) * (by - y[j]) - (ay - y[j]) * (bx - x[i])) * sign
                if u < 0.0 or v < 0.0 or w < 0.0:
                    continue
                total = u + v + w
                if total > 0.0 and (u * az + v * bz + w * cz) / total > z[j, i]:
                    balance[j, i] += sign
    return balance > 0
