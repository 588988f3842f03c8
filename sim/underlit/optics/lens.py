"""Angles at which a source sends out its photons: the flux between theta and theta + dt goes as I(theta) sin(theta)."""

from __future__ import annotations

import math

from underlit.kernel_cache import scalar

BISECTIONS = 54
"""Halvings after which an angle is found to the last bit."""


@scalar
def cosine_power_cosine(exponent, u):
    """Cosine from the axis for an intensity cos^m: the flux within cos >= c is 1 - c^(m+1)."""
    if exponent == 1.0:
        return math.sqrt(1.0 - u)
    return (1.0 - u) ** (1.0 / (exponent + 1.0))


@scalar
def linear_flux(t, t0, t1, i0, i1):
    """Integral from t0 to t of I(t) sin(t), I linear from i0 at t0 to i1 at t1."""
    q = (i1 - i0) / (t1 - t0)
    p = i0 - q * t0
    return (-(p + q * t) * math.cos(t) + q * math.sin(t)) - (-(p + q * t0) * math.cos(t0) + q * math.sin(t0))


@scalar
def invert_flux(flux, t0, t1, i0, i1):
    """The angle t between t0 and t1 at which `linear_flux` from t0 reaches `flux`, by bisection."""
    low, high = t0, t1
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        if linear_flux(middle, t0, t1, i0, i1) <= flux:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@scalar
def interval(cumulative, first, count, u):
    """The last but the final of `count` rising values from `first` on that is not above u: its index."""
    low, high = first, first + count - 1
    while high - low > 1:
        middle = (low + high) // 2
        if cumulative[middle] <= u:
            low = middle
        else:
            high = middle
    return low


@scalar
def table_angle(rows, first, count, u):
    """Angle [rad] from a table: rows (theta, intensity, cumulative flux share), intensity linear in between.

    Exact for the interpolated intensity: the interval by its cumulative flux, then the closed-form flux by bisection.
    """
    k = interval(rows[:, 2], first, count, u)
    t0, t1, i0, i1 = rows[k, 0], rows[k + 1, 0], rows[k, 1], rows[k + 1, 1]
    share = rows[k + 1, 2] - rows[k, 2]
    if share <= 0.0:
        return t0
    return invert_flux((u - rows[k, 2]) / share * linear_flux(t1, t0, t1, i0, i1), t0, t1, i0, i1)
