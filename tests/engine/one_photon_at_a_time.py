"""Log and tally row of a few photons of the full tank and of a lamp with a web, as JSON: run with the JIT on and off."""

from __future__ import annotations

import json

import numpy as np
from tanks import full_tank

from underlit.backends.cpu import trace_log
from underlit.lowering.world import World, box

PHOTONS = 6


def small_worlds() -> list[World]:
    """The full tank, and a grey box with instances of a leaf under a lamp that is brighter to one side."""
    world = World()
    world.add_mesh("box", *box((0, 0, 0), (1, 0.7, 0.4), inward=True), world.opaque("box", 0.6, specular=0.5))
    leaf = world.add_template(
        np.array([[0, 0, 0], [0.2, 0, 0], [0, 0.2, 0.1]]), np.array([[0, 1, 2]]), world.leaf("leaf", 0.2, 0.3)
    )
    world.add_instances("leaves", leaf, [[0.3, 0.3, 0.1], [0.6, 0.2, 0.2]], np.tile(np.eye(3), (2, 1, 1)), [1.0, 1.5])
    web = np.radians([0.0, 120.0, 360.0]), np.radians([0.0, 45.0, 90.0]), np.array([[9.0, 5, 1], [9, 2, 0], [9, 5, 1]])
    world.add_source("lamp", [(0.5, 0.3, 0.35)], ppf=1.0, beam_web=web)
    return [full_tank(), world]


if __name__ == "__main__":
    found = []
    for world in small_worlds():
        tables = world.compile().tables
        row, visits = trace_log(tables, source=0, seed=20, batch=3, first=1000, count=PHOTONS)
        found.append([row.tolist(), [[str(visit) for visit in one] for one in visits]])
    print(json.dumps(found))
