"""The tree finds what a plain loop finds, and nothing slips through edges and vertices."""

from __future__ import annotations

import numpy as np
import pytest
from numba import njit
from tanks import INSIDE, LEVEL, ODD_TURNS, glass_and_water, rotation

from underlit.geometry.closest_hit import MISS, Tree, closest_hit
from underlit.geometry.slabs import make_workspace
from underlit.lowering.world import World
from underlit.optics.vectors import vector


@njit(error_model="numpy")
def shoot(tree, origins, directions, skips, media, times, hits):
    """Closest hits of many rays."""
    work = make_workspace()
    for i in range(len(origins)):
        times[i], hits[i], _ = closest_hit(tree, vector(origins[i]), vector(directions[i]), skips[i], media[i], work)


def shoot_all(tables, origins, directions, skips=None, media=None):
    """(times, hits) of rays (n, 3)."""
    n = len(origins)
    times, hits = np.empty(n), np.empty(n, np.int64)
    skips = np.full(n, -1) if skips is None else skips
    media = np.zeros(n, np.int64) if media is None else media
    shoot(
        Tree(*(getattr(tables, name) for name in Tree._fields)),
        np.ascontiguousarray(origins),
        np.ascontiguousarray(directions),
        skips,
        media,
        times,
        hits,
    )
    return times, hits


def plain_loop(tables, origin, direction, skip, medium):
    """Every triangle in turn (Moeller & Trumbore, J. Graphics Tools 2(1), 1997): (t, index) or (inf, MISS)."""
    a, b, c = (tables.corners[:, k : k + 3] for k in (0, 3, 6))
    e1, e2 = b - a, c - a
    p = np.cross(direction, e2)
    det = (e1 * p).sum(axis=1)
    s = origin - a
    u = (s * p).sum(axis=1) / det
    q = np.cross(s, e1)
    v = (q @ direction) / det
    t = (e2 * q).sum(axis=1) / det
    triangles = tables.triangles
    wanted = np.where(np.cross(e1, e2) @ direction < 0, triangles["front_medium"], triangles["back_medium"])
    good = (u >= 0) & (v >= 0) & (u + v <= 1) & (t >= 0) & (triangles["group"] != skip)
    good &= (wanted < 0) | (wanted == medium)
    t = np.where(good, t, np.inf)
    best = int(np.argmin(t))
    return (t[best], best) if good.any() else (np.inf, MISS)


@pytest.mark.parametrize(("count", "size"), [(1, 0.5), (7, 0.5), (300, 0.2), (3000, 0.05)])
def test_finds_what_a_plain_loop_finds(count, size):
    """Random triangles, opaque and interfaces of three media, some rays starting on a plane to skip: same triangle and t."""
    rng = np.random.default_rng(count)
    world = World()
    media = [0, world.medium("one", 1.2), world.medium("two", 1.4)]
    surfaces = [world.opaque("opaque", 0.5)]
    surfaces += [world.interface(f"{i}{j}", media[i], media[j]) for i in range(3) for j in range(3) if i != j]
    corners = rng.uniform(-1, 1, (count, 1, 3)) + rng.uniform(-size, size, (count, 3, 3))
    of_surface = np.arange(count) % len(surfaces)
    for surface in surfaces:
        mine = corners[of_surface == surface]
        if len(mine):
            world.add_mesh("soup", mine.reshape(-1, 3), np.arange(3 * len(mine)).reshape(-1, 3), surface)
    world.add_source("lamp", [(0, 0, 0)], ppf=1.0)
    tables = world.compile().tables
    n = 4000
    origins = rng.uniform(-1.2, 1.2, (n, 3))
    directions = rng.normal(size=(n, 3))
    # some along planes of axes
    directions[np.arange(n // 8), rng.integers(0, 3, n // 8)] = 0.0
    directions[:3] = np.eye(3)
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    skips, in_medium = np.full(n, -1), rng.integers(0, 3, n)
    start = rng.integers(0, len(tables.corners), n // 2)
    weights = rng.dirichlet((1, 1, 1), n // 2)
    origins[n // 2 :] = np.einsum("nk,nkx->nx", weights, tables.corners[start].reshape(-1, 3, 3))
    skips[n // 2 :] = tables.triangles["group"][start]
    times, hits = shoot_all(tables, origins, directions, skips, in_medium)
    for i in range(n):
        t, hit = plain_loop(tables, origins[i], directions[i], skips[i], in_medium[i])
        assert hit == hits[i]
        if hit != MISS:
            assert times[i] == pytest.approx(t, rel=1e-9, abs=1e-12)
    if count > 1:
        assert 0 < (hits != MISS).mean() < 1


@pytest.mark.parametrize("turn", [None, ODD_TURNS[1]])
def test_nothing_slips_through_edges_and_vertices(turn):
    """10^7 rays (two tanks of 5 10^6) from inside the water at edges and vertices: all hit, at the distance aimed at."""
    world = World()
    water, glass = world.medium("water", 1.333), world.medium("glass", 1.52)
    r = rotation(turn)
    glass_and_water(world, lambda v: np.asarray(v) @ r.T, water, glass)
    world.add_source("lamp", [(0, 0, 0)], ppf=1.0)
    tables = world.compile().tables
    # only what water touches: its closed skin
    faces = tables.corners.reshape(-1, 3, 3)
    skin = (tables.triangles["front_medium"] == water) | (tables.triangles["back_medium"] == water)
    ends = np.concatenate([faces[skin][:, [0, 1]], faces[skin][:, [1, 2]], faces[skin][:, [2, 0]]])
    rng = np.random.default_rng(3)
    for part in range(10):
        n = 500_000
        chosen = ends[rng.integers(0, len(ends), n)]
        share = rng.uniform(size=(n, 1))
        share[: n // 3] = rng.integers(0, 2, (n // 3, 1))
        share[n // 3 : n // 2] = 0.5
        targets = chosen[:, 0] * (1 - share) + chosen[:, 1] * share
        origins = rng.uniform((0, 0, 0), (INSIDE[0], INSIDE[1], LEVEL), (n, 3))
        if part % 2:
            # round numbers, so that many rays run along faces' diagonals and planes of axes
            origins = np.round(origins, 2).clip(0.01, (INSIDE[0] - 0.01, INSIDE[1] - 0.01, LEVEL - 0.01))
        origins = origins @ r.T
        distance = np.linalg.norm(targets - origins, axis=1)
        directions = (targets - origins) / distance[:, None]
        times, hits = shoot_all(tables, origins, directions, media=np.full(n, water))
        assert (hits != MISS).all()
        # the skin is convex: it lies nowhere nearer or farther than the target, up to grazing edges
        assert (np.abs(times - distance) < 1e-7).all()
