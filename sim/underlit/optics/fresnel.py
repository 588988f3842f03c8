"""Fresnel's formulas at a plane between two lossless media (Born & Wolf, Principles of Optics, 7th ed., 1.5.2).

Conventions: c1, c2 cosines of incidence and refraction, both positive; s across the plane of incidence, p = s x d for
every ray, so that at normal incidence r_p = -r_s while the field turns over alike.
"""

from __future__ import annotations

import math

from numba import njit


@njit(cache=True, error_model="numpy")
def refracted_cosine(n1, n2, c1):
    """Cosine of the refracted ray (Snell), or -1 at total reflection."""
    sine2 = (n1 / n2) * (n1 / n2) * (1.0 - c1 * c1)
    if sine2 >= 1.0:
        return -1.0
    return math.sqrt(1.0 - sine2)


@njit(cache=True, error_model="numpy")
def reflected_amplitudes(n1, n2, c1, c2):
    """Amplitude coefficients (r_s, r_p)."""
    return (n1 * c1 - n2 * c2) / (n1 * c1 + n2 * c2), (n2 * c1 - n1 * c2) / (n2 * c1 + n1 * c2)


@njit(cache=True, error_model="numpy")
def transmitted_amplitudes(n1, n2, c1, c2):
    """Amplitude coefficients (t_s, t_p)."""
    return 2.0 * n1 * c1 / (n1 * c1 + n2 * c2), 2.0 * n1 * c1 / (n2 * c1 + n1 * c2)


@njit(cache=True, error_model="numpy")
def across_plane_of_incidence(dx, dy, dz, nx, ny, nz, ex, ey, ez):
    """Unit vector s along d x n; along the polarisation e when d and n are parallel (every s is right there)."""
    sx, sy, sz = dy * nz - dz * ny, dz * nx - dx * nz, dx * ny - dy * nx
    length = math.sqrt(sx * sx + sy * sy + sz * sz)
    if length < 1e-9:
        return ex, ey, ez
    return sx / length, sy / length, sz / length


@njit(cache=True, error_model="numpy")
def cross_interface(dx, dy, dz, ex, ey, ez, nx, ny, nz, n1, n2, u):
    """Reflect or refract a polarised ray at random with Fresnel's probabilities.

    d direction, e polarisation, n unit normal turned against d, u uniform number. Returns (through, d', e').
    Phase shifts at total reflection are ignored: light stays linearly polarised.
    """
    c1 = -(dx * nx + dy * ny + dz * nz)
    sx, sy, sz = across_plane_of_incidence(dx, dy, dz, nx, ny, nz, ex, ey, ez)
    a_s = ex * sx + ey * sy + ez * sz
    px, py, pz = sy * dz - sz * dy, sz * dx - sx * dz, sx * dy - sy * dx
    a_p = ex * px + ey * py + ez * pz
    c2 = refracted_cosine(n1, n2, c1)
    through = False
    m_s, m_p = a_s, a_p
    if c2 >= 0.0:
        r_s, r_p = reflected_amplitudes(n1, n2, c1, c2)
        # a_s^2 + a_p^2 is one up to rounding
        through = u >= a_s * a_s * r_s * r_s + a_p * a_p * r_p * r_p
        if through:
            t_s, t_p = transmitted_amplitudes(n1, n2, c1, c2)
            m_s, m_p = a_s * t_s, a_p * t_p
        else:
            m_s, m_p = a_s * r_s, a_p * r_p
    if through:
        ratio = n1 / n2
        k = ratio * c1 - c2
        dx, dy, dz = ratio * dx + k * nx, ratio * dy + k * ny, ratio * dz + k * nz
    else:
        dx, dy, dz = dx + 2.0 * c1 * nx, dy + 2.0 * c1 * ny, dz + 2.0 * c1 * nz
    length = 1.0 / math.sqrt(dx * dx + dy * dy + dz * dz)
    dx, dy, dz = dx * length, dy * length, dz * length
    px, py, pz = sy * dz - sz * dy, sz * dx - sx * dz, sx * dy - sy * dx
    ex, ey, ez = m_s * sx + m_p * px, m_s * sy + m_p * py, m_s * sz + m_p * pz
    length = 1.0 / math.sqrt(ex * ex + ey * ey + ez * ez)
    return through, dx, dy, dz, ex * length, ey * length, ez * length
