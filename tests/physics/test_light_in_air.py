"""Light in air: the inverse-square and cosine laws, and configuration factors of rectangles and discs.

Configuration factors: J. R. Howell, A Catalog of Radiation Heat Transfer Configuration Factors (numbers of its entries
from memory); any polygon after Lambert, Photometria (1760).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from rooms import EVERY_SIDE, catcher, disc_points, even_cone

from checking import agree, flux_in_zone, flux_on_faces, flux_on_head, reject, scaled, trace
from underlit.lowering.world import World, box, rectangle
from underlit.transport.tables import FaceShape


def mean_over_disc(irradiance, centre, normal, radius):
    """Mean of irradiance(points, normal) over a meter head."""
    n = np.asarray(normal, float) / np.linalg.norm(normal)
    return float(np.mean(irradiance(disc_points(centre, n, radius), n)))


def point_source_irradiance(source, intensity):
    """E = I cos(theta) / r^2 of a point source of even intensity."""

    def irradiance(points, normal):
        away = points - np.asarray(source)
        r2 = (away**2).sum(axis=1)
        return intensity * np.maximum(0.0, -(away @ normal)) / r2**1.5

    return irradiance


def tilted(degrees, azimuth=0.7):
    t = math.radians(degrees)
    return (math.sin(t) * math.cos(azimuth), math.sin(t) * math.sin(azimuth), math.cos(t))


@pytest.mark.parametrize("distance", [0.3, 0.6, 1.2])
@pytest.mark.parametrize("tilt", [0.0, 40.0, 75.0])
def test_inverse_square_and_cosine(distance, tilt):
    """E = I cos / r^2 on a level and on tilted heads under a point source of even intensity, on its axis."""
    world, source, half_angle = World(), (0.1, -0.2, 2.0), 0.12 / distance
    catcher(world, "floor", 0.0, 5.0)
    intensity = even_cone(world, source, half_angle)
    centre, radius = (0.1, -0.2, 2.0 - distance), 0.05
    world.add_head("head", centre, normal=tilted(tilt), radius=radius)
    result = trace(world, photons_log2=18)
    measured = scaled(flux_on_head(result, "head"), 1 / (math.pi * radius**2))
    exact = mean_over_disc(point_source_irradiance(source, intensity), centre, tilted(tilt), radius)
    # the head is small: the textbook value for a point differs from its mean by the order of (radius / distance)^2
    assert exact == pytest.approx(
        intensity * math.cos(math.radians(tilt)) / distance**2, rel=3 * (radius / distance) ** 2
    )
    # straight light of a point is counted without any scatter, to the one packet that a batch is counted in
    packet = 1 / result.counts[0].photons_per_batch / (math.pi * radius**2)
    agree(
        measured,
        exact,
        resolves=0.02,
        slack=packet,
        what=f"point source, distance {distance} m, head tilted {tilt} deg",
    )
    agree(flux_in_zone(result, "floor"), 1.0, resolves=1e-9, what="all of the cone on the floor")


@pytest.mark.parametrize("offset", [0.3, 0.8])
@pytest.mark.parametrize("tilt", [0.0, 30.0])
def test_inverse_square_off_axis(offset, tilt):
    """The same beside the axis, where a level head sees the light at an angle: E = I cos^3 / h^2."""
    world, source = World(), (0.0, 0.0, 1.0)
    catcher(world, "floor", -0.5, 50.0)
    intensity = even_cone(world, source, 1.0)
    centre, normal, radius = (offset, 0.0, 0.0), tilted(tilt, math.pi), 0.2
    world.add_head("head", centre, normal=normal, radius=radius)
    measured = scaled(flux_on_head(trace(world, photons_log2=19), "head"), 1 / (math.pi * radius**2))
    irradiance = point_source_irradiance(source, intensity)
    exact = mean_over_disc(irradiance, centre, normal, radius)
    if tilt == 0.0:
        textbook = intensity / math.hypot(1, offset) ** 3
        assert irradiance(np.array([centre]), np.array([0.0, 0.0, 1.0]))[0] == pytest.approx(textbook, rel=1e-12)
    agree(measured, exact, resolves=0.025, what=f"point source, {offset} m off axis, tilted {tilt}")


@pytest.mark.parametrize("exponent", [0.0, 1.0, 4.0, 60.0])
def test_intensity_of_cosine_power_lenses(exponent):
    """Flux of I0 cos^m within an angle: 1 - cos^(m+1), caught by discs at a distance of 1 m."""
    world = World()
    catcher(world, "floor", -1.0, 500.0)
    world.add_source("lamp", [(0, 0, 1)], ppf=1.0, beam_exponent=exponent)
    radii = (0.05, 0.1, 0.2) if exponent > 10 else (0.1, 0.3, 1.0)
    for r in radii:
        world.add_head(f"{r}", (0, 0, 0), radius=r)
    result = trace(world, photons_log2=18)
    for r in radii:
        share = 1 - (1 + r * r) ** (-(exponent + 1) / 2)
        agree(flux_on_head(result, f"{r}"), share, resolves=0.03, what=f"cos^{exponent} lens within {r} m")


def parallel_corner_factor(a, b, c):
    """dA to a parallel rectangle a x b at distance c under one of its corners (Howell B-3)."""
    x, y = a / c, b / c
    p, q = math.hypot(1, x), math.hypot(1, y)
    return (x / p * math.atan(y / p) + y / q * math.atan(x / q)) / (2 * math.pi)


def perpendicular_factor(height, width, distance):
    """dA to a rectangle that stands on its plane, corner level with dA (Howell B-4)."""
    s = math.hypot(height, distance)
    return (math.atan(width / distance) - distance / s * math.atan(width / s)) / (2 * math.pi)


def test_configuration_factors_as_published():
    """Values found by quadrature of the definition, to the last digit given."""
    assert parallel_corner_factor(1, 1, 1) == pytest.approx(0.1385316, abs=5e-8)
    assert parallel_corner_factor(0.6, 0.3, 0.4) == pytest.approx(0.1358652, abs=5e-8)
    assert perpendicular_factor(1, 1, 1) == pytest.approx(0.0557342, abs=5e-8)
    assert disc_factor(0.5, 1, 0.75) == pytest.approx(0.1022841, abs=5e-8)


@pytest.mark.parametrize(("a", "b", "c"), [(1.0, 1.0, 1.0), (0.6, 0.3, 0.4)])
def test_lambertian_point_to_rectangle(a, b, c):
    """The share of a Lambertian element's light that lands on a rectangle is their configuration factor."""
    world = World()
    black = world.opaque("black", 0.0)
    world.add_mesh("parallel", *rectangle((0, 0, c), (0, b, 0), (a, 0, 0)), black)
    world.add_mesh("standing", *rectangle((-c, 0, 0), (0, b, 0), (0, 0, a)), black)
    world.add_source("element", [(0, 0, 0)], ppf=1.0, axis=(0, 0, 1))
    for part in ("parallel", "standing"):
        world.add_surface_zone(part, part, area=1.0, min_up=EVERY_SIDE)
    result = trace(world, photons_log2=20)
    agree(flux_in_zone(result, "parallel"), parallel_corner_factor(a, b, c), resolves=0.012, what="parallel rectangle")
    agree(flux_in_zone(result, "standing"), perpendicular_factor(a, b, c), resolves=0.02, what="standing rectangle")


def test_head_under_lambertian_rectangle():
    """E = M F on a level head under a glowing rectangle: its centre, its corner, and beyond it; on a tilted one too."""
    a, b, c, radius = 0.6, 0.3, 0.4, 0.08
    world = World()
    catcher(world, "floor", -0.1, 20.0)
    world.add_source("panel", [(a / 2, b / 2, c)], ppf=a * b, half_size=(a / 2, b / 2))
    places = {"centre": (a / 2, b / 2, 0.0), "corner": (0.0, 0.0, 0.0), "beyond": (a + 0.2, b / 2, 0.0)}
    for name, centre in places.items():
        world.add_head(name, centre, radius=radius)
    normal = tilted(25.0)
    world.add_head("tilted", places["centre"], normal=normal, radius=radius)
    corners = np.array([(0, 0, c), (a, 0, c), (a, b, c), (0, b, c)])
    result = trace(world, photons_log2=21)

    def irradiance(points, n):
        v = corners[None] - points[:, None]
        v /= np.linalg.norm(v, axis=2, keepdims=True)
        after = np.roll(v, -1, axis=1)
        across = np.cross(v, after)
        angle = np.arccos(np.clip((v * after).sum(axis=2), -1, 1))
        return np.abs((angle * (across @ n) / np.linalg.norm(across, axis=2)).sum(axis=1)) / (2 * np.pi)

    level = np.array([0.0, 0.0, 1.0])
    at_corner = irradiance(np.array([places["corner"]]), level)[0]
    assert at_corner == pytest.approx(parallel_corner_factor(a, b, c), rel=1e-12)
    for head in result.compiled.heads:
        exact = mean_over_disc(irradiance, head.centre, head.normal, radius)
        # flux share times ppf over the head's area, with M = 1
        measured = scaled(flux_on_head(result, head.name), a * b / head.area)
        agree(measured, exact, resolves=0.03, what=f"head under a Lambertian rectangle: {head.name}")


def disc_factor(r, h, s):
    """dA to a parallel disc of radius r, distance h, offset s (Howell B-13)."""
    if s == 0:
        return r * r / (h * h + r * r)
    big_h, big_r = h / s, r / s
    z = 1 + big_h**2 + big_r**2
    return 0.5 * (1 - (z - 2 * big_r**2) / math.sqrt(z * z - 4 * big_r**2))


@pytest.mark.parametrize("offset", [0.0, 0.75])
def test_lambertian_disc(offset):
    """E = pi L sin^2 on the axis of a glowing disc, Howell's factor beside it; and from the element to the disc."""
    r, h, radius = 0.5, 1.0, 0.25
    world = World()
    catcher(world, "floor", -0.1, 50.0)
    world.add_source("disc", [(0, 0, h)], ppf=math.pi * r * r, half_size=(r, r), face=FaceShape.DISC)
    world.add_head("head", (offset, 0, 0), radius=radius)
    measured = scaled(flux_on_head(trace(world, photons_log2=21), "head"), (r / radius) ** 2)
    points = disc_points((offset, 0, 0), (0, 0, 1), radius)
    exact = np.mean([disc_factor(r, h, s) for s in np.hypot(points[:, 0], points[:, 1])])
    agree(measured, float(exact), resolves=0.025, what=f"head under a Lambertian disc, offset {offset}")
    world = World()
    catcher(world, "floor", -0.1, 50.0)
    world.add_source("element", [(offset, 0, 0)], ppf=1.0, axis=(0, 0, 1))
    world.add_head("disc", (0, 0, h), normal=(0, 0, -1), radius=r)
    share = flux_on_head(trace(world, photons_log2=20), "disc")
    agree(share, disc_factor(r, h, offset), resolves=0.012, what=f"Lambertian element to disc, offset {offset}")


def test_glowing_lid_of_a_black_box():
    """View factors inside a box .6 x .3 x .36 m (Howell C-11 and C-14): lid to bottom, and lid to its four walls."""
    a, b, h = 0.6, 0.3, 0.36
    world = World()
    black = world.opaque("black", 0.0)
    faces = {
        "bottom": rectangle((0, 0, 0), (a, 0, 0), (0, b, 0)),
        "front": rectangle((0, 0, 0), (a, 0, 0), (0, 0, h)),
        "back": rectangle((0, b, 0), (0, 0, h), (a, 0, 0)),
        "left": rectangle((0, 0, 0), (0, 0, h), (0, b, 0)),
        "right": rectangle((a, 0, 0), (0, b, 0), (0, 0, h)),
    }
    for name, mesh in faces.items():
        world.add_mesh(name, *mesh, black)
    world.add_mesh("lid", *rectangle((0, 0, h), (0, b, 0), (a, 0, 0)), black)
    world.add_source("lid", [(a / 2, b / 2, h)], ppf=1.0, half_size=(a / 2, b / 2))
    result = trace(world, photons_log2=19)
    shares = {"bottom": 0.2330541, "front": 0.2573412, "back": 0.2573412, "left": 0.1261318, "right": 0.1261318}
    assert sum(shares.values()) == pytest.approx(1.0, abs=1e-6)
    total = 0.0
    for name, share in shares.items():
        sides = [flux_on_faces(result, name, side) for side in (0, 1)]
        lit = max(sides, key=lambda e: e.value)
        assert min(s.value for s in sides) == 0.0
        agree(lit, share, resolves=0.012, slack=1e-7, what=f"glowing lid to {name}")
        total += lit.value
    assert total == pytest.approx(1.0, abs=1e-12)


def test_between_grey_plates():
    """Two unbounded grey plates, the upper one glowing: E_floor = M / (1 - r1 r2), E_ceiling = M r1 / (1 - r1 r2).

    Both have their front up; the sides turned away from each other are of another grey, which must not matter.
    """
    r1, r2 = 0.7, 0.5
    world = World()
    for name, z, front, back in (("floor", 0.0, r1, 0.2), ("ceiling", 0.001, 0.9, r2)):
        grey = world.opaque(name, front, back_reflectance=back)
        world.add_mesh(name, *rectangle((-50, -50, z), (100, 0, 0), (0, 100, 0)), grey)
        world.add_surface_zone(name, name, area=1e4, min_up=EVERY_SIDE)
    world.add_source("glow", [(0, 0, 0.001)], ppf=1.0)
    result = trace(world, photons_log2=19)
    agree(flux_in_zone(result, "floor"), 1 / (1 - r1 * r2), resolves=0.005, what="grey plates: floor")
    agree(flux_in_zone(result, "ceiling"), r1 / (1 - r1 * r2), resolves=0.005, what="grey plates: ceiling")
    reject(flux_in_zone(result, "floor"), 1.0, "without inter-reflection")


def test_walls_do_not_leak_into_the_next_room():
    """A black box round the source: nothing escapes, everything arrives."""
    world = World()
    world.add_mesh("box", *box((0, 0, 0), (0.6, 0.3, 0.36), inward=True), world.opaque("box", 0.0))
    world.add_source("lamp", [(0.3, 0.15, 0.2)], ppf=1.0, beam_exponent=0.0)
    result = trace(world, photons_log2=19)
    assert result.ledger_quanta()["past the tank"] == 0
    agree(flux_on_faces(result, "box", 0), 1.0, resolves=1e-9, what="inside of a black box")
