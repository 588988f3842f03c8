"""How cost grows with leaf triangles, 1 k to 1 M: building, memory, rays a second; each with its own, and as copies.

A box with half-reflecting walls holds leaves of about the same total area, cut ever finer. "Own": every triangle in one tree.
"Copies": bunches of 1000 triangles, kept once and placed many times, as large plantings are. Rays are segments of traced photon
packets on one thread, with all tallies; memory is that of the kernels' tables.
"""

from __future__ import annotations

import time
from dataclasses import fields
from statistics import median

import numpy as np
from measure import Report
from soup import TANK, soup

from underlit.backends.cpu import Tracer
from underlit.lowering.compiled import CompiledScene
from underlit.lowering.world import World, box
from underlit.transport.tables import Counter

SIZES = (1_000, 10_000, 100_000, 1_000_000)
TARGET = 0.2
BUNCH = 1_000
"""Triangles of a bunch that is copied."""
_WALLS = 12


def run(quick: bool) -> Report:
    """Both ways at every size, and how rays at the largest compare with those at 10 000 triangles."""
    report = Report(f"leaves: 1 k to 1 M leaf triangles, one thread (to reach: rays at 1 M {TARGET} x those at 10 k)")
    bits, repeats = (14, 3) if quick else (16, 5)
    for way, make in (("own", _own), ("copies", _copies)):
        rays = {}
        for triangles in SIZES:
            world = make(triangles)
            started = time.perf_counter()
            compiled = world.compile()
            built = time.perf_counter() - started
            rays[triangles] = _rays_a_second(compiled, bits, repeats)
            megabytes = _bytes(compiled) / 1e6
            report.say(
                f"{way:>6}, {triangles:>9,} triangles",
                f"built in {built:6.2f} s, {megabytes:7.1f} MB, {rays[triangles] / 1e6:5.2f} M rays/s",
            )
            for what, value in (("build_s", built), ("megabytes", megabytes), ("rays_per_s", rays[triangles])):
                report.numbers[f"{way}_{triangles}_{what}"] = value
        report.add(f"{way:>6}, rays at 1 M over those at 10 k", rays[SIZES[-1]] / rays[10_000], "", f"{way}_ratio")
    return report


def _tank() -> tuple[World, int]:
    world = World()
    walls = world.opaque("walls", 0.5)
    world.add_mesh("walls", *box((0, 0, 0), TANK, inward=True), walls)
    world.add_source(
        "light", [(TANK[0] / 2, TANK[1] / 2, TANK[2] - 1e-3)], ppf=1.0, half_size=(0.4 * TANK[0], 0.4 * TANK[1])
    )
    return world, world.leaf("leaves", 0.05, 0.15)


def _own(triangles: int) -> World:
    world, leaf = _tank()
    corners = soup(triangles + _WALLS)[:-_WALLS].reshape(-1, 3)
    world.add_mesh("leaves", corners, np.arange(len(corners)).reshape(-1, 3), leaf)
    return world


def _copies(triangles: int) -> World:
    """Bunches of the same leaves, so that their total area is about that of `_own`."""
    world, leaf = _tank()
    corners = soup(BUNCH + _WALLS)[:-_WALLS].reshape(-1, 3)
    low, high = corners.min(axis=0), corners.max(axis=0)
    count = max(1, triangles // BUNCH)
    template = world.add_template(
        corners - [*(low + high)[:2] / 2, low[2]], np.arange(len(corners)).reshape(-1, 3), leaf
    )
    rng = np.random.default_rng(5)
    scale = 0.6 / np.sqrt(count)
    reach = np.hypot(*(high - low)[:2]) / 2 * scale * 1.1 + 2e-3
    room = np.array([TANK[0] - 2 * reach, TANK[1] - 2 * reach, max(0.3 - (high - low)[2] * scale, 0.0)])
    origins = rng.uniform(0, 1, (count, 3)) * room + [reach, reach, 2e-3]
    turn = rng.uniform(0, 2 * np.pi, count)
    rotations = np.zeros((count, 3, 3))
    rotations[:, 0, 0] = rotations[:, 1, 1] = np.cos(turn)
    rotations[:, 1, 0], rotations[:, 0, 1] = np.sin(turn), -np.sin(turn)
    rotations[:, 2, 2] = 1.0
    world.add_instances("leaves", template, origins, rotations, scale * rng.uniform(0.9, 1.1, count))
    return world


def _bytes(compiled: CompiledScene) -> int:
    tables = compiled.tables
    names = getattr(tables, "_fields", None) or [f.name for f in fields(tables)]
    return sum(np.asarray(getattr(tables, name)).nbytes for name in names)


def _rays_a_second(compiled: CompiledScene, bits: int, repeats: int) -> float:
    """Median over batches of segments traced a second."""
    tracer = Tracer(compiled.tables, seed=1, batch_bits=bits, threads=1)
    tracer.run([1])
    found = []
    for k in range(repeats):
        before = tracer.counts[0].counters[Counter.SEGMENTS]
        started = time.perf_counter()
        tracer.run([k + 2])
        found.append((tracer.counts[0].counters[Counter.SEGMENTS] - before) / (time.perf_counter() - started))
    return median(found)
