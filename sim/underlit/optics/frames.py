"""Orthonormal frames round a direction (Duff et al., Building an Orthonormal Basis, Revisited, JCGT 6(1):1, 2017)."""

from __future__ import annotations

import math

from underlit.kernel_cache import scalar
from underlit.optics.vectors import combined, in_frame, normalised


@scalar
def frame(n):
    """Two unit vectors a, b with (a, b, n) right-handed, for a unit vector n."""
    x, y, z = n
    sign = 1.0 if z >= 0.0 else -1.0
    p = -1.0 / (sign + z)
    q = x * y * p
    return (1.0 + sign * x * x * p, sign * q, -sign * x), (q, sign + y * y * p, -y)


@scalar
def direction_about(axis, cosine, azimuth):
    """Unit direction at an angle (by its cosine) from a unit axis and at an azimuth [rad] in the axis's frame."""
    a, b = frame(axis)
    sine = math.sqrt(max(0.0, 1.0 - cosine * cosine))
    return normalised(in_frame(sine * math.cos(azimuth), a, sine * math.sin(azimuth), b, cosine, axis))


@scalar
def random_polarisation(d, u):
    """Unit vector across the direction d at the angle 2 pi u: linear polarisation of unpolarised light."""
    a, b = frame(d)
    angle = 2.0 * math.pi * u
    return combined(math.cos(angle), a, math.sin(angle), b)
