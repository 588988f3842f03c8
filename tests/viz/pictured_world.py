"""A tank to draw, with counts put in by hand so that the PPFD of every surface is known."""

from __future__ import annotations

import numpy as np

from underlit.backends.cpu import GROUPS
from underlit.lowering.compiled import Grid
from underlit.lowering.records import Role
from underlit.lowering.shapes.shape import face_areas
from underlit.lowering.world import World, box, rectangle
from underlit.results.result import Result
from underlit.results.stored import StoredCounts
from underlit.transport.tables import PACKET
from underlit.viz.overlay import FixtureMark, Overlay, SpotMark, ZoneMark

LENGTH, DEPTH, HEIGHT, LEVEL = 0.6, 0.3, 0.36, 0.33
COVERED_CELLS = (slice(4, 6), slice(8, 12))


def pictured_result(ppfd: float = 80.0) -> Result:
    """A tank in which every side of every face, and every open cell, gets `ppfd` [umol/m2/s]."""
    world = World()
    water, glass = world.medium("water", 1.333), world.medium("glass", 1.52)
    pane = world.interface("pane", 0, glass)
    world.add_mesh(
        "panes", *box((-0.006, -0.006, -0.006), (LENGTH + 0.006, DEPTH + 0.006, HEIGHT)), pane, role=Role.SHELL
    )
    surface = world.interface("surface", 0, water)
    world.add_mesh("water", *rectangle((0, 0, LEVEL), (LENGTH, 0, 0), (0, DEPTH, 0)), surface, role=Role.WATER)
    lid = world.interface("lid", 0, glass)
    world.add_mesh("lid", *rectangle((0, 0, HEIGHT), (LENGTH, 0, 0), (0, DEPTH, 0)), lid, role=Role.LID)
    bed = world.opaque("substrate", 0.1)
    world.add_mesh("bed", *rectangle((0, 0, 0.05), (LENGTH, 0, 0), (0, DEPTH, 0)), bed, role=Role.BED)
    wood = world.opaque("wood", 0.1)
    world.add_mesh("log", *box((0.24, 0.12, 0.05), (0.36, 0.18, 0.15)), wood, role=Role.WOOD)
    leaf = world.leaf("leaf", 0.1, 0.1)
    world.add_mesh("leaf", *rectangle((0.05, 0.05, 0.12), (0.1, 0, 0), (0, 0.1, 0.02)), leaf, role=Role.PLANTS)
    body = world.opaque("fixture", 0.1)
    world.add_mesh("fixture", *box((0.1, 0.1, 0.46), (0.5, 0.2, 0.48)), body, role=Role.FIXTURE)
    world.add_source("lamp", [(0.3, 0.15, 0.46)], ppf=50.0)
    open_area = np.full((1, 10, 20), LENGTH * DEPTH / 200)
    open_area[0][COVERED_CELLS] = 0.0
    world.add_map("bed", Grid((0, 0, 0), (LENGTH / 20, DEPTH / 10, 1), (20, 10, 1), open_area))
    planes = np.full((5, 6, 12), LENGTH * DEPTH / 72)
    planes[0, 2:4, 5:7] = 0.0
    world.add_planes(Grid((0, 0, 0.07), (LENGTH / 12, DEPTH / 6, 0.05), (12, 6, 5), planes))
    compiled = world.compile()
    areas = np.concatenate(
        [np.repeat(face_areas(m.vertices, m.faces), 2) for m in compiled.meshes] + [open_area.ravel(), planes.ravel()]
    )
    quanta = ppfd * areas / 50.0 * 4096 * PACKET
    counts = StoredCounts(
        photons_per_batch=4096, groups=np.tile(quanta, (GROUPS, 1)), group_batches=np.ones(GROUPS, np.int64),
        batches=GROUPS, points=[np.zeros(0, np.int64)] * GROUPS, ledger=[0] * len(compiled.lines), counters=[0] * 4,
    )  # fmt: skip
    return Result(compiled, (counts,), 1, 1.0)


def pictured_overlay() -> Overlay:
    """What a scene would say of it: zones with room and without, spots, a fixture."""
    return Overlay(
        length=LENGTH, depth=DEPTH, height=HEIGHT, glass=0.006, water_level=LEVEL,
        zones=(
            ZoneMark("carpet", ((0.02, 0.02), (0.58, 0.02), (0.58, 0.1), (0.02, 0.1)), "80 ± 1, right"),
            ZoneMark("a zone too small for its name", ((0.5, 0.2), (0.53, 0.2), (0.53, 0.23), (0.5, 0.23)), "80 ± 1"),
        ),
        spots=(SpotMark("spot", (0.1, 0.2), "80 ± 2", 0.1),),
        fixtures=(FixtureMark("fixture", ((0.1, 0.1), (0.5, 0.1), (0.5, 0.2), (0.1, 0.2)), 0.46, 0.48),),
        title="A tank of our own", note="made for a test",
    )  # fmt: skip
