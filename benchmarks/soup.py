"""A leaf soup like a planted tank: many small curved leaves over a floor, inside a box of a few big triangles."""

from __future__ import annotations

import numpy as np

TANK = np.array([0.9, 0.45, 0.45])
"""Inside length, depth and height of the box [m]."""

_STRIPS = 5
"""A leaf is a strip of this many quads, twice as many triangles."""


def _unit(v: np.ndarray) -> np.ndarray:
    return v / np.linalg.norm(v, axis=-1, keepdims=True)


def leaves(count: int, seed: int) -> np.ndarray:
    """Corners (count * 10, 3, 3) float64 [m] of curved leaves, 1 to 4 cm long, standing in clumps on the floor."""
    rng = np.random.default_rng(seed)
    clump = rng.uniform([0.05, 0.05], TANK[:2] - 0.05, (max(1, count // 120), 2))
    root = clump[rng.integers(0, len(clump), count)] + rng.normal(0.0, 0.02, (count, 2))
    height = rng.beta(1.5, 2.5, count) * 0.30
    start = np.column_stack([np.clip(root, 0.01, TANK[:2] - 0.01), height + 0.005])
    azimuth = rng.uniform(0.0, 2 * np.pi, count)
    rise = np.radians(rng.uniform(-10.0, 70.0, count))
    length = rng.uniform(0.01, 0.04, count) * min(1.0, (6000 / count) ** 0.5)
    width = 0.3 * length
    outward = np.column_stack([np.cos(azimuth), np.sin(azimuth), np.zeros(count)])
    across = np.column_stack([-np.sin(azimuth), np.cos(azimuth), np.zeros(count)])
    s = np.linspace(0.0, 1.0, _STRIPS + 1)
    # the blade bends down along an arc and tapers at both ends
    angle = rise[:, None] - 0.9 * s[None, :]
    step = length[:, None] / _STRIPS
    out = np.cumsum(np.cos(angle) * step, axis=1)
    up = np.cumsum(np.sin(angle) * step, axis=1)
    spine = start[:, None, :] + out[..., None] * outward[:, None, :]
    spine[..., 2] += up
    half = 0.5 * width[:, None] * np.sqrt(np.maximum(0.04, 4 * s * (1 - s)))[None, :]
    left = spine + half[..., None] * across[:, None, :]
    right = spine - half[..., None] * across[:, None, :]
    first = np.stack([left[:, :-1], right[:, :-1], right[:, 1:]], axis=2)
    second = np.stack([left[:, :-1], right[:, 1:], left[:, 1:]], axis=2)
    corners = np.concatenate([first, second], axis=1).reshape(-1, 3, 3)
    return np.clip(corners, [0.001, 0.001, 0.001], TANK - 0.001)


def box_triangles() -> np.ndarray:
    """Corners (12, 3, 3) [m] of the closed box round the leaves."""
    v = np.array([[(0.0, TANK[a])[(i >> a) & 1] for a in range(3)] for i in range(8)])
    quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    return np.array([[v[a], v[b], v[c]] for q in quads for a, b, c in ((q[0], q[1], q[2]), (q[0], q[2], q[3]))])


def soup(triangles: int, seed: int = 7) -> np.ndarray:
    """Corners (n, 9) float64 [m], n close to `triangles`, rounded to float32 so that every engine sees the same ones.

    Slivers below 1e-14 m2 are left out.
    """
    parts = np.concatenate([leaves(max(1, (triangles - 12) // (2 * _STRIPS)), seed), box_triangles()])
    parts = parts.astype(np.float32).astype(np.float64)
    doubled = np.linalg.norm(np.cross(parts[:, 1] - parts[:, 0], parts[:, 2] - parts[:, 0]), axis=1)
    return np.ascontiguousarray(parts[doubled > 1e-14].reshape(-1, 9))


def rays_from_above(count: int, seed: int = 3) -> tuple[np.ndarray, np.ndarray]:
    """Rays going down from just under the top, cosine-distributed, in the order of a grid: origins, directions (n, 3)."""
    rng = np.random.default_rng(seed)
    side = int(np.sqrt(count))
    x, y = np.meshgrid((np.arange(side) + 0.5) / side, (np.arange(side) + 0.5) / side)
    origin = np.column_stack([x.ravel() * TANK[0], y.ravel() * TANK[1], np.full(side * side, TANK[2] - 0.01)])
    u, azimuth = rng.random(side * side), 2 * np.pi * rng.random(side * side)
    sine = np.sqrt(u)
    direction = np.column_stack([sine * np.cos(azimuth), sine * np.sin(azimuth), -np.sqrt(1 - u)])
    return _as_float32(origin), _as_float32(_unit(direction))


def rays_inside(count: int, seed: int = 4) -> tuple[np.ndarray, np.ndarray]:
    """Rays from random points among the leaves to all sides, in no order: origins and directions (n, 3) float64."""
    rng = np.random.default_rng(seed)
    origin = rng.uniform([0.01, 0.01, 0.01], [TANK[0] - 0.01, TANK[1] - 0.01, 0.32], (count, 3))
    return _as_float32(origin), _as_float32(_unit(rng.normal(size=(count, 3))))


def _as_float32(v: np.ndarray) -> np.ndarray:
    """Round to what float32 can hold, kept as float64."""
    return np.ascontiguousarray(v.astype(np.float32).astype(np.float64))
