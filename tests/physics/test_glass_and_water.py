"""Flat glass and water: Fresnel's formulas, slabs, diffuse reflectances, refraction under water.

Fresnel: Born & Wolf, Principles of Optics, 7th ed., 1.5.2. Water by angle: Jerlov, Optical Oceanography (1968),
Table XVI. Diffuse reflectances: Walsh (1926), Duntley (1942); Judd, J. Res. NBS 29:329 (1942).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from rooms import catcher, downwards, even_cone, narrow_beam, sheet, slab

from checking import agree, flux_in_zone, flux_of_points, flux_on_head, reject, scaled, trace
from underlit.lowering.world import World

WATER, GLASS = 1.333, 1.52


def reflectances(n1, n2, theta):
    """Fresnel's (2, k) reflectances for s and p in the textbook's angle form; 1 at total reflection."""
    theta = np.maximum(np.asarray(theta, float), 1e-7)
    sine = n1 / n2 * np.sin(theta)
    refracted = np.arcsin(np.minimum(sine, 1.0))
    r_s = (np.sin(theta - refracted) / np.sin(theta + refracted)) ** 2
    r_p = (np.tan(theta - refracted) / np.tan(theta + refracted)) ** 2
    return np.where(sine >= 1.0, 1.0, np.array([r_s, r_p]))


def slab_factors(theta, index=GLASS, alpha_d=0.0, outside=1.0):
    """(transmittance, reflectance) of a slab, each (2, k): all internal reflections, per polarisation."""
    r = reflectances(outside, index, theta)
    inner = np.exp(-alpha_d / np.sqrt(1 - (outside / index * np.sin(theta)) ** 2))
    below = 1 - (r * inner) ** 2
    return (1 - r) ** 2 * inner / below, r * (1 + (1 - r) ** 2 * inner**2 / below)


def test_formulas_here_give_published_values():
    """Against values computed elsewhere: normal reflectances, Brewster's angle, lossless slab by angle."""
    assert reflectances(1, WATER, 0.0) == pytest.approx(0.020373, abs=5e-7)
    assert reflectances(1, GLASS, 0.0) == pytest.approx(0.042580, abs=5e-7)
    assert reflectances(1, WATER, math.radians(53.123))[1] < 1e-9
    for degrees, share in ((0, 0.91832), (45, 0.90253), (60, 0.84347), (75, 0.61481), (80, 0.45604)):
        assert slab_factors(math.radians(degrees))[0].mean() == pytest.approx(share, abs=5.1e-6)


@pytest.mark.parametrize("alpha", [0.0, 25.0])
@pytest.mark.parametrize("degrees", [0, 20, 40, 50, 60, 70, 75, 80, 85])
def test_slab_transmittance_by_angle(degrees, alpha):
    """6 mm of glass, n = 1.52: T = (1-R)^2 tau / (1 - R^2 tau^2) per polarisation, averaged afterwards."""
    world = World()
    glass = world.medium("glass", GLASS, alpha)
    slab(world, 0.1, 0.106, world.interface("glass", 0, glass), half=20.0)
    catcher(world, "floor", 0.0, 20.0)
    narrow_beam(world, (0.01, 0.02, 0.2), downwards(degrees))
    result = trace(world, photons_log2=17 if degrees < 85 else 19)
    theta = math.radians(degrees)
    factors = slab_factors(theta, alpha_d=alpha * 0.006)
    measured = flux_in_zone(result, "floor")
    agree(measured, factors[0].mean(), resolves=0.015, what=f"slab transmittance at {degrees} deg, alpha {alpha}")
    if degrees >= 80:
        # the polarisations averaged before they are multiplied: .3709 for .4560 at 80 deg
        reject(measured, (1 - reflectances(1, GLASS, theta).mean()) ** 2, "naive product")


def lambertian_mean(function, n=200_000):
    """Mean of a function of the angle over Lambertian light: integral of f 2 sin cos (midpoints)."""
    theta = (np.arange(n) + 0.5) / n * np.pi / 2
    return float((function(theta) * np.sin(2 * theta)).sum() * (theta[1] - theta[0]))


def lid_gap_water(theta, forget="never"):
    """Transmittance of lid + air gap + water, all inter-reflections.

    forget: where light loses its polarisation, "never", "between parts" (lid, water) or at "every interface".
    """
    r_glass, r_water = reflectances(1, GLASS, theta), reflectances(1, WATER, theta)
    if forget == "every interface":
        r_glass = r_glass.mean(axis=0, keepdims=True)
    t_lid, r_lid = (1 - r_glass) / (1 + r_glass), 2 * r_glass / (1 + r_glass)
    if forget != "never":
        t_lid, r_lid, r_water = (x.mean(axis=0, keepdims=True) for x in (t_lid, r_lid, r_water))
    return (t_lid * (1 - r_water) / (1 - r_lid * r_water)).mean(axis=0)


def test_lid_gap_and_water_under_lambertian_light():
    """.81839 of Lambertian light passes; .8125 would, if it forgot its polarisation between lid and water."""
    exact = lambertian_mean(lid_gap_water)
    forgetful = lambertian_mean(lambda theta: lid_gap_water(theta, "between parts"))
    forgetful_everywhere = lambertian_mean(lambda theta: lid_gap_water(theta, "every interface"))
    assert exact == pytest.approx(0.81839, abs=5e-6)
    assert forgetful == pytest.approx(0.8125, abs=5e-5)
    assert lid_gap_water(np.array([0.0])) == pytest.approx(0.90111, abs=5e-6)
    world = World()
    glass, water = world.medium("glass", GLASS), world.medium("water", WATER)
    slab(world, 0.003, 0.009, world.interface("lid", 0, glass))
    sheet(world, "surface", 0.002, world.interface("surface", 0, water))
    catcher(world, "floor", 0.0)
    world.add_source("diffuse", [(0, 0, 0.0095)], ppf=1.0)
    measured = flux_in_zone(trace(world, photons_log2=20), "floor")
    agree(measured, exact, resolves=0.004, slack=1e-6, what="lid + gap + water under Lambertian light")
    reject(measured, forgetful, "polarisation dropped between lid and water")
    reject(measured, forgetful_everywhere, "polarisation dropped at every interface")
    reject(measured, 0.790, "product of separate diffuse factors")


JERLOV = {0: 2.0, 30: 2.1, 45: 2.8, 60: 5.9, 70: 13.3, 75: 21.2, 80: 34.9, 85: 58.3}
"""Reflectance of a flat sea surface for unpolarised light [%] by angle [deg], Jerlov 1968, Table XVI."""


def bounced_from_water(degrees, from_below=False, photons_log2=20):
    """Share of a narrow beam that a flat water surface throws back."""
    world = World()
    water = world.medium("water", WATER)
    sheet(world, "surface", 0.1, world.interface("surface", 0, water), half=20.0)
    x, y, z = downwards(degrees)
    catcher(world, "floor", 0.0, 20.0)
    catcher(world, "ceiling", 0.2, 20.0)
    if from_below:
        narrow_beam(world, (0, 0, 0.05), (x, y, -z), medium=water)
    else:
        narrow_beam(world, (0, 0, 0.15), (x, y, z))
    result = trace(world, photons_log2=photons_log2)
    return flux_in_zone(result, "floor" if from_below else "ceiling")


@pytest.mark.parametrize("degrees", list(JERLOV))
def test_water_surface_by_angle(degrees):
    """Fresnel's reflectance, and Jerlov's table to the digits that he gives (his index is 4/3 to three digits)."""
    measured = bounced_from_water(degrees, photons_log2=18 if degrees <= 60 else 17)
    exact = reflectances(1, WATER, math.radians(degrees)).mean()
    agree(measured, exact, resolves=0.06, what=f"water surface at {degrees} deg")
    assert 100 * exact == pytest.approx(JERLOV[degrees], abs=0.15)
    assert 100 * measured.value == pytest.approx(JERLOV[degrees], abs=0.15)


@pytest.mark.parametrize("degrees", [0, 30, 45, 48, 49, 60, 85])
def test_water_surface_from_below(degrees):
    """Fresnel from the dense side; total beyond the critical angle, 48.607 deg."""
    measured = bounced_from_water(degrees, from_below=True, photons_log2=17)
    exact = reflectances(WATER, 1, math.radians(degrees)).mean()
    if degrees > 48.607:
        assert measured.value == exact == 1.0
    else:
        agree(measured, exact, resolves=0.08, what=f"water surface from below at {degrees} deg")


def diffuse_reflectance(n):
    """(external, internal) reflectance of a smooth surface for Lambertian light, closed form (Walsh; Duntley)."""
    external = (
        0.5
        + (n - 1) * (3 * n + 1) / (6 * (n + 1) ** 2)
        + n**2 * (n**2 - 1) ** 2 / (n**2 + 1) ** 3 * math.log((n - 1) / (n + 1))
        - 2 * n**3 * (n**2 + 2 * n - 1) / ((n**2 + 1) * (n**4 - 1))
        + 8 * n**4 * (n**4 + 1) / ((n**2 + 1) * (n**4 - 1) ** 2) * math.log(n)
    )
    return external, 1 - (1 - external) / n**2


@pytest.mark.parametrize(("n", "external", "internal"), [(WATER, 0.066406, 0.474591), (GLASS, 0.094707, 0.608166)])
def test_diffuse_reflectance(n, external, internal):
    """Lambertian light on a smooth surface from outside and from inside."""
    r_e, r_i = diffuse_reflectance(n)
    assert (r_e, r_i) == pytest.approx((external, internal), abs=1e-6)
    for medium, exact in (("outside", r_e), ("inside", r_i)):
        world = World()
        dense = world.medium("dense", n)
        sheet(world, "surface", 0.001, world.interface("surface", 0, dense))
        catcher(world, "floor", 0.0)
        catcher(world, "ceiling", 0.002)
        if medium == "inside":
            world.add_source("diffuse", [(0, 0, 0.0005)], ppf=1.0, axis=(0, 0, 1), medium=dense)
        else:
            world.add_source("diffuse", [(0, 0, 0.0015)], ppf=1.0)
        back = flux_in_zone(trace(world, photons_log2=20), "floor" if medium == "inside" else "ceiling")
        agree(back, exact, resolves=0.03, slack=2e-7, what=f"diffuse reflectance from {medium}, n = {n}")


HEIGHT, DEPTH, INTENSITY = 0.2, 0.3, 100.0
UNDER_WATER = {  # radius [m]: E under an even source, under I0 cos, in dry air at .5 m; own calculation elsewhere
    0.0: (542.21, 542.21, 400.0), 0.1: (512.48, 498.692, 377.146), 0.2: (437.371, 393.897, 320.164),
    0.3: (345.298, 276.684, 252.204), 0.4: (258.089, 179.119, 190.456), 0.6: (129.252, 64.9228, 104.948),
}  # fmt: skip


def landing(theta, n=WATER):
    """Radius [m] at which light of an angle in air arrives DEPTH below the surface."""
    return HEIGHT * np.tan(theta) + DEPTH * np.tan(np.arcsin(np.sin(theta) / n))


def angle_of_landing(radius, n=WATER):
    """Inverse of `landing`."""
    from scipy.optimize import brentq

    return 0.0 if radius == 0 else brentq(lambda t: float(landing(t, n)) - radius, 0.0, 1.5, xtol=1e-15)


def irradiance_under_water(radius, lens_power=0, n=WATER):
    """E = I(theta) T(theta) sin(theta) dtheta / (r dr), by a central difference in theta."""
    theta, step = max(angle_of_landing(radius, n), 1e-5), 1e-6
    slope = (landing(theta + step, n) - landing(theta - step, n)) / (2 * step)
    through = 1 - reflectances(1, n, theta).mean() if n > 1 else 1.0
    return INTENSITY * math.cos(theta) ** lens_power * through * math.sin(theta) / (landing(theta, n) * slope)


def test_irradiance_under_water_formula():
    """The quadrature's table, and on the axis E = I T0 / (h + d/n)^2 in closed form."""
    for radius, (even, cosine, dry) in UNDER_WATER.items():
        assert irradiance_under_water(radius) == pytest.approx(even, rel=2e-5)
        assert irradiance_under_water(radius, 1) == pytest.approx(cosine, rel=2e-5)
        assert irradiance_under_water(radius, n=1.0) == pytest.approx(dry, rel=2e-5)
    axis = INTENSITY * (1 - reflectances(1, WATER, 0.0)[0]) / (HEIGHT + DEPTH / WATER) ** 2
    assert irradiance_under_water(0.0) == pytest.approx(axis, rel=1e-6)


@pytest.mark.parametrize("lens_power", [0, 1])
def test_point_source_over_water(lens_power):
    """E by radius under flat water: on the axis, and in rings whose exact flux is an integral over angle."""
    rings = {0.0: 0.02, 0.1: 0.02, 0.2: 0.02, 0.3: 0.02, 0.4: 0.02, 0.6: 0.02}
    world = World()
    water = world.medium("water", WATER)
    sheet(world, "surface", DEPTH, world.interface("surface", 0, water), half=20.0)
    catcher(world, "bottom", -0.01, 20.0)
    position, half_angle = (0.0, 0.0, DEPTH + HEIGHT), 1.1
    if lens_power == 0:
        flux = INTENSITY / even_cone(world, position, half_angle)
    else:
        world.add_source("lamp", [position], ppf=1.0)
        flux = INTENSITY * math.pi
    for radius, half in rings.items():
        world.add_head(f"{radius} out", (0, 0, 0), radius=radius + half)
        if radius > 0:
            world.add_head(f"{radius} in", (0, 0, 0), radius=radius - half)
    result = trace(world, photons_log2=18)
    names = ["bottom"] + [h.name for h in result.compiled.heads]
    for radius, half in rings.items():
        inner = max(0.0, radius - half)
        lo, hi = angle_of_landing(inner), angle_of_landing(radius + half)
        theta = lo + (np.arange(2000) + 0.5) / 2000 * (hi - lo)
        through = 1 - reflectances(1, WATER, theta).mean(axis=0)
        exact = float((np.cos(theta) ** lens_power * through * np.sin(theta)).sum() * (hi - lo) / 2000)
        area = math.pi * ((radius + half) ** 2 - inner**2)
        exact *= 2 * math.pi * INTENSITY / area
        assert exact == pytest.approx(UNDER_WATER[radius][lens_power], rel=8e-3)
        if radius > 0:
            indices = (names.index(f"{radius} out"), names.index(f"{radius} in"))
            share = flux_of_points(result, *indices, signs=(1.0, -1.0))
        else:
            share = flux_on_head(result, "0.0 out")
        resolves = 0.15 if radius == 0 else 0.05
        agree(scaled(share, flux / area), exact, resolves=resolves, what=f"under water, cos^{lens_power}, r = {radius}")


def test_on_axis_under_water():
    """E = I T0 / (h + d/n)^2 with a narrow even cone, so that the axis itself is resolved to a few tenths per cent."""
    world = World()
    water = world.medium("water", WATER)
    sheet(world, "surface", DEPTH, world.interface("surface", 0, water), half=2.0)
    catcher(world, "bottom", -0.01, 2.0)
    intensity = even_cone(world, (0, 0, DEPTH + HEIGHT), 0.06)
    radius = 0.01
    world.add_head("head", (0, 0, 0), radius=radius)
    measured = scaled(flux_on_head(trace(world, photons_log2=18), "head"), 1 / (math.pi * radius**2))
    exact = intensity * (1 - reflectances(1, WATER, 0.0)[0]) / (HEIGHT + DEPTH / WATER) ** 2
    # over a head of 1 cm E falls by .05 %: the mean is taken as slack
    agree(measured, exact, resolves=0.02, slack=4e-4 * exact, what="on the axis under water")
    reject(measured, intensity / (HEIGHT + DEPTH) ** 2, "without water")


@pytest.mark.parametrize("rho", [0.1, 0.3, 0.5])
def test_floor_under_unbounded_water(rho):
    """A Lambertian floor under flat water: gain 1 / (1 - rho r_i), on what Lambertian light brings in, 1 - r_e."""
    r_e, r_i = diffuse_reflectance(WATER)
    gain = 1 / (1 - rho * r_i)
    assert gain == pytest.approx({0.1: 1.0498, 0.3: 1.1660, 0.5: 1.3111}[rho], abs=6e-5)
    world = World()
    water = world.medium("water", WATER)
    sheet(world, "surface", 0.001, world.interface("surface", 0, water))
    sheet(world, "floor", 0.0, world.opaque("floor", rho))
    world.add_surface_zone("floor", "floor", area=1.0)
    world.add_source("diffuse", [(0, 0, 0.0015)], ppf=1.0)
    measured = flux_in_zone(trace(world, photons_log2=20), "floor")
    agree(measured, (1 - r_e) * gain, resolves=0.006, slack=1e-6, what=f"floor {rho} under water")
    reject(measured, 1 - r_e, "no light comes back")
