"""Fresnel's formulas at a plane between two lossless media (Born & Wolf, Principles of Optics, 7th ed., 1.5.2).

Conventions: d direction, e polarisation, n unit normal turned against d; c1, c2 cosines of incidence and refraction, both
positive; s across the plane of incidence, p = s x d for every ray, so that at normal incidence r_p = -r_s while the field
turns over alike.
"""

from __future__ import annotations

import math

from underlit.kernel_cache import scalar
from underlit.optics.vectors import along, combined, cross, dot, normalised


@scalar
def refracted_cosine(n1, n2, c1):
    """Cosine of the refracted ray (Snell), or -1 at total reflection."""
    sine2 = (n1 / n2) * (n1 / n2) * (1.0 - c1 * c1)
    if sine2 >= 1.0:
        return -1.0
    return math.sqrt(1.0 - sine2)


@scalar
def reflected_amplitudes(n1, n2, c1, c2):
    """Amplitude coefficients (r_s, r_p)."""
    return (n1 * c1 - n2 * c2) / (n1 * c1 + n2 * c2), (n2 * c1 - n1 * c2) / (n2 * c1 + n1 * c2)


@scalar
def transmitted_amplitudes(n1, n2, c1, c2):
    """Amplitude coefficients (t_s, t_p)."""
    return 2.0 * n1 * c1 / (n1 * c1 + n2 * c2), 2.0 * n1 * c1 / (n2 * c1 + n1 * c2)


@scalar
def reflect(d, n):
    """The mirrored vector: d - 2 (d . n) n."""
    return along(d, -2.0 * dot(d, n), n)


@scalar
def refract(d, n, n1, n2, c1, c2):
    """Direction of the refracted ray: (n1 / n2) d + (n1 / n2 c1 - c2) n."""
    ratio = n1 / n2
    return combined(ratio, d, ratio * c1 - c2, n)


@scalar
def across_plane_of_incidence(d, n, e):
    """Unit vector s along d x n; along the polarisation e when d and n are parallel (every s is right there)."""
    s = cross(d, n)
    length = math.sqrt(dot(s, s))
    if length < 1e-9:
        return e
    return s[0] / length, s[1] / length, s[2] / length


@scalar
def reflectance(a_s, a_p, r_s, r_p):
    """Share of the light that is reflected, of linear polarisation with the components a_s, a_p (a_s^2 + a_p^2 = 1)."""
    return a_s * a_s * r_s * r_s + a_p * a_p * r_p * r_p


@scalar
def cross_interface(d, e, n, n1, n2, u):
    """Reflect or refract a polarised ray at random with Fresnel's probabilities; u uniform number.

    Returns (through, d', e'). Phase shifts at total reflection are ignored: light stays linearly polarised.
    """
    c1 = -dot(d, n)
    c2 = refracted_cosine(n1, n2, c1)
    s = across_plane_of_incidence(d, n, e)
    e_s, e_p = dot(e, s), dot(e, cross(s, d))
    through = False
    if c2 >= 0.0:
        r_s, r_p = reflected_amplitudes(n1, n2, c1, c2)
        through = u >= reflectance(e_s, e_p, r_s, r_p)
        if through:
            t_s, t_p = transmitted_amplitudes(n1, n2, c1, c2)
            e_s, e_p = e_s * t_s, e_p * t_p
        else:
            e_s, e_p = e_s * r_s, e_p * r_p
    d = normalised(refract(d, n, n1, n2, c1, c2) if through else reflect(d, n))
    return through, d, normalised(combined(e_s, s, e_p, cross(s, d)))
