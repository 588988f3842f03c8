"""A world with several maps and stacks of planes: each counts its own light and nothing of the others."""

from __future__ import annotations

import numpy as np
import pytest

from underlit.backends.cpu import Tracer
from underlit.lowering.compiled import Grid
from underlit.lowering.world import World, rectangle
from underlit.transport.tables import PACKET

PLACES = {"left": (0.0, 0.0, 0.0), "right": (1.0, 0.0, 0.0), "below": (0.1, 0.0, -1.0)}
"""Corner of each floor [m]: two side by side, one under the first and overlapping it."""
SHAPES = {"left": (4, 2, 3), "right": (5, 3, 2), "below": (3, 4, 5)}
BATCHES = 2


def world_of(names: list[str]) -> World:
    """A floor in each place, 0.6 m by 0.3 m, with a map, a stack of planes and a thin beam that falls straight down on it."""
    world = World()
    black = world.opaque("black", 0.0)
    for name in PLACES:
        x, y, z = PLACES[name]
        world.add_mesh(name, *rectangle((x, y, z), (0.6, 0, 0), (0, 0.3, 0)), black)
        world.add_source(name, [(x + 0.4, y + 0.2, z + 0.5)], ppf=1.0, beam_exponent=1e30)
    for name in names:
        (x, y, z), (nx, ny, nz) = PLACES[name], SHAPES[name]
        spacing = (0.6 / nx, 0.3 / ny, 0.4 / nz)
        area = spacing[0] * spacing[1]
        world.add_map(name, Grid((x, y, z), spacing, (nx, ny, 1), np.full((1, ny, nx), area)))
        planes = Grid((x, y, z + 0.05), spacing, (nx, ny, nz), np.full((nz, ny, nx), area))
        world.add_planes(planes)
    return world


@pytest.mark.parametrize("names", [["left"], ["left", "right"], ["below", "left", "right"]])
def test_each_counts_its_own_light(names):
    """All of a beam is in one cell of its own map and one of each of its own planes, and nowhere else."""
    tracer = Tracer(world_of(names).compile().tables, batch_bits=12, threads=1)
    tracer.run([BATCHES] * len(PLACES))
    layout = tracer.tables.layout[0]
    all_light = float(BATCHES * (1 << 12) * PACKET)
    for source, lit in enumerate(PLACES):
        cells = tracer.counts[source].groups.sum(axis=0)
        first_map, first_plane = int(layout["map"]), int(layout["planes"])
        for name in names:
            nx, ny, nz = SHAPES[name]
            on_map = cells[first_map : first_map + ny * nx].reshape(ny, nx)
            on_planes = cells[first_plane : first_plane + nz * ny * nx].reshape(nz, ny, nx)
            expected = np.zeros((ny, nx))
            if name == lit:
                expected[int(0.2 / 0.3 * ny), int(0.4 / 0.6 * nx)] = all_light
            assert np.array_equal(on_map, expected), f"light of {lit} on the map of {name}"
            assert np.array_equal(on_planes, np.broadcast_to(expected, (nz, ny, nx))), (
                f"light of {lit}, planes of {name}"
            )
            first_map, first_plane = first_map + ny * nx, first_plane + nz * ny * nx
        assert first_map == layout["planes"]
        assert first_plane == layout["zones"]
