"""A small world to count light in: a box with a bed, a leaf, two sources, a zone, a head and light planes."""

from __future__ import annotations

import numpy as np

from underlit.backends.cpu import Tracer
from underlit.lowering.compiled import Grid
from underlit.lowering.records import Role, Source
from underlit.lowering.world import World, rectangle
from underlit.results.result import Result


def small_result(seed: int = 11, batches: tuple[int, int] = (40, 33)) -> Result:
    """A traced world of 1 m x 0.5 m; its sources have unlike numbers of batches."""
    world = World()
    world.notes.append("a remark")
    bed = world.opaque("substrate", 0.2)
    leaf = world.leaf("leaf", 0.1, 0.2)
    world.add_mesh("bed", *rectangle((0, 0, 0), (1, 0, 0), (0, 0.5, 0)), bed, role=Role.BED)
    world.add_mesh("leaf", *rectangle((0.2, 0.1, 0.2), (0.3, 0, 0), (0, 0.2, 0.05)), leaf, role=Role.PLANTS)
    world.add_source(Source("fixture", "white"), [(0.5, 0.25, 0.6)], ppf=100.0)
    world.add_source(Source("fixture", "red"), [(0.2, 0.25, 0.6)], ppf=30.0)
    open_area = np.full((1, 5, 10), 0.01)
    open_area[0, 2, 3] = 0.0
    world.add_map("bed", Grid((0, 0, 0), (0.1, 0.1, 1), (10, 5, 1), open_area))
    world.add_planes(Grid((0, 0, 0.1), (0.25, 0.25, 0.2), (4, 2, 2), np.full((2, 2, 4), 0.0625)))
    world.add_surface_zone("left half", "bed", area=0.25, outline=np.array([[0, 0], [0.5, 0], [0.5, 0.5], [0, 0.5]]))
    world.add_head("spot", (0.7, 0.25, 0.05))
    compiled = world.compile()
    tracer = Tracer(compiled.tables, seed=seed, batch_bits=12, threads=1)
    tracer.run(list(batches))
    return Result(compiled, tuple(tracer.counts), seed, 1.5, {Source("fixture", "red"): 0.6})
