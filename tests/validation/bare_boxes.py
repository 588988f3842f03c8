"""Bare boxes of water under point lamps, as worlds for the tracer: ideal walls, thin glass, real glass."""

from __future__ import annotations

import numpy as np

from underlit.lowering.compiled import Grid
from underlit.lowering.world import OUTSIDE, World, rectangle

from .image_source import Box

CELLS = (12, 8)
LAMPED_BOX = Box(0.30, 0.20, 0.30, 0.08, ((0.05, 0.06), (0.16, 0.05), (0.24, 0.15), (0.10, 0.13)))
"""30 x 20 cm of water 30 cm deep, four lamps 8 cm over it, placed without symmetry."""


def box_world(box: Box, glass_thickness: float | None) -> World:
    """A box of water with upright walls up to its level and a black floor; None: no glass, water meets air.

    Zone "floor" is the floor inside, "under the glass" the black ground that the walls stand on; the map has CELLS.
    """
    world = World()
    water = world.medium("water", box.water)
    outer = world.medium("outside", box.outside) if box.outside != 1.0 else OUTSIDE
    size = (box.length, box.width)
    level = box.water_depth
    surface = world.interface("surface", OUTSIDE, water)
    world.add_mesh("surface", *rectangle((0, 0, level), (box.length, 0, 0), (0, box.width, 0)), surface)
    black = world.opaque("floor", 0.0)
    world.add_mesh("floor", *rectangle((0, 0, 0), (box.length, 0, 0), (0, box.width, 0)), black)
    if glass_thickness is None:
        _walls(world, "walls", size, 0.0, level, world.interface("walls", outer, water))
    else:
        glass = world.medium("glass", box.glass)
        _walls(world, "inner faces", size, 0.0, level, world.interface("inner faces", glass, water))
        _walls(world, "outer faces", size, glass_thickness, level, world.interface("outer faces", outer, glass))
        edge = world.interface("top edge", OUTSIDE, glass)
        world.add_mesh("top edge", *frame(size, glass_thickness, level), edge)
        world.add_mesh("under the glass", *frame(size, glass_thickness, 0.0), black)
        world.add_surface_zone("under the glass", "under the glass", area=1.0)
    world.add_surface_zone("floor", "floor", area=1.0)
    spacing = (box.length / CELLS[0], box.width / CELLS[1], 1.0)
    area = np.full((1, CELLS[1], CELLS[0]), spacing[0] * spacing[1])
    world.add_map("floor", Grid((0.0, 0.0, 0.0), spacing, (*CELLS, 1), area))
    world.add_source("lamps", [(x, y, level + box.lamp_height) for x, y in box.lamps], ppf=1.0)
    return world


def _walls(world: World, part: str, size: tuple[float, float], out: float, level: float, surface: int) -> None:
    """Four upright faces, fronts outside, moved out from the footprint."""
    low, x, y = -out, size[0] + out, size[1] + out
    foot = [(low, low, 0.0), (x, low, 0.0), (x, y, 0.0), (low, y, 0.0)]
    for k, side in enumerate(("front", "right", "back", "left")):
        along = np.subtract(foot[(k + 1) % 4], foot[k])
        world.add_mesh(part, *rectangle(foot[k], along, (0, 0, level)), surface, face=side)


def frame(size: tuple[float, float], width: float, z: float) -> tuple[np.ndarray, np.ndarray]:
    """A level frame round the footprint, front up: eight vertices, eight triangles."""
    x, y = size
    inner = [(0, 0, z), (x, 0, z), (x, y, z), (0, y, z)]
    outer = [(-width, -width, z), (x + width, -width, z), (x + width, y + width, z), (-width, y + width, z)]
    faces = [f for k in range(4) for j in [(k + 1) % 4] for f in ((k, 4 + k, 4 + j), (k, 4 + j, j))]
    return np.array(inner + outer, float), np.array(faces, np.int32)
