"""Orthonormal frames round a direction (Duff et al., Building an Orthonormal Basis, Revisited, JCGT 6(1):1, 2017)."""

from __future__ import annotations

import math

from numba import njit


@njit(cache=True, error_model="numpy")
def frame(x, y, z):
    """Two unit vectors a, b with (a, b, (x, y, z)) right-handed, for a unit vector; returned as six floats."""
    sign = 1.0 if z >= 0.0 else -1.0
    p = -1.0 / (sign + z)
    q = x * y * p
    return 1.0 + sign * x * x * p, sign * q, -sign * x, q, sign + y * y * p, -y


@njit(cache=True, error_model="numpy")
def direction_about(x, y, z, cosine, azimuth):
    """Unit direction at an angle (by cosine) and azimuth [rad] round the unit vector (x, y, z)."""
    ax, ay, az, bx, by, bz = frame(x, y, z)
    sine = math.sqrt(max(0.0, 1.0 - cosine * cosine))
    u, v = sine * math.cos(azimuth), sine * math.sin(azimuth)
    dx, dy, dz = u * ax + v * bx + cosine * x, u * ay + v * by + cosine * y, u * az + v * bz + cosine * z
    length = 1.0 / math.sqrt(dx * dx + dy * dy + dz * dz)
    return dx * length, dy * length, dz * length


@njit(cache=True, error_model="numpy")
def random_polarisation(x, y, z, u):
    """Unit vector across the direction (x, y, z) at the angle 2 pi u: linear polarisation of unpolarised light."""
    ax, ay, az, bx, by, bz = frame(x, y, z)
    angle = 2.0 * math.pi * u
    c, s = math.cos(angle), math.sin(angle)
    return c * ax + s * bx, c * ay + s * by, c * az + s * bz
