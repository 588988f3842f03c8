"""Directions from an intensity web: I given on planes of azimuth and angles from the axis, bilinear in between.

A web is one run of numbers: nc, ng; azimuth (nc) and theta (ng) [rad]; intensity (nc, ng); flux of each plane up to each
theta, the integral of I sin(theta) (nc, ng); cumulative flux share over azimuth (nc). The draw is exact for the interpolated
intensity: the flux per azimuth is linear between planes, and at a fixed azimuth I is linear between thetas.
"""

from __future__ import annotations

import math

from numba import njit

from underlit.optics.lens import linear_flux


@njit(cache=True, error_model="numpy")
def linear_density_position(a, b, u):
    """Position in [0, 1] from a density going linearly from a to b: inverts t a + t^2 (b - a)/2 = u (a + b)/2."""
    total = a + b
    if total <= 0.0:
        return u
    root = math.sqrt(max(0.0, a * a + u * (b * b - a * a)))
    return min(1.0, u * total / (a + root))


@njit(cache=True, error_model="numpy")
def web_direction(webs, first, u, v):
    """(theta, azimuth) [rad] of a web that starts at `first`, from two uniform numbers: u for theta, v for azimuth."""
    nc, ng = int(webs[first]), int(webs[first + 1])
    at_azimuth = first + 2
    at_theta = at_azimuth + nc
    at_intensity = at_theta + ng
    at_share = at_intensity + nc * ng
    at_flux = at_share + nc * ng
    lo, hi = 0, nc - 1
    while hi - lo > 1:
        middle = (lo + hi) // 2
        if webs[at_flux + middle] <= v:
            lo = middle
        else:
            hi = middle
    width = webs[at_flux + hi] - webs[at_flux + lo]
    inside = (v - webs[at_flux + lo]) / width if width > 0.0 else 0.0
    plane0, plane1 = at_share + lo * ng, at_share + hi * ng
    t = linear_density_position(webs[plane0 + ng - 1], webs[plane1 + ng - 1], inside)
    azimuth = webs[at_azimuth + lo] + t * (webs[at_azimuth + hi] - webs[at_azimuth + lo])
    wanted = u * ((1.0 - t) * webs[plane0 + ng - 1] + t * webs[plane1 + ng - 1])
    a, b = 0, ng - 1
    while b - a > 1:
        middle = (a + b) // 2
        if (1.0 - t) * webs[plane0 + middle] + t * webs[plane1 + middle] <= wanted:
            a = middle
        else:
            b = middle
    wanted -= (1.0 - t) * webs[plane0 + a] + t * webs[plane1 + a]
    row0, row1 = at_intensity + lo * ng, at_intensity + hi * ng
    i0 = (1.0 - t) * webs[row0 + a] + t * webs[row1 + a]
    i1 = (1.0 - t) * webs[row0 + b] + t * webs[row1 + b]
    t0, t1 = webs[at_theta + a], webs[at_theta + b]
    low, high = t0, t1
    for _ in range(54):
        middle = 0.5 * (low + high)
        if linear_flux(middle, t0, t1, i0, i1) <= wanted:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high), azimuth
