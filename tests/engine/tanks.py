"""Small but complete tanks for tests of the engine, upright or turned by odd angles."""

from __future__ import annotations

import hashlib

import numpy as np

from underlit.backends.cpu import Tracer
from underlit.lowering.compiled import Grid
from underlit.lowering.world import World, box, rectangle

INSIDE = np.array([0.6, 0.3, 0.36])
GLASS, LEVEL = 0.006, 0.31
ODD_TURNS = [(0.3, -1.1, 0.7, 0.9), (1.0, 2.0, -0.5, 2.3), (0.001, 0.002, 1.0, 1e-4)]
"""Axis (not of unit length) and angle [rad] of rotations that bring no face along an axis."""


def rotation(turn: tuple[float, float, float, float] | None) -> np.ndarray:
    """(3, 3) rotation matrix of an axis and angle (Rodrigues)."""
    if turn is None:
        return np.eye(3)
    x, y, z = np.array(turn[:3]) / np.linalg.norm(turn[:3])
    k = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + np.sin(turn[3]) * k + (1 - np.cos(turn[3])) * k @ k


def ring_of_panes(low: float, high: float) -> tuple[np.ndarray, np.ndarray]:
    """The four inner pane faces between two heights, fronts inwards; vertices equal to the bit from ring to ring."""
    x, y, _ = INSIDE
    v = np.array([(a, b, z) for z in (low, high) for a, b in ((0, 0), (x, 0), (x, y), (0, y))])
    quads = [(0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)]
    return v, np.array([t for a, b, c, d in quads for t in ((a, c, b), (a, d, c))])


def rim_of_panes() -> tuple[np.ndarray, np.ndarray]:
    """The top edges of the panes, a frame between the inner and the outer rectangle, front up."""
    x, y, z = INSIDE
    g = GLASS
    v = np.array(
        [(0, 0, z), (x, 0, z), (x, y, z), (0, y, z), (-g, -g, z), (x + g, -g, z), (x + g, y + g, z), (-g, y + g, z)]
    )
    quads = [(4, 5, 1, 0), (5, 6, 2, 1), (6, 7, 3, 2), (7, 4, 0, 3)]
    return v, np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))])


def bed(n: int = 9) -> tuple[np.ndarray, np.ndarray]:
    """A bumpy substrate that meets the panes."""
    x, y = np.linspace(0, INSIDE[0], n), np.linspace(0, INSIDE[1], n)
    gx, gy = np.meshgrid(x, y)
    z = 0.04 + 0.015 * np.sin(17 * gx + 3) * np.cos(23 * gy) + 0.05 * gy
    k = np.arange(n * n).reshape(n, n)
    quads = np.stack([k[:-1, :-1], k[:-1, 1:], k[1:, 1:], k[1:, :-1]], axis=-1).reshape(-1, 4)
    return np.stack([gx, gy, z], axis=-1).reshape(-1, 3), np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])


def branch(start, end, radius, sides=7) -> tuple[np.ndarray, np.ndarray]:
    """A closed prism along a line."""
    a, b = np.array(start, float), np.array(end, float)
    axis = (b - a) / np.linalg.norm(b - a)
    u = np.cross(axis, [0.31, 0.57, 0.77])
    u /= np.linalg.norm(u)
    turn = 2 * np.pi * np.arange(sides) / sides
    ring = radius * (np.cos(turn)[:, None] * u + np.sin(turn)[:, None] * np.cross(axis, u))
    v = np.concatenate([a + ring, b + ring, [a], [b]])
    i, j = np.arange(sides), (np.arange(sides) + 1) % sides
    first, last = np.full(sides, 2 * sides), np.full(sides, 2 * sides + 1)
    walls = [np.stack([i, j, j + sides], 1), np.stack([i, j + sides, i + sides], 1)]
    return v, np.concatenate([*walls, np.stack([first, j, i], 1), np.stack([last, i + sides, j + sides], 1)])


def glass_and_water(world: World, turned, water: int, glass: int) -> None:
    """The shell of glass, filled to LEVEL; `turned` maps vertices into the world."""
    x, y, z = INSIDE
    g = GLASS

    def add(part, mesh, surface):
        world.add_mesh("tank", turned(mesh[0]), mesh[1], surface, face=part)

    outer_v, outer_f = box((-g, -g, -g), (x + g, y + g, z))
    # all but its top, whose place the rim takes
    heights = outer_v[outer_f][:, :, 2]
    add("outside", (outer_v, outer_f[~np.all(heights == z, axis=1)]), world.interface("outside", 0, glass, exit="out"))
    add("rim", rim_of_panes(), world.interface("rim", 0, glass, exit="rim"))
    add("wet panes", ring_of_panes(0.0, LEVEL), world.interface("wet panes", water, glass))
    add("dry panes", ring_of_panes(LEVEL, z), world.interface("dry panes", 0, glass))
    add("bottom", rectangle((0, 0, 0), (x, 0, 0), (0, y, 0)), world.interface("bottom", water, glass))
    add("surface", rectangle((0, 0, LEVEL), (x, 0, 0), (0, y, 0)), world.interface("surface", 0, water))


def full_tank(turn: tuple[float, float, float, float] | None = None) -> World:
    """Glass, cloudy tinted water, bed, wood through bed, glass and surface, leaves through the surface, a lamp."""
    world = World()
    r = rotation(turn)

    def turned(v):
        return np.asarray(v) @ r.T

    bins = np.linspace(1.34, 1.33, 60)
    water = world.medium("water", bins, np.linspace(0.9, 0.4, 60), 0.6, g=0.9)
    glass = world.medium("glass", 1.52, 4.0)
    glass_and_water(world, turned, water, glass)
    v, f = bed()
    world.add_mesh("bed", turned(v), f, world.opaque("bed", np.linspace(0.1, 0.3, 60)))
    wood = world.opaque("wood", 0.25, closed=True)
    for k, line in enumerate([
        ((0.1, 0.1, 0.0), (0.35, 0.2, 0.35)),  # from below the bed out of the water
        ((0.3, 0.15, 0.1), (0.45, 0.32, 0.2)),  # through the back pane
        ((0.02, 0.02, 0.1), (-0.03, -0.03, 0.25)),  # through a corner of the glass
    ]):  # fmt: skip
        v, f = branch(*line, 0.013)
        world.add_mesh("wood", turned(v), f, wood, face=f"branch {k}")
    rng = np.random.default_rng(21)
    centres = rng.uniform((0.05, 0.04, 0.06), (0.55, 0.26, 0.33), (150, 3))
    leaves = (centres[:, None] + rng.uniform(-0.03, 0.03, (150, 3, 3))).reshape(-1, 3)
    world.add_mesh("leaves", turned(leaves), np.arange(450).reshape(-1, 3), world.leaf("leaves", 0.1, 0.2))
    lamps = [(x, 0.15, 0.46) for x in (0.15, 0.3, 0.45)]
    world.add_source("lamp", turned(lamps), ppf=10.0, axis=turned((0, 0, -1.0)), along=turned((1.0, 0, 0)),
                     half_size=(0.01, 0.02), beam_exponent=1.5, spectrum=np.linspace(1, 3, 60))  # fmt: skip
    world.add_head("head", turned((0.4, 0.1, 0.12)), normal=turned((0, 0.3, 1)), radius=0.02)
    world.add_surface_zone("bed", "bed", area=float(INSIDE[0] * INSIDE[1]), min_up=-2.0)
    if turn is None:
        world.add_height_zone("mid water", 0.2, area=0.18)
        world.add_map("bed", Grid((0, 0, 0), (0.06, 0.06, 1), (10, 5, 1), np.full((1, 5, 10), 0.0036)))
        world.add_planes(Grid((0, 0, 0.02), (0.06, 0.06, 0.02), (10, 5, 15), np.full((15, 5, 10), 0.0036)))
    return world


def digest(tracer: Tracer) -> str:
    """A fingerprint of all that a tracer counted."""
    h = hashlib.sha256()
    for counts in tracer.counts:
        h.update(counts.groups.tobytes() + counts.group_batches.tobytes() + np.array(counts.points).tobytes())
        h.update(repr((counts.ledger, counts.counters, counts.batches)).encode())
    return h.hexdigest()


if __name__ == "__main__":
    import sys

    tracer = Tracer(full_tank().compile().tables, seed=int(sys.argv[1]), batch_bits=14, threads=int(sys.argv[2]))
    tracer.run([5])
    print(digest(tracer))
