"""Small worlds in which the kernels replay the oracle; every kind of surface, medium, light and counter occurs."""

from __future__ import annotations

import numpy as np

from underlit.lowering.compiled import Grid
from underlit.lowering.world import World, rectangle
from underlit.transport.tables import BINS, FaceShape, Tables

LENGTH, WIDTH, HEIGHT, GLASS, LEVEL = 0.5, 0.3, 0.35, 0.006, 0.29
BLUE_TO_RED = np.linspace(0.0, 1.0, BINS)


def add_quad(world: World, part: str, points, surface: int) -> None:
    """Flat quadrilateral, front by the right-hand rule."""
    world.add_mesh(part, np.array(points, dtype=float), np.array([[0, 1, 2], [0, 2, 3]]), surface)


def add_sides(world: World, part: str, low, high, surfaces) -> None:
    """Upright sides (front, right, back, left) of a box, looking outwards; None leaves one out."""
    (x0, y0, z0), (x1, y1, z1) = low, high
    ring = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    for (a, b), surface in zip(zip(ring, ring[1:] + ring[:1], strict=True), surfaces, strict=True):
        if surface is not None:
            add_quad(world, part, [(*a, z0), (*b, z0), (*b, z1), (*a, z1)], surface)


def add_plate(world: World, part: str, low, high, surface: int) -> None:
    """Closed box looking outwards."""
    (x0, y0, z0), (x1, y1, z1) = low, high
    add_sides(world, part, low, high, [surface] * 4)
    add_quad(world, part, [(x0, y0, z1), (x1, y0, z1), (x1, y1, z1), (x0, y1, z1)], surface)
    add_quad(world, part, [(x0, y0, z0), (x0, y1, z0), (x1, y1, z0), (x1, y0, z0)], surface)


def tank(absorption=0.05, scattering=0.0, outer_back: float | None = None, lid_film: float | None = None) -> World:
    """A filled glass tank with bed and counters, on nothing.

    outer_back: reflectance of paint on the back pane; lid_film: share that the film on a glass lid lets through.
    """
    world = World()
    water = world.medium("water", 1.343 - 0.012 * BLUE_TO_RED, absorption, scattering, g=0.924)
    glass = world.medium("glass", 1.528 - 0.015 * BLUE_TO_RED, 1.5 + 2.0 * BLUE_TO_RED)
    outside = world.interface("outer panes", 0, glass, exit="through the panes")
    wet = world.interface("panes under water", glass, water, film=0.97)
    dry = world.interface("panes above water", glass, 0)
    paint = None if outer_back is None else world.opaque("paint", outer_back, back_reflectance=0.5 * outer_back)
    outer = [outside, outside, outside if paint is None else paint, outside]
    low, high = (-GLASS, -GLASS, -GLASS), (LENGTH + GLASS, WIDTH + GLASS, HEIGHT)
    add_sides(world, "tank", low, high, outer)
    (x0, y0, z0), (x1, y1, _) = low, high
    add_quad(world, "tank", [(x0, y0, z0), (x0, y1, z0), (x1, y1, z0), (x1, y0, z0)], outside)
    add_sides(world, "tank", (0, 0, 0), (LENGTH, WIDTH, LEVEL), [wet] * 4)
    add_sides(world, "tank", (0, 0, LEVEL), (LENGTH, WIDTH, HEIGHT), [dry] * 4)
    rim_in = [(0, 0), (LENGTH, 0), (LENGTH, WIDTH), (0, WIDTH)]
    rim_out = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    for k in range(4):
        points = [(*p, HEIGHT) for p in (rim_out[k], rim_out[k - 3], rim_in[k - 3], rim_in[k])]
        add_quad(world, "tank", points, outside)
    surface = world.interface("water surface", 0, water, exit="out of the water")
    world.add_mesh("water surface", *rectangle((0, 0, LEVEL), (LENGTH, 0, 0), (0, WIDTH, 0)), surface)
    bed = world.opaque("bed", 0.1 + 0.2 * BLUE_TO_RED, back_reflectance=0.3)
    world.add_mesh("bed", *rectangle((0, 0, 0), (LENGTH, 0, 0), (0, WIDTH, 0)), bed)
    add_counters(world)
    if lid_film is not None:
        lid = world.interface("lid", 0, glass, film=lid_film)
        add_plate(world, "lid", (0.01, -0.004, 0.353), (0.49, 0.304, 0.357), lid)
    return world


def add_counters(world: World) -> None:
    """Planes, map, zones and heads for a tank."""
    flat, deep = (0.1, 0.1, 0.05), (0.1, 0.1, 0.07)
    world.add_map("bed", Grid((0, 0, 0), flat, (5, 3, 1), np.full((1, 3, 5), 0.01)))
    world.add_planes(Grid((0, 0, 0.03), deep, (5, 3, 5), np.full((5, 3, 5), 0.01)))
    kidney = np.array([[0.05, 0.04], [0.3, 0.06], [0.27, 0.15], [0.35, 0.26], [0.06, 0.2], [0.15, 0.12]])
    world.add_surface_zone("carpet", "bed", area=0.04, outline=kidney, min_up=0.5)
    world.add_height_zone("stems", 0.12, area=0.04, outline=kidney)
    world.add_height_zone("below the lamp", 0.31, area=0.15)
    world.add_head("on the bed", (0.25, 0.15, 0.002), radius=0.03)
    world.add_head("tilted", (0.2, 0.1, 0.1), normal=(0.5, 0.2, 0.8), radius=0.04)


def add_lamp(world: World, **more) -> None:
    """A row of LEDs over the tank."""
    positions = [(x, 0.15, 0.45) for x in np.linspace(0.1, 0.4, 6)]
    settings = dict(ppf=60.0, half_size=(0.004, 0.002), beam_exponent=1.3, spectrum=1.0 + BLUE_TO_RED) | more
    world.add_source("lamp", positions, **settings)


def lid_and_water() -> World:
    """Clear water under a glass lid with condensation."""
    world = tank(lid_film=0.9)
    add_lamp(world)
    return world


def tinted_scattering_water() -> World:
    """Brown, cloudy water."""
    world = tank(absorption=6.0 - 5.0 * BLUE_TO_RED, scattering=3.0)
    add_lamp(world)
    return world


def painted_and_sheeted_walls() -> World:
    """Back pane painted, a white sheet 1 mm behind the left pane, a dark one under the tank."""
    world = tank(outer_back=0.6)
    white, dark = world.opaque("white sheet", 0.85), world.opaque("mat", 0.05)
    x = -GLASS - 0.001
    add_quad(world, "sheet", [(x, 0, 0), (x, 0.3, 0), (x, 0.3, 0.3), (x, 0, 0.3)], white)
    add_quad(world, "mat", [(-1, -1, -0.008), (1.5, -1, -0.008), (1.5, 1.3, -0.008), (-1, 1.3, -0.008)], dark)
    add_lamp(world)
    return world


def leaves_across_the_surface() -> World:
    """Tilted leaves, half in the air and half in the water, and a stem of them below."""
    world = tank(absorption=1.0, scattering=0.2)
    leaf = world.leaf("leaf", 0.08 + 0.1 * BLUE_TO_RED, 0.05 + 0.15 * BLUE_TO_RED)
    rng = np.random.default_rng(4)
    for k in range(30):
        centre = np.array(
            [rng.uniform(0.06, 0.44), rng.uniform(0.06, 0.24), LEVEL if k % 3 else rng.uniform(0.06, 0.2)]
        )
        a, b = rng.normal(size=(2, 3))
        a, b = 0.04 * a / np.linalg.norm(a), 0.015 * b / np.linalg.norm(b)
        points = [centre - a, centre + b, centre + a, centre - b]
        world.add_mesh("leaves", np.array(points), np.array([[0, 1, 2], [0, 2, 3]]), leaf)
    world.add_surface_zone("leaves", "leaves", area=0.02, min_up=0.3)
    add_lamp(world)
    return world


def stone_on_the_bed() -> World:
    """A closed stone sunk a little into the bed."""
    from trimesh.creation import icosphere

    world = tank(scattering=0.5)
    ball = icosphere(subdivisions=1, radius=0.06)
    stone = world.opaque("stone", 0.35, closed=True)
    world.add_mesh("stone", ball.vertices * (1.3, 1.0, 0.9) + (0.21, 0.16, 0.05), ball.faces, stone)
    world.add_surface_zone("stone", "stone", area=0.02, min_up=0.2)
    add_lamp(world)
    return world


def lenses_heads_and_a_mirror() -> World:
    """Two lights, one with a lens by table and tilted, one of round faces; a mirror sheet in the water."""
    world = tank(absorption=0.3)
    mirror = world.opaque("mirror", 0.9, specular=0.95)
    add_quad(world, "mirror", [(0.42, 0.05, 0.02), (0.45, 0.25, 0.03), (0.46, 0.25, 0.25), (0.43, 0.05, 0.24)], mirror)
    angles = np.radians([0, 10, 25, 40, 60, 90])
    table = (angles, np.array([1.0, 1.1, 0.9, 0.4, 0.1, 0.0]))
    add_lamp(world, beam_table=table, axis=(0.2, 0.1, -1.0), key=17)
    round_lights = [(0.3, 0.1, 0.42), (0.35, 0.2, 0.42)]
    world.add_source(
        "spot", round_lights, ppf=9.0, half_size=(0.01, 0.01), face=FaceShape.DISC, beam_exponent=8.0, key=5
    )
    return world


def a_lamp_by_its_web() -> World:
    """A light that is brighter to one side, by an intensity web of six planes and five angles."""
    world = tank(absorption=0.1)
    azimuth = np.radians([0.0, 60.0, 90.0, 180.0, 300.0, 360.0])
    theta = np.radians([0.0, 20.0, 45.0, 70.0, 90.0])
    web = np.array(
        [
            [9.0, 8.0, 7.0, 2.0, 0.0],
            [9.0, 9.5, 6.0, 1.0, 0.0],
            [9.0, 5.0, 2.0, 0.5, 0.0],
            [9.0, 4.0, 0.0, 0.0, 0.0],
            [9.0, 7.0, 5.0, 3.0, 1.0],
            [9.0, 8.0, 7.0, 2.0, 0.0],
        ]
    )
    add_lamp(world, beam_web=(azimuth, theta, web), axis=(0.1, 0.2, -1.0), key=23)
    return world


def copies_of_one_plant() -> World:
    """A plant of a dozen leaves, kept once and placed thirty times: turned, tilted, scaled; some cross each other."""
    world = tank(absorption=0.1)
    draw = np.random.default_rng(11)
    tufts = world.leaf("tufts", 0.2, 0.3)
    base = draw.uniform(-0.01, 0.01, (12, 1, 3)) * (1, 1, 0)
    leaves = base + draw.uniform(-0.02, 0.02, (12, 3, 3)) + (0, 0, 0.03)
    plant = world.add_template(leaves.reshape(-1, 3), np.arange(36).reshape(-1, 3), tufts)
    angle, lean = draw.uniform(0, 2 * np.pi, 30), draw.uniform(-0.4, 0.4, 30)
    c, s, cl, sl = np.cos(angle), np.sin(angle), np.cos(lean), np.sin(lean)
    zero, one = np.zeros(30), np.ones(30)
    turn = np.array([[c, -s, zero], [s, c, zero], [zero, zero, one]]).transpose(2, 0, 1)
    tilt = np.array([[one, zero, zero], [zero, cl, -sl], [zero, sl, cl]]).transpose(2, 0, 1)
    places = draw.uniform((0.08, 0.08, 0.01), (0.42, 0.22, 0.1), (30, 3))
    world.add_instances("tufts", plant, places, turn @ tilt, draw.uniform(0.6, 1.5, 30))
    add_lamp(world)
    return world


def sides_of_their_own() -> Tables:
    """A faulty room of the sketch's: every side has its own numbers and ledger line, and everything odd happens.

    It has no floor, so that light is lost in a medium; a plane between media that are not there; a shell that is no
    closed solid although it says so.
    """
    from oracle_sketch import Sketch

    from underlit.transport.tables import SurfaceKind

    sketch = Sketch()
    fog = sketch.medium(1.2, 0.5, 1.5, g=0.0)
    fog_too = sketch.medium(1.2, 0.1, np.where(BLUE_TO_RED < 0.5, 0.5, 0.0), g=-0.4)
    wall = sketch.opaque(0.1, 0.7, specular=0.3)
    sketch.walls((0, 0, 0), (1, 1, 1), wall)
    sketch.level(0, 1, 0, 1, 1, wall)
    sketch.level(0.2, 0.4, 0.2, 0.7, 0.75, sketch.interface(fog, fog_too))
    sketch.level(0.6, 0.7, 0.2, 0.3, 0.7, sketch.opaque(0.5, closed=1))
    sketch.level(0, 1, 0, 1, 0.6, sketch.interface(0, fog, film=0.8, exit_bucket=sketch.bucket()))
    sketch.level(0, 1, 0, 1, 0.3, sketch.interface(fog, fog_too, film=0.5))
    veil = sketch.surface(SurfaceKind.LEAF, (0.3, 0.1), (0.4, 0.6))
    sketch.polygon([(0.1, 0.1, 0.2), (0.9, 0.1, 0.7), (0.8, 0.9, 0.8), (0.2, 0.8, 0.25)], veil, part=2)
    sketch.source([(0.5, 0.5, 0.9), (0.3, 0.4, 0.9)], half=(0.1, 0.02), tilt=0.3, exponent=0.0, key=1 << 40)
    sketch.zone(part=2, min_up=-2.0)
    sketch.zone(z=0.45)
    sketch.head((0.5, 0.4, 0.5), (0.1, 0.9, -0.2), 0.3)
    return sketch.build(tree=True)


def maps_and_planes_of_three_tanks() -> World:
    """A filled tank, a bed beside it and one under it, each with its own map and planes of another fineness."""
    world = tank()
    bed = world.opaque("dark bed", 0.2)
    for name, corner, (nx, ny, nz) in (("beside", (0.6, 0.0, -0.1), (4, 3, 2)), ("under", (0.1, 0.0, -0.3), (2, 5, 4))):
        world.add_mesh(name, *rectangle(corner, (0.4, 0, 0), (0, 0.3, 0)), bed)
        spacing = (0.4 / nx, 0.3 / ny, 0.02)
        world.add_map(name, Grid(corner, spacing, (nx, ny, 1), np.full((1, ny, nx), 0.01)))
        x, y, z = corner
        world.add_planes(Grid((x, y, z + 0.01), spacing, (nx, ny, nz), np.full((nz, ny, nx), 0.01)))
    add_lamp(world)
    return world


WORLDS = [
    lid_and_water,
    tinted_scattering_water,
    painted_and_sheeted_walls,
    leaves_across_the_surface,
    stone_on_the_bed,
    lenses_heads_and_a_mirror,
    a_lamp_by_its_web,
    copies_of_one_plant,
    maps_and_planes_of_three_tanks,
    sides_of_their_own,
]
