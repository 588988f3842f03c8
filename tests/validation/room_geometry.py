"""The room of CIE 171:2006 in cells of 25 cm, readings round a point and its mirror images, and exact values there."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from checking import flux_of_cells
from underlit.lowering.world import World
from underlit.results.estimate import Estimate
from underlit.results.result import Result

SIDE, HEIGHT, CELL = 4.0, 3.0, 0.25

Kernel = Callable[[np.ndarray, np.ndarray], np.ndarray]
"""E at points (k, 3) on a plane of normal (3,)."""


# -- the room: floor, ceiling and walls cut into cells of 25 cm ---------------------------------------------------------
def cell_grid(corner: Sequence[float], along: Sequence[float], up: Sequence[float]) -> tuple[np.ndarray, np.ndarray]:
    """A rectangle cut into square cells, two triangles each, row by row; front along `along` x `up`."""
    c, a, u = (np.asarray(v, float) for v in (corner, along, up))
    na, nu = round(np.linalg.norm(a) / CELL), round(np.linalg.norm(u) / CELL)
    s, t = np.meshgrid(np.arange(na + 1) / na, np.arange(nu + 1) / nu)
    vertices = c + s.reshape(-1, 1) * a + t.reshape(-1, 1) * u
    i, j = np.meshgrid(np.arange(na), np.arange(nu))
    first = (j * (na + 1) + i).ravel()
    square = np.stack([first, first + 1, first + na + 2, first, first + na + 2, first + na + 1], axis=1)
    return vertices, square.reshape(-1, 3)


SURFACES: dict[str, tuple[tuple, tuple, tuple]] = {
    "floor": ((0, 0, 0), (SIDE, 0, 0), (0, SIDE, 0)),
    "ceiling": ((0, 0, HEIGHT), (0, SIDE, 0), (SIDE, 0, 0)),
    "front": ((0, 0, 0), (0, 0, HEIGHT), (SIDE, 0, 0)),
    "back": ((0, SIDE, 0), (SIDE, 0, 0), (0, 0, HEIGHT)),
    "left": ((0, 0, 0), (0, SIDE, 0), (0, 0, HEIGHT)),
    "right": ((SIDE, 0, 0), (0, 0, HEIGHT), (0, SIDE, 0)),
}


def build_room(*, floor_reflectance: float = 0.0, opening: tuple[float, float] | None = None) -> World:
    """The room, black but for its floor, with a square hole in the ceiling where an opening is named."""
    world = World()
    for name, (corner, along, up) in SURFACES.items():
        vertices, faces = cell_grid(corner, along, up)
        if name == "ceiling" and opening is not None:
            middle = vertices[faces].mean(axis=1)
            inside = ((middle[:, :2] > opening[0]) & (middle[:, :2] < opening[1])).all(axis=1)
            faces = faces[~inside]
        if len(faces):
            world.add_mesh(name, vertices, faces, world.opaque(name, floor_reflectance if name == "floor" else 0.0))
    return world


def images(position: Sequence[float], half: tuple[float, float]) -> list[tuple[np.ndarray, np.ndarray]]:
    """Rectangles that the room's symmetry (four-fold, mirrored) makes alike, without repeats: (centre, half extents).

    half: half the width along x, and half of what is across it on the point's surface (y or z) [m].
    """
    x, y, z = position[0] - SIDE / 2, position[1] - SIDE / 2, position[2]
    across = (0.0, half[1]) if surface_of(position) == "front" else (half[1], 0.0)
    found = set()
    for swap in (False, True):
        a, b, wide, deep = (y, x, across[0], half[0]) if swap else (x, y, half[0], across[0])
        for p in (1, -1):
            for q in (1, -1):
                centre = (round(p * a + SIDE / 2, 9), round(q * b + SIDE / 2, 9), z)
                found.add((centre, (wide, deep, across[1])))
    return [(np.array(centre), np.array(extent)) for centre, extent in sorted(found)]


def patch_reading(result: Result, position: Sequence[float], half: tuple[float, float]) -> Estimate:
    """Share of the light on rectangles round a point and its images, per m2."""
    cells, weights = [], []
    offset = int(result.compiled.tables.layout[0]["faces"])
    alike = images(position, half)
    for mesh in result.compiled.meshes:
        middle = mesh.vertices[mesh.faces].mean(axis=1)
        if mesh.name not in SURFACES:
            continue
        normal = np.cross(*(np.asarray(v, float) for v in SURFACES[mesh.name][1:]))
        flat = np.abs(normal) / np.linalg.norm(normal) * 1e-9
        count = sum(((np.abs(middle - centre) < extent + flat).all(axis=1)).astype(int) for centre, extent in alike)
        used = np.nonzero(count)[0]
        cells.append(offset + 2 * (mesh.first_slot + used))
        weights.append(count[used].astype(float))
    area = len(alike) * 4 * half[0] * half[1]
    assert math.isclose(sum(w.sum() for w in weights) * CELL**2 / 2, area)
    return flux_of_cells(result, np.concatenate(cells), np.concatenate(weights) / area)


# -- exact values -------------------------------------------------------------------------------------------------------
def surface_of(position: Sequence[float]) -> str:
    """Which surface of the room a tabulated point lies on."""
    return "floor" if position[2] == 0 else "ceiling" if position[2] == HEIGHT else "front"


def exact_values(
    kernel: Kernel, position: Sequence[float], half: tuple[float, float], nodes: int = 10
) -> tuple[float, float]:
    """(E at the point, mean E over the rectangle round it), Gauss-Legendre over the rectangle."""
    _, along, up = (np.asarray(v, float) for v in SURFACES[surface_of(position)])
    normal = np.cross(along, up)
    normal /= np.linalg.norm(normal)
    along = np.array([1.0, 0.0, 0.0])
    up = np.cross(normal, along)
    x, w = np.polynomial.legendre.leggauss(nodes)
    s, t = np.meshgrid(x * half[0], x * half[1])
    square = np.asarray(position) + s.reshape(-1, 1) * along + t.reshape(-1, 1) * up
    mean = float(np.outer(w, w).ravel() @ kernel(square, normal)) / 4
    return float(kernel(np.asarray(position, float)[None], normal)[0]), mean


def lambertian_rectangle(
    low: Sequence[float], high: Sequence[float], z: float, passed: Callable | None = None
) -> Kernel:
    """Configuration factor to a level rectangle by quadrature, times what a pane over it lets pass by angle."""
    x, w = np.polynomial.legendre.leggauss(24)
    px = np.stack(
        [
            a.ravel()
            for a in np.meshgrid(
                *((low[i] + high[i]) / 2 + x * (high[i] - low[i]) / 2 for i in range(2)), np.array([z])
            )
        ],
        axis=1,
    )
    area = np.outer(w, w).ravel() * (high[0] - low[0]) * (high[1] - low[1]) / 4

    def kernel(points: np.ndarray, normal: np.ndarray) -> np.ndarray:
        away = px[None] - points[:, None]
        r2 = (away**2).sum(axis=2)
        r = np.sqrt(r2)
        cos_here, cos_there = away @ normal / r, np.abs(away[:, :, 2]) / r
        share = 1.0 if passed is None else passed(np.arccos(np.clip(cos_there, 0, 1)))
        return (np.maximum(cos_here, 0) * cos_there / (np.pi * r2) * share) @ area

    return kernel


def point_light(points: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """E [lx] of 1000 cd on the axis, I = I0 cos, at the ceiling's centre, light straight down."""
    away = np.array([SIDE / 2, SIDE / 2, HEIGHT]) - points
    r2 = (away**2).sum(axis=1)
    return 1000 * away[:, 2] / np.sqrt(r2) * (away @ normal) / r2**1.5
