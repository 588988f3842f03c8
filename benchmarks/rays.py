"""Closest-hit rays a second against Embree (embreex), on the same triangles and rays, one thread each.

Ours: a serial loop of `geometry.closest_hit` over float64 rays, writing distance and triangle. Embree's: one call of
embreex's batch interface over float32 rays, which calls rtcIntersect1 ray by ray in compiled code on the calling thread and
gives the triangle. Building either tree is outside the timing.
"""

from __future__ import annotations

from statistics import median

import numpy as np
from measure import Report, in_turn, ratio_in_turn
from numba import njit
from soup import rays_from_above, rays_inside, soup

from underlit.geometry.closest_hit import Tree, closest_hit
from underlit.geometry.slabs import make_workspace
from underlit.geometry.tree_build import build_tree
from underlit.optics.vectors import vector
from underlit.transport.tables import TRIANGLE

TRIANGLES = 60_000
TARGET = 0.5


@njit(nogil=True, error_model="numpy")
def hit_all(tree, origins, directions, distance, hit):
    """Closest hit of each ray: distance (n,) and slot (n,), -1 for a miss."""
    work = make_workspace()
    for i in range(origins.shape[0]):
        t, h, _ = closest_hit(tree, vector(origins[i]), vector(directions[i]), -1, 0, work)
        distance[i] = t
        hit[i] = tree.triangles[h].slot if h >= 0 else -1


def tables(corners: np.ndarray) -> Tree:
    """What `closest_hit` needs of opaque triangles (n, 9): boxes, children, corners, normals, triangle records."""
    node_box, node_child, order = build_tree(corners, float(np.abs(corners).max()))
    sorted_corners = np.ascontiguousarray(corners[order])
    normals = np.cross(sorted_corners[:, 3:6] - sorted_corners[:, :3], sorted_corners[:, 6:] - sorted_corners[:, :3])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    triangles = np.zeros(len(order), TRIANGLE)
    triangles["slot"], triangles["group"] = order, np.arange(len(order))
    triangles["front_medium"] = triangles["back_medium"] = -1
    return Tree(node_box, node_child, sorted_corners, normals, triangles)


def _embree_scene(corners: np.ndarray):
    from embreex.mesh_construction import TriangleMesh
    from embreex.rtcore_scene import EmbreeScene

    scene = EmbreeScene()
    TriangleMesh(scene, corners.reshape(-1, 3, 3).astype(np.float32))
    return scene


def _compare(report: Report, corners: np.ndarray, rays: int, repeats: int, ways: dict) -> None:
    ours, embree = tables(corners), _embree_scene(corners)
    for way, make in ways.items():
        origins, directions = make(rays)
        origins32, directions32 = origins.astype(np.float32), directions.astype(np.float32)
        distance, hit = np.empty(len(origins)), np.empty(len(origins), np.int64)
        found: list[np.ndarray] = []

        def run_ours(rays=(origins, directions), out=(distance, hit)) -> None:
            hit_all(ours, *rays, *out)

        def run_embree(rays=(origins32, directions32), found=found) -> None:
            found[:] = [embree.run(*rays, query="INTERSECT")]

        a, b = in_turn(repeats, run_ours, run_embree)
        label = f"{len(corners):>9,} triangles, {way}"
        ratio = ratio_in_turn(b, a)
        report.say(
            label,
            f"{len(origins) / median(a) / 1e6:6.2f} M rays/s, Embree {len(origins) / median(b) / 1e6:6.2f}, "
            f"ratio {ratio:.2f}; same triangle {np.mean(found[0] == hit):.5%}",
        )
        key = f"{len(corners)}_{way.replace(' ', '_')}"
        report.numbers[f"{key}_rays_per_s"] = len(origins) / median(a)
        report.numbers[f"{key}_embree_rays_per_s"] = len(origins) / median(b)
        report.numbers[f"{key}_ratio"] = ratio


def run(quick: bool) -> Report:
    """The comparison at 60 000 triangles, and how both scale."""
    report = Report(f"rays: closest hits a second, one thread each (to reach: {TARGET} x Embree at {TRIANGLES:,})")
    try:
        import embreex  # noqa: F401
    except ImportError:
        report.say("left out", "embreex is not installed: pip install embreex")
        return report
    ways = {"from above": rays_from_above, "inside": rays_inside}
    count, repeats = (1 << 16, 3) if quick else (1 << 18, 9)
    _compare(report, soup(TRIANGLES), count, repeats, ways)
    for triangles in (1_000, 10_000, 300_000) if quick else (1_000, 10_000, 100_000, 300_000, 1_000_000):
        _compare(report, soup(triangles), count // 2, max(3, repeats // 2), ways)
    return report
