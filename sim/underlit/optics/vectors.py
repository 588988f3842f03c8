"""Vectors of three floats as plain tuples: no allocation, and formulas that read like formulas. Numba kernels."""

from __future__ import annotations

import math

from underlit.kernel_cache import scalar


@scalar
def dot(a, b):
    """a . b."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@scalar
def cross(a, b):
    """a x b."""
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


@scalar
def along(p, t, d):
    """p + t d."""
    return p[0] + t * d[0], p[1] + t * d[1], p[2] + t * d[2]


@scalar
def difference(a, b):
    """a - b."""
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


@scalar
def combined(x, a, y, b):
    """x a + y b."""
    return x * a[0] + y * b[0], x * a[1] + y * b[1], x * a[2] + y * b[2]


@scalar
def in_frame(x, a, y, b, z, c):
    """x a + y b + z c: a vector by its components in a frame."""
    return x * a[0] + y * b[0] + z * c[0], x * a[1] + y * b[1] + z * c[1], x * a[2] + y * b[2] + z * c[2]


@scalar
def opposite(a):
    """-a."""
    return -a[0], -a[1], -a[2]


@scalar
def normalised(a):
    """The unit vector along a."""
    f = 1.0 / math.sqrt(dot(a, a))
    return a[0] * f, a[1] * f, a[2] * f


@scalar
def vector(row):
    """The first three numbers of an array or of a record's field."""
    return row[0], row[1], row[2]
