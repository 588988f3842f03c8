"""Air-backed walls guide light down; what is behind a wall decides whether they do.

A ray that entered through a flat top meets a wall at the angle of its own component along the wall's normal, and behind the
glass total reflection is Snell's law between water and air, whatever the glass: sin(th_w) |cos phi| < sqrt(1 - 1/n^2).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from checking import agree, flux_in_zone, not_below, reject, trace
from underlit.lowering.world import World, rectangle
from underlit.results.estimate import Estimate

WATER, GLASS = 1.333, 1.52
WIDTH, THICKNESS = 0.1, 0.006


def four_sides(low, high, height):
    """The four sides of an upright square shaft, fronts outside."""
    v = np.array([(x, y, z) for z in (0.0, height) for x, y in ((low, low), (high, low), (high, high), (low, high))])
    quads = [(0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)]
    return v, np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))])


def upright(x, height, low=0.0, high=WIDTH):
    """A wall across x, front towards growing x."""
    return rectangle((x, low, 0), (0, high - low, 0), (0, 0, height))


def world_with_surface(height):
    """Lambertian light on the middle of a square of water; its medium."""
    world = World()
    water = world.medium("water", WATER)
    world.add_mesh(
        "surface", *rectangle((0, 0, height), (WIDTH, 0, 0), (0, WIDTH, 0)), world.interface("top", 0, water)
    )
    centre = (WIDTH / 2, WIDTH / 2, height + 1e-4)
    world.add_source("diffuse", [centre], ppf=1.0, half_size=(WIDTH / 4, WIDTH / 4))
    return world, water


def floor(world, low=(0.0, 0.0), high=(WIDTH, WIDTH)):
    """A black floor and its zone."""
    mesh = rectangle((*low, 0), (high[0] - low[0], 0, 0), (0, high[1] - low[1], 0))
    world.add_mesh("floor", *mesh, world.opaque("floor", 0.0))
    world.add_surface_zone("floor", "floor", area=1.0)


def two_panes(height: float, backing: str) -> Estimate:
    """Water between glass panes left and right and perfect mirrors front and back: light that reaches the floor."""
    world, water = world_with_surface(height)
    glass, black, mirror = (
        world.medium("glass", GLASS),
        world.opaque("black", 0.0),
        world.opaque("mirror", 1.0, specular=1.0),
    )
    ends = (-THICKNESS, WIDTH + THICKNESS)
    world.add_mesh("left", *upright(0.0, height), world.interface("left", water, glass))
    world.add_mesh("right", *upright(WIDTH, height), world.interface("right", glass, water))
    for name, x, front_first in (("left", ends[0], (glass, 0)), ("right", ends[1], (0, glass))):
        surface = black if backing == "paint" else world.interface(f"{name} outer", *front_first)
        world.add_mesh(f"{name} outer", *upright(x, height), surface)
        world.add_mesh("rim", *rectangle((min(x, WIDTH), 0, height), (THICKNESS, 0, 0), (0, WIDTH, 0)),
                       world.interface(f"{name} rim", 0, glass), face=name)  # fmt: skip
        if backing == "sheet":
            world.add_mesh("sheet", *upright(x + math.copysign(0.001, x), height), black, face=name)
    for y in (0.0, WIDTH):
        world.add_mesh("mirror", *rectangle((ends[0], y, 0), (ends[1] - ends[0], 0, 0), (0, 0, height)), mirror)
    # the floor lies under the glass too: light that walks down inside a pane has arrived
    floor(world, (ends[0], 0.0), (ends[1], WIDTH))
    return flux_in_zone(trace(world, photons_log2=16), "floor")


def entering(walls: int, n: int = 400_000) -> tuple[float, float]:
    """(all, guided): shares of Lambertian light that enter flat water, and that all walls reflect for ever.

    walls: 4 walls with air behind, or 2, across x only. Fresnel's formulas in the textbook's angle form.
    """
    theta = (np.arange(n) + 0.5) / n * np.pi / 2
    refracted = np.arcsin(np.sin(theta) / WATER)
    r_s = (np.sin(theta - refracted) / np.sin(theta + refracted)) ** 2
    r_p = (np.tan(theta - refracted) / np.tan(theta + refracted)) ** 2
    weight = (1 - 0.5 * (r_s + r_p)) * np.sin(2 * theta) * (np.pi / 2 / n)
    # azimuths nearer to a wall's normal than this are not guided; beyond 45 deg the next wall's begin
    azimuth = np.arccos(np.minimum(1.0, math.sqrt(1 - 1 / WATER**2) / np.sin(refracted)))
    lost = azimuth / (np.pi / 4 if walls == 4 else np.pi / 2)
    return float(weight.sum()), float((weight * (1 - lost)).sum())


DEEP = 200 * WIDTH


def test_bare_column_of_water():
    """A column of water in air, 200 times as deep as wide, brings .9209 of what entered to its floor."""
    everything, guided = entering(4)
    assert guided / everything == pytest.approx(0.92088, abs=1e-5)
    world, water = world_with_surface(DEEP)
    world.add_mesh("sides", *four_sides(0.0, WIDTH, DEEP), world.interface("sides", 0, water))
    floor(world)
    measured = flux_in_zone(trace(world, photons_log2=16), "floor")
    # a little light just beyond the limit survives 100 reflections
    agree(measured, guided, slack=0.002, resolves=0.01, what="deep column of water")
    not_below(measured, guided, "deep column of water: guided light")
    reject(measured, everything, "all that entered")


@pytest.mark.parametrize("backing", ["air", "sheet"])
def test_glass_with_air_behind_guides_light(backing):
    """Panes of glass change nothing, nor does a black sheet with an air gap."""
    everything, guided = entering(2)
    measured = two_panes(DEEP, backing)
    agree(measured, guided, slack=0.002, resolves=0.012, what=f"deep panes with {backing} behind")
    not_below(measured, guided, f"deep panes with {backing} behind: guided light")
    reject(measured, everything, "all that entered")


def test_paint_in_contact_ends_it():
    """Black paint on the outer faces: only light along the panes arrives, far less than the guided share."""
    painted = two_panes(DEEP, "paint")
    assert 0 < painted.value < 0.1
    reject(painted, entering(2)[1], "guided in spite of paint")


def test_glass_tank_of_usual_proportions():
    """A glass shell twice as deep as wide keeps at least the guided share (its corners lose less than the rest adds)."""
    height = 2 * WIDTH
    world, water = world_with_surface(height)
    glass = world.medium("glass", GLASS)
    out = (-THICKNESS, WIDTH + THICKNESS)
    world.add_mesh("inside", *four_sides(0.0, WIDTH, height), world.interface("inside", glass, water))
    world.add_mesh("outside", *four_sides(*out, height), world.interface("outside", 0, glass))
    rim = world.interface("rim", 0, glass)
    for k, (x0, x1, y0, y1) in enumerate([(*out, out[0], 0.0), (*out, WIDTH, out[1]),
                                          (out[0], 0.0, 0.0, WIDTH), (WIDTH, out[1], 0.0, WIDTH)]):  # fmt: skip
        world.add_mesh("rim", *rectangle((x0, y0, height), (x1 - x0, 0, 0), (0, y1 - y0, 0)), rim, face=f"{k}")
    floor(world, (out[0], out[0]), (out[1], out[1]))
    measured = flux_in_zone(trace(world, photons_log2=18), "floor")
    everything, guided = entering(4)
    assert guided < measured.value < everything
    reject(measured, guided, "guided light only")
    reject(measured, everything, "all that entered")
