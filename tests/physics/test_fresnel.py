"""The kernel's own Fresnel functions against textbook values: amplitudes, Brewster's angle, the critical angle, energy.

Born & Wolf, Principles of Optics, 7th ed., 1.5.2 and 1.5.3: the amplitudes by sines and tangents of the angles of incidence
and refraction, where the kernel has indices and cosines.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numba import njit

from underlit.optics.fresnel import (
    cross_interface,
    reflect,
    reflectance,
    reflected_amplitudes,
    refract,
    refracted_cosine,
    transmitted_amplitudes,
)

WATER, GLASS = 1.333, 1.5
PAIRS = [(1.0, GLASS), (GLASS, 1.0), (1.0, WATER), (WATER, 1.0), (WATER, GLASS)]
# a right-handed frame with no axis along x, y or z: across, ahead and the normal
SKEW = np.array([[2.0, 2.0, 1.0], [2.0, -1.0, -2.0], [-1.0, 2.0, -2.0]]) / 3


@njit
def coefficients(n1, n2, c1):
    """(c2, r_s, r_p, t_s, t_p); c2 is -1 at total reflection, the others then 0."""
    c2 = refracted_cosine(n1, n2, c1)
    if c2 < 0.0:
        return c2, 0.0, 0.0, 0.0, 0.0
    r_s, r_p = reflected_amplitudes(n1, n2, c1, c2)
    t_s, t_p = transmitted_amplitudes(n1, n2, c1, c2)
    return c2, r_s, r_p, t_s, t_p


@njit(error_model="numpy")
def crossed(d, e, n, n1, n2, u):
    """(through, d', e') of `cross_interface`."""
    return cross_interface(d, e, n, n1, n2, u)


@njit
def share_reflected(a_s, a_p, r_s, r_p):
    """`reflectance`."""
    return reflectance(a_s, a_p, r_s, r_p)


@njit
def mirrored(d, n):
    """`reflect`."""
    return reflect(d, n)


@njit
def bent(d, n, n1, n2, c1, c2):
    """`refract`."""
    return refract(d, n, n1, n2, c1, c2)


def critical_angle(n1, n2):
    """[rad]"""
    return math.asin(min(1.0, n2 / n1))


@pytest.mark.parametrize(("n1", "n2"), PAIRS)
@pytest.mark.parametrize("share", [0.01, 0.2, 0.5, 0.8, 0.95])
def test_amplitudes_by_angles(n1, n2, share):
    """Fresnel's formulas by the sum and difference of the angles."""
    i = share * critical_angle(n1, n2)
    t = math.asin(n1 / n2 * math.sin(i))
    c2, r_s, r_p, t_s, t_p = coefficients(n1, n2, math.cos(i))
    assert c2 == pytest.approx(math.cos(t), abs=1e-13)
    assert r_s == pytest.approx(-math.sin(i - t) / math.sin(i + t), rel=1e-9)
    assert r_p == pytest.approx(math.tan(i - t) / math.tan(i + t), rel=1e-9)
    assert t_s == pytest.approx(2 * math.sin(t) * math.cos(i) / math.sin(i + t), rel=1e-12)
    assert t_p == pytest.approx(2 * math.sin(t) * math.cos(i) / (math.sin(i + t) * math.cos(i - t)), rel=1e-12)


def test_air_to_glass_in_numbers():
    """n = 1.5: 4 % straight on; at 45 degrees 9.2 % of s light and the square of that of p light."""
    _, r_s, r_p, t_s, t_p = coefficients(1.0, 1.5, 1.0)
    assert (r_s, r_p) == pytest.approx((-0.2, 0.2), abs=1e-15)
    assert (t_s, t_p) == pytest.approx((0.8, 0.8), abs=1e-15)
    _, r_s, r_p, _, _ = coefficients(1.0, 1.5, math.cos(math.radians(45)))
    assert r_s == pytest.approx(-0.30334, abs=1e-5)
    # at 45 degrees of incidence R_p is the square of R_s, whatever the index
    assert r_p**2 == pytest.approx(r_s**4, rel=1e-12)


@pytest.mark.parametrize(("n1", "n2"), PAIRS)
def test_energy_is_conserved(n1, n2):
    """r^2 + (n2 c2) / (n1 c1) t^2 = 1 for s and p, up to grazing incidence."""
    for i in np.linspace(0.0, 0.9999, 50) * critical_angle(n1, n2):
        c1 = math.cos(i)
        c2, r_s, r_p, t_s, t_p = coefficients(n1, n2, c1)
        beam = n2 * c2 / (n1 * c1)
        assert r_s**2 + beam * t_s**2 == pytest.approx(1.0, abs=1e-11)
        assert r_p**2 + beam * t_p**2 == pytest.approx(1.0, abs=1e-11)


@pytest.mark.parametrize(("n1", "n2"), PAIRS)
def test_brewsters_angle(n1, n2):
    """tan = n2 / n1: no p light comes back, reflected and refracted rays are square; r_p changes its sign there."""
    i = math.atan2(n2, n1)
    c2, r_s, r_p, _, _ = coefficients(n1, n2, math.cos(i))
    assert r_p == pytest.approx(0.0, abs=1e-14)
    assert math.acos(c2) + i == pytest.approx(math.pi / 2, abs=1e-12)
    assert abs(r_s) == pytest.approx(abs((n1**2 - n2**2) / (n1**2 + n2**2)), rel=1e-12)
    before, after = (coefficients(n1, n2, math.cos(i + step))[2] for step in (-1e-3, 1e-3))
    assert before * after < 0


@pytest.mark.parametrize(("n1", "n2"), [(GLASS, 1.0), (WATER, 1.0), (GLASS, WATER)])
def test_critical_angle(n1, n2):
    """sin = n2 / n1: just below it light grazes out, just above all of it is reflected."""
    i = critical_angle(n1, n2)
    below, above = (coefficients(n1, n2, math.cos(i + step)) for step in (-1e-9, 1e-9))
    assert 0 < below[0] < 1e-3
    assert below[1] == pytest.approx(1.0, abs=1e-3)
    assert below[2] == pytest.approx(1.0, abs=1e-3)
    assert above[0] == -1.0
    assert math.degrees(critical_angle(WATER, 1.0)) == pytest.approx(48.607, abs=1e-3)


@pytest.mark.parametrize(("n1", "n2"), PAIRS)
@pytest.mark.parametrize("degrees", [0.0, 20.0, 41.0, 70.0])
@pytest.mark.parametrize("frame", [np.eye(3), SKEW], ids=["level", "skew"])
def test_a_ray_at_an_interface(n1, n2, degrees, frame):
    """Directions after the laws of reflection and Snell; s and p light keep their plane; the share that returns is r^2."""
    across, ahead, normal = frame
    i = math.radians(degrees)
    d = tuple(math.sin(i) * ahead - math.cos(i) * normal)
    n = tuple(normal)
    c2, r_s, r_p, _, _ = coefficients(n1, n2, math.cos(i))
    total = c2 < 0
    back = math.sin(i) * ahead + math.cos(i) * normal
    assert mirrored(d, n) == pytest.approx(tuple(back), abs=1e-15)
    if not total:
        t = math.asin(n1 / n2 * math.sin(i))
        on = math.sin(t) * ahead - math.cos(t) * normal
        assert bent(d, n, n1, n2, math.cos(i), c2) == pytest.approx(tuple(on), abs=1e-14)
    in_plane = np.cross(across, d)
    for a_s, a_p, wanted in ((1.0, 0.0, r_s**2), (0.0, 1.0, r_p**2), (0.6, 0.8, 0.36 * r_s**2 + 0.64 * r_p**2)):
        e = tuple(a_s * across + a_p * in_plane)
        share = 1.0 if total else wanted
        if not total:
            assert share_reflected(a_s, a_p, r_s, r_p) == pytest.approx(share, abs=1e-15)
        for u in (share - 1e-9, share + 1e-9):
            if not 0 <= u < 1:
                continue
            through, after, polarised = crossed(d, e, n, n1, n2, u)
            assert through == (u > share)
            assert after == pytest.approx(tuple(on if through else back), abs=1e-12)
            assert np.dot(after, polarised) == pytest.approx(0.0, abs=1e-12)
            assert np.linalg.norm(polarised) == pytest.approx(1.0, abs=1e-12)
            if a_s in (0.0, 1.0):
                assert abs(np.dot(polarised, across)) == pytest.approx(a_s, abs=1e-12)
