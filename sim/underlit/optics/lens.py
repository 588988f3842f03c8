"""Angles at which a source sends out its photons: the flux between theta and theta + dt goes as I(theta) sin(theta)."""

from __future__ import annotations

import math

from numba import njit


@njit(cache=True)
def cosine_power_cosine(exponent, u):
    """Cosine from the axis for an intensity cos^m: the flux within cos >= c is 1 - c^(m+1)."""
    if exponent == 1.0:
        return math.sqrt(1.0 - u)
    return (1.0 - u) ** (1.0 / (exponent + 1.0))


@njit(cache=True)
def linear_flux(t, t0, t1, i0, i1):
    """Integral from t0 to t of I(t) sin(t), I linear from i0 at t0 to i1 at t1."""
    q = (i1 - i0) / (t1 - t0)
    p = i0 - q * t0
    return (-(p + q * t) * math.cos(t) + q * math.sin(t)) - (-(p + q * t0) * math.cos(t0) + q * math.sin(t0))


@njit(cache=True)
def table_angle(rows, first, count, u):
    """Angle [rad] from a table: rows (theta, intensity, cumulative flux share), intensity linear in between.

    Exact for the interpolated intensity: the interval by its cumulative flux, then the closed-form flux by bisection.
    """
    lo, hi = first, first + count - 1
    while hi - lo > 1:
        middle = (lo + hi) // 2
        if rows[middle, 2] <= u:
            lo = middle
        else:
            hi = middle
    t0, t1, i0, i1 = rows[lo, 0], rows[hi, 0], rows[lo, 1], rows[hi, 1]
    share = rows[hi, 2] - rows[lo, 2]
    if share <= 0.0:
        return t0
    wanted = (u - rows[lo, 2]) / share * linear_flux(t1, t0, t1, i0, i1)
    a, b = t0, t1
    for _ in range(54):
        middle = 0.5 * (a + b)
        if linear_flux(middle, t0, t1, i0, i1) <= wanted:
            a = middle
        else:
            b = middle
    return 0.5 * (a + b)
