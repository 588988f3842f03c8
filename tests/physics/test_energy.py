"""Energy in closed rooms, and light in absorbing and scattering water."""

from __future__ import annotations

import math

import numpy as np
import pytest
from rooms import EVERY_SIDE, catcher, narrow_beam, sheet, slab

from checking import (
    agree,
    flux_in_zone,
    flux_of_cells,
    flux_of_points,
    flux_on_faces,
    flux_on_head,
    reject,
    scaled,
    trace,
)
from underlit.lowering.compiled import Grid
from underlit.lowering.world import World, box, rectangle
from underlit.results.estimate import Estimate


def grey_box(rho, size=(1.0, 0.7, 0.4)):
    world = World()
    world.add_mesh("box", *box((0, 0, 0), size, inward=True), world.opaque("box", rho))
    world.add_surface_zone("box", "box", area=1.0, min_up=EVERY_SIDE)
    return world


@pytest.mark.parametrize(("rho", "photons_log2", "resolves"), [(0.5, 20, 0.003), (0.8, 18, 0.005), (0.95, 18, 0.005)])
def test_closed_grey_box(rho, photons_log2, resolves):
    """E = Phi / [A (1 - rho)] inside, whatever the shape: what the walls absorb is what is emitted."""
    world = grey_box(rho)
    world.add_source("lamp", [(0.5, 0.3, 0.2)], ppf=1.0)
    result = trace(world, photons_log2=photons_log2)
    measured = flux_in_zone(result, "box")
    exact = 1 / (1 - rho)
    agree(measured, exact, resolves=resolves, what=f"grey box, rho = {rho}")
    assert measured.standard_error < 0.001 * exact
    assert measured.value == pytest.approx(exact, rel=1e-3)
    if rho == 0.95:
        # the walk stopped after 80 bounces: 1 + rho + ... + rho^80
        reject(measured, sum(rho**k for k in range(81)), "bounce cap of 80")
    assert result.ledger_quanta()["past the tank"] == 0


FURNACE = (0.4, 0.3, 0.15, 0.3)
"""Length, width, water level and height of the furnace [m]."""


def furnace(rho):
    """A closed grey box: air over lossless water, a glass block in it, leaves that absorb nothing.

    Each wall is a mesh and a zone of its own: (name, position, axis, half sizes, index of what it stands in).
    """
    world = World()
    water, glass = world.medium("water", 1.333), world.medium("glass", 1.52)
    wall = world.opaque("wall", rho)
    a, b, level, top = FURNACE
    walls = [
        ("bottom", (a / 2, b / 2, 0.0), (0, 0, 1), (a / 2, b / 2), water),
        ("top", (a / 2, b / 2, top), (0, 0, -1), (a / 2, b / 2), 0),
    ]
    for name, lo, hi, medium in (("wet", 0.0, level, water), ("dry", level, top, 0)):
        middle, half = (lo + hi) / 2, (hi - lo) / 2
        walls += [
            (f"{name} left", (0.0, b / 2, middle), (1, 0, 0), (b / 2, half), medium),
            (f"{name} right", (a, b / 2, middle), (-1, 0, 0), (b / 2, half), medium),
            (f"{name} front", (a / 2, 0.0, middle), (0, 1, 0), (a / 2, half), medium),
            (f"{name} back", (a / 2, b, middle), (0, -1, 0), (a / 2, half), medium),
        ]
    for name, centre, axis, (u, v), _ in walls:
        along = np.array([0.0, 1.0, 0.0] if axis[0] else [1.0, 0.0, 0.0])
        across = np.abs(np.cross(axis, along))
        corner = np.array(centre) - u * along - v * across
        pair = (2 * u * along, 2 * v * across)
        front = np.dot(np.cross(*pair), axis) > 0
        world.add_mesh(name, *rectangle(corner, *(pair if front else pair[::-1])), wall)
        world.add_surface_zone(name, name, area=4 * u * v, min_up=EVERY_SIDE)
    world.add_mesh("surface", *rectangle((0, 0, level), (a, 0, 0), (0, b, 0)), world.interface("surface", 0, water))
    world.add_mesh("block", *box((0.05, 0.05, 0.03), (0.15, 0.2, 0.1)), world.interface("block", water, glass))
    rng = np.random.default_rng(5)
    centres = rng.uniform((0.22, 0.06, 0.03), (0.34, 0.24, 0.27), (60, 3))
    corners = centres[:, None] + rng.uniform(-0.03, 0.03, (60, 3, 3))
    world.add_mesh("leaves", corners.reshape(-1, 3), np.arange(180).reshape(-1, 3), world.leaf("leaf", 0.3, 0.7))
    return world, walls


def test_nearly_closed_furnace():
    """One lamp in a box of rho = .995: E_water / E_air = n^2 on the walls within 1 %, as radiance goes with n^2.

    (Kirchhoff; Born & Wolf 4.8.1.) And the walls absorb all that is emitted.
    """
    rho = 0.995
    world, walls = furnace(rho)
    world.add_source("lamp", [(0.2, 0.15, 0.25)], ppf=1.0, beam_exponent=0.0)
    result = trace(world, photons_log2=16)
    agree(flux_of_points(result, *range(len(walls))), 1 / (1 - rho), resolves=0.03, what="furnace: energy balance")
    area = sum(4 * u * v for *_, (u, v), medium in walls if medium)
    signs = tuple(1.0 if medium else -(1.333**2) for *_, medium in walls)
    dry = [i for i, w in enumerate(walls) if not w[-1]]
    # wet and dry walls have the same area: E_wet - n^2 E_dry is zero up to the unevenness of direct light, 1 - rho
    assert sum(4 * w[3][0] * w[3][1] for w in walls if not w[-1]) == pytest.approx(area)
    air = flux_of_points(result, *dry).value
    difference = scaled(flux_of_points(result, *range(len(walls)), signs=signs), 1 / (1.333**2 * air))
    ratio = Estimate(1 + difference.value, difference.standard_error, difference.dof)
    agree(ratio, 1.0, resolves=0.02, slack=0.01, what="furnace: wet over n^2 times dry")
    assert difference.standard_error < 0.0015
    assert result.ledger_quanta()["leaf"] == 0


def test_glowing_furnace():
    """Walls that glow with (1 - rho) n^2 fill the box with the radiance of a cavity, n^2 everywhere and in every direction.

    Exact at any reflectance (Kirchhoff): every wall, meter head and leaf counts 1 in air and n^2 in water.
    """
    rho, n2 = 0.7, 1.333**2
    world, walls = furnace(rho)
    for name, centre, axis, (u, v), medium in walls:
        along = (0, 1, 0) if axis[0] else (1, 0, 0)
        ppf = (1 - rho) * (n2 if medium else 1.0) * 4 * u * v
        world.add_source(name, [centre], ppf=ppf, axis=axis, along=along, half_size=(u, v), medium=medium)
    heads = {
        "up": ((0.25, 0.15, 0.2), (0, 0, 1)),
        "aslant": ((0.1, 0.15, 0.22), (1, 2, -1)),
        "wet up": ((0.25, 0.15, 0.05), (0, 0, 1)),
        "wet aslant": ((0.2, 0.15, 0.08), (-1, 1, -2)),
    }
    for name, (centre, normal) in heads.items():
        world.add_head(name, centre, normal=normal, radius=0.04)
    result = trace(world, photons_log2=17)
    zones = result.zones()
    for name, *_, medium in walls:
        agree(zones[name], n2 if medium else 1.0, resolves=0.015, what=f"glowing furnace: {name}")
    for name, estimate in result.heads().items():
        agree(estimate, n2 if name.startswith("wet") else 1.0, resolves=0.04, what=f"glowing furnace: head {name}")
    reject(result.heads()["wet up"], 1.333, "radiance as n")


@pytest.mark.parametrize("absorption", [0.05, 1.0, 20.0])
def test_beer_lambert_column(absorption):
    """Straight down through 0.6 m of water: exp(-a d), planes and heads on the way too, to the rounding of quanta."""
    world = World()
    water = world.medium("water", 1.0, absorption)
    sheet(world, "surface", 0.6, world.interface("surface", 0, water), half=1.0)
    catcher(world, "floor", 0.0, 1.0)
    narrow_beam(world, (0.1, 0.1, 0.7), (0, 0, -1))
    world.add_head("head", (0.1, 0.1, 0.25), radius=0.05)
    world.add_planes(Grid((-1, -1, 0.1), (2.0, 2.0, 0.1), (1, 1, 5), np.full((5, 1, 1), 4.0)))
    result = trace(world, photons_log2=17)
    assert flux_in_zone(result, "floor").value == pytest.approx(math.exp(-absorption * 0.6), rel=1e-7)
    assert flux_on_head(result, "head").value == pytest.approx(math.exp(-absorption * 0.35), rel=1e-7)
    wanted = [math.exp(-absorption * (0.6 - z)) / 4.0 for z in (0.1, 0.2, 0.3, 0.4, 0.5)]
    assert result.planes().value.ravel() == pytest.approx(wanted, rel=1e-7)


@pytest.mark.parametrize("tau", [0.1, 0.5, 2.0])
def test_absorber_under_diffuse_light(tau):
    """A slab of pure absorber under Lambertian light: T = 2 E3(tau) (Siegel & Howell, Thermal Radiation Heat Transfer)."""
    from scipy.special import expn

    world, thickness = World(), 0.01
    gel = world.medium("gel", 1.0, tau / thickness)
    slab(world, 0.01, 0.01 + thickness, world.interface("gel", 0, gel))
    catcher(world, "floor", 0.0)
    world.add_source("diffuse", [(0, 0, 0.021)], ppf=1.0)
    exact = 2 * float(expn(3, tau))
    if tau == 0.1:
        assert exact == pytest.approx(0.832583, abs=5e-7)
    measured = flux_in_zone(trace(world, photons_log2=18), "floor")
    agree(measured, exact, resolves=0.005, slack=1e-6, what=f"absorber under diffuse light, tau = {tau}")


def isotropic_slab_transmittance(tau, cells=1500):
    """Diffuse transmittance of a slab that scatters alike in all directions and absorbs nothing.

    The source function solves J = E2(t)/2 + 1/2 integral E1|t - t'| J dt' (Schwarzschild-Milne); T = 2 E3(tau) +
    2 integral E2(tau - t) J dt. J is taken constant over cells, the kernels integrated exactly over them.
    """
    from scipy.special import expn

    edges = np.linspace(0, tau, cells + 1)
    middle = 0.5 * (edges[1:] + edges[:-1])
    distance = edges[None, :] - middle[:, None]
    # antiderivative of E1|x| is sign(x) (1 - E2|x|)
    step = np.sign(distance) * (1 - expn(2, np.abs(distance)))
    kernel = 0.5 * (step[:, 1:] - step[:, :-1])
    source = np.linalg.solve(np.eye(cells) - kernel, 0.5 * expn(2, middle))
    leaving = expn(3, tau - edges)
    return float(2 * expn(3, tau) + 2 * (source * (leaving[1:] - leaving[:-1])).sum())


@pytest.mark.parametrize("tau", [0.2, 1.0, 3.0])
def test_scattering_slab(tau):
    """Isotropic scattering without absorption: .8491, .5532, .3016 (Heaslet & Warming 1965, from memory), and T + R = 1."""
    exact = isotropic_slab_transmittance(tau)
    assert exact == pytest.approx({0.2: 0.8491, 1.0: 0.5532, 3.0: 0.3016}[tau], abs=3e-4)
    world, thickness = World(), 0.01
    milk = world.medium("milk", 1.0, 0.0, tau / thickness, g=0.0)
    slab(world, 0.01, 0.01 + thickness, world.interface("milk", 0, milk))
    catcher(world, "floor", 0.0)
    catcher(world, "ceiling", 0.03)
    world.add_source("diffuse", [(0, 0, 0.021)], ppf=1.0)
    result = trace(world, photons_log2=18)
    measured = flux_in_zone(result, "floor")
    agree(measured, exact, resolves=0.025, slack=1e-5, what=f"scattering slab, tau = {tau}")
    # nothing absorbs: every quantum leaves, on one side or the other
    assert flux_of_points(result, 0, 1).value == 1.0
    lines = result.ledger_quanta()
    assert lines["milk"] == lines["roulette_loss"] == lines["roulette_gain"] == 0


@pytest.mark.parametrize(("g", "a", "b"), [(0.0, 1.0, 3.0), (0.9, 1.0, 10.0), (-0.4, 0.5, 2.0)])
def test_mean_travel_in_scattering_water(g, a, b):
    """Light spends itself after a mean travel of 1/(a + b (1 - g)) along its first direction.

    That is the net flux through all levels, integrated over height (moments of the transfer equation: free paths 1/(a + b),
    each scattering keeps g of the direction). Levels 2 cm apart count downward light; a second beam, upward, gives the rest.
    """
    spacing, levels, top = 0.02, 700, 7.0
    net = []
    for direction in (-1.0, 1.0):
        world = World()
        water = world.medium("water", 1.0, a, b, g=g)
        world.add_mesh("sea", *box((-60, -60, -60), (60, 60, 60), inward=True), world.opaque("shore", 0.0))
        grid = Grid((-50, -50, -top + spacing / 2), (100.0, 100.0, spacing), (1, 1, levels), np.ones((levels, 1, 1)))
        world.add_planes(grid)
        narrow_beam(world, (0.0, 0.0, 0.0), (0, 0, direction), medium=water)
        result = trace(world, photons_log2=17, seed=3 + int(direction))
        row = result.compiled.tables.layout[0]
        net.append(scaled(flux_of_cells(result, slice(int(row["planes"]), int(row["zones"]))), spacing))
    travel = Estimate(
        net[0].value - net[1].value, math.hypot(net[0].standard_error, net[1].standard_error), min(e.dof for e in net)
    )
    exact = 1 / (a + b * (1 - g))
    agree(travel, exact, resolves=0.05, slack=3e-4 * exact, what=f"mean travel, g = {g}")


def planted_sea(source_below):
    """Two black patches that see each other through a water surface, cloudy water and leaves; patch A is below."""
    world = World()
    water = world.medium("water", 1.333, 0.8, 4.0, g=0.85)
    a, b, level, top = 0.3, 0.2, 0.16, 0.26
    world.add_mesh("floor", *rectangle((0, 0, 0), (a, 0, 0), (0, b, 0)), world.opaque("floor", 0.4))
    for name, lo, hi in (("wet", 0.0, level), ("dry", level, top)):
        corners = np.array(
            [(0, 0, lo), (a, 0, lo), (a, b, lo), (0, b, lo), (0, 0, hi), (a, 0, hi), (a, b, hi), (0, b, hi)]
        )
        quads = [(0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)]
        faces = np.array([t for i, j, k, m in quads for t in ((i, k, j), (i, m, k))])
        world.add_mesh(name, corners, faces, world.opaque(name, 0.6))
    world.add_mesh("surface", *rectangle((0, 0, level), (a, 0, 0), (0, b, 0)), world.interface("surface", 0, water))
    rng = np.random.default_rng(8)
    centres = rng.uniform((0.03, 0.03, 0.05), (0.27, 0.17, 0.2), (80, 3))
    leaves = centres[:, None] + rng.uniform(-0.025, 0.025, (80, 3, 3))
    world.add_mesh("leaves", leaves.reshape(-1, 3), np.arange(240).reshape(-1, 3), world.leaf("leaf", 0.15, 0.25))
    patch_a = ((0.14, 0.1, 0.03), (0.06, 0.05), 1.0)
    patch_b = ((0.17, 0.1, 0.23), (0.05, 0.06), -1.0)
    for name, ((x, y, z), (u, v), up) in (("A", patch_a), ("B", patch_b)):
        corner, along, across = (x - u, y - v, z), (2 * u, 0, 0), (0, 2 * v, 0)
        mesh = rectangle(corner, along, across) if up > 0 else rectangle(corner, across, along)
        world.add_mesh(name, *mesh, world.opaque(name, 0.3))
    centre, half, up = patch_a if source_below else patch_b
    world.add_source("patch", [centre], ppf=1.0, axis=(0, 0, up), half_size=half, medium=water if source_below else 0)
    return world


def test_reciprocity_in_a_planted_cloudy_tank():
    """F_AB A_A n_A^2 = F_BA A_B n_B^2 for Lambertian patches, whatever scatters between (Helmholtz; Born & Wolf 4.8.1)."""
    area_a, area_b = 4 * 0.06 * 0.05, 4 * 0.05 * 0.06
    up = flux_on_faces(trace(planted_sea(True), photons_log2=19), "B", 0)
    down = flux_on_faces(trace(planted_sea(False), photons_log2=19, seed=2), "A", 0)
    ratio = up.value * area_a * 1.333**2 / (down.value * area_b)
    error = ratio * math.hypot(up.standard_error / up.value, down.standard_error / down.value)
    estimate = Estimate(ratio, error, 31.0)
    agree(estimate, 1.0, resolves=0.06, what="reciprocity")
    reject(estimate, 1.333**2, "reciprocity without n^2")
