"""Directions after diffuse and volume scattering."""

from __future__ import annotations

import math

from underlit.kernel_cache import scalar


@scalar
def lambertian_cosine(u):
    """Cosine from the normal of cosine-weighted directions: the flux within cos >= c is 1 - c^2."""
    return math.sqrt(1.0 - u)


@scalar
def henyey_greenstein_cosine(g, u):
    """Scattering cosine with mean g (Henyey & Greenstein, Astrophys. J. 93:70, 1941), inverted in closed form."""
    if abs(g) < 1e-6:
        return 2.0 * u - 1.0
    s = (1.0 - g * g) / (1.0 - g + 2.0 * g * u)
    return min(1.0, max(-1.0, (1.0 + g * g - s * s) / (2.0 * g)))
