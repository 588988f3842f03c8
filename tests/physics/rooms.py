"""Parts of textbook rooms that the closed forms are about."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from underlit.lowering.world import World, box, rectangle

FAR = 500.0
"""Half side [m] of what stands for "unbounded": at heights of millimetres less than 1e-9 of Lambertian light passes it."""

EVERY_SIDE = -2.0
"""Zone limit on the upward normal that every side meets."""


def sheet(world: World, part: str, z: float, surface: int, half: float = FAR) -> None:
    """A level square at height z [m], front up."""
    world.add_mesh(part, *rectangle((-half, -half, z), (2 * half, 0, 0), (0, 2 * half, 0)), surface)


def catcher(world: World, part: str, z: float, half: float = FAR) -> None:
    """A black level square whose incident light is the zone of the same name."""
    sheet(world, part, z, world.opaque(part, 0.0), half)
    world.add_surface_zone(part, part, area=4 * half * half, min_up=EVERY_SIDE)


def slab(world: World, z_low: float, z_high: float, surface: int, half: float = FAR) -> None:
    """A level plate: a closed box whose outside is the surface's front."""
    world.add_mesh("slab", *box((-half, -half, z_low), (half, half, z_high)), surface)


def narrow_beam(world: World, position: Sequence[float], axis: Sequence[float], *, medium: int = 0) -> None:
    """A point source of 1 umol/s that sends all its light within 1e-5 rad of an axis."""
    world.add_source("beam", [position], ppf=1.0, axis=axis, beam_table=([0.0, 1e-5], [1.0, 1.0]), medium=medium)


def even_cone(
    world: World, position: Sequence[float], half_angle: float, *, axis: Sequence[float] = (0, 0, -1)
) -> float:
    """A point source of even intensity inside a cone; ppf 1 umol/s. Returns the intensity [umol/s/sr]."""
    world.add_source("cone", [position], ppf=1.0, axis=axis, beam_table=([0.0, half_angle], [1.0, 1.0]))
    return 1.0 / (2 * math.pi * (1 - math.cos(half_angle)))


def downwards(degrees: float, azimuth: float = 0.3) -> tuple[float, float, float]:
    """Direction at an angle from straight down; an odd azimuth, so that no axis is special."""
    t = math.radians(degrees)
    return (math.sin(t) * math.cos(azimuth), math.sin(t) * math.sin(azimuth), -math.cos(t))


def disc_points(centre: Sequence[float], normal: Sequence[float], radius: float, rings: int = 192) -> np.ndarray:
    """(k, 3) points whose plain mean is the mean over a disc: midpoints of rings of equal area by even azimuths."""
    n = np.asarray(normal, float) / np.linalg.norm(normal)
    a = np.cross(n, [1.0, 0, 0] if abs(n[0]) < 0.9 else [0, 1.0, 0])
    a /= np.linalg.norm(a)
    b = np.cross(n, a)
    share = (np.arange(rings) + 0.5) / rings
    turn = 2 * np.pi * (np.arange(48) + 0.5) / 48
    r, t = np.meshgrid(radius * np.sqrt(share), turn, indexing="ij")
    return np.asarray(centre, float) + r.reshape(-1, 1) * (np.cos(t).reshape(-1, 1) * a + np.sin(t).reshape(-1, 1) * b)
