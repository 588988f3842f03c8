"""Directions from an intensity web: I given on planes of azimuth and angles from the axis, bilinear in between.

The values of a web follow each other: azimuth (planes,) and theta (angles,) [rad]; intensity (planes, angles); flux of each
plane up to each theta, the integral of I sin(theta) (planes, angles); cumulative flux share over azimuth (planes,). The draw is
exact for the interpolated intensity: the flux per azimuth is linear between planes, and at a fixed azimuth I is linear between
thetas.
"""

from __future__ import annotations

import math

from underlit.kernel_cache import scalar
from underlit.optics.lens import interval, invert_flux


@scalar
def linear_density_position(a, b, u):
    """Position in [0, 1] from a density going linearly from a to b: inverts t a + t^2 (b - a)/2 = u (a + b)/2."""
    total = a + b
    if total <= 0.0:
        return u
    root = math.sqrt(max(0.0, a * a + u * (b * b - a * a)))
    return min(1.0, u * total / (a + root))


@scalar
def between(a, b, t, k):
    """Value k of the profile at the share t of the way from the plane with the values a to that with b."""
    return (1.0 - t) * a[k] + t * b[k]


@scalar
def profile_interval(a, b, t, flux):
    """`interval` of the profile between two planes: the index of the last angle but one up to which it has this flux."""
    low, high = 0, a.shape[0] - 1
    while high - low > 1:
        middle = (low + high) // 2
        if between(a, b, t, middle) <= flux:
            low = middle
        else:
            high = middle
    return low


@scalar
def web_direction(web, values, u, v):
    """(theta, azimuth) [rad] of a web, from two uniform numbers: u for theta, v for azimuth.

    web: a record with `planes`, `angles` and `first`, where its run of `values`, (k,) float64, begins.
    """
    planes, angles = int(web.planes), int(web.angles)
    azimuth = values[web.first : web.first + planes]
    theta = values[web.first + planes : web.first + planes + angles]
    intensity = values[web.first + planes + angles :]
    flux = intensity[planes * angles :]
    share = flux[planes * angles :]

    i = interval(share, 0, planes, v)
    width = share[i + 1] - share[i]
    inside = (v - share[i]) / width if width > 0.0 else 0.0
    flux0, flux1 = flux[i * angles : (i + 1) * angles], flux[(i + 1) * angles : (i + 2) * angles]
    t = linear_density_position(flux0[angles - 1], flux1[angles - 1], inside)

    wanted = u * between(flux0, flux1, t, angles - 1)
    k = profile_interval(flux0, flux1, t, wanted)
    wanted -= between(flux0, flux1, t, k)
    row0, row1 = intensity[i * angles :], intensity[(i + 1) * angles :]
    i0, i1 = between(row0, row1, t, k), between(row0, row1, t, k + 1)
    return invert_flux(wanted, theta[k], theta[k + 1], i0, i1), azimuth[i] + t * (azimuth[i + 1] - azimuth[i])
