"""Leaves as a few curved triangles each, thousands at a time."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from underlit.lowering.shapes.shape import FloatArray, IntArray, face_areas


class Blade(Enum):
    """Half-width of a leaf along its length, as a share of its greatest half-width, at shares of the length."""

    ROUND = ((0.0, 0.0), (0.12, 0.55), (0.45, 1.0), (0.8, 0.8), (1.0, 0.0))
    FAN = ((0.0, 0.0), (0.35, 0.5), (0.8, 1.0), (1.0, 0.15))
    OVAL = ((0.0, 0.0), (0.2, 0.6), (0.5, 1.0), (0.8, 0.6), (1.0, 0.0))
    LANCE = ((0.0, 0.0), (0.15, 0.6), (0.38, 1.0), (0.7, 0.65), (1.0, 0.0))
    STALKED = (
        (0.0, 0.04), (0.37, 0.05), (0.42, 0.45), (0.5, 0.85), (0.62, 1.0), (0.76, 0.87), (0.88, 0.58), (0.95, 0.3), (1.0, 0.0)
    )  # fmt: skip
    RIBBON = ((0.0, 0.55), (0.1, 0.9), (0.45, 1.0), (0.85, 0.8), (1.0, 0.0))
    NEEDLE = ((0.0, 0.6), (0.3, 1.0), (0.7, 0.7), (1.0, 0.0))


@dataclass(frozen=True)
class LeafForm:
    """How leaves are cut into triangles: a blade, the inner stations along it, and whether it folds along a midrib."""

    blade: Blade
    stations: tuple[float, ...]
    midrib: bool = True

    @property
    def triangles(self) -> int:
        """Triangles in one leaf."""
        return len(self.faces())

    def faces(self) -> IntArray:
        """(f, 3) int32: one leaf's triangles over its vertices (base pieces, then rows of stations, then the tip)."""
        across = 3 if self.midrib else 2
        rows = [[row * across + k for k in range(across)] for row in range(len(self.stations) + 1)]
        tip = len(rows) * across
        if self.pointed_base:
            rows = [[0], *[[1 + row * across + k for k in range(across)] for row in range(len(self.stations))]]
            tip = 1 + len(self.stations) * across
        faces: list[tuple[int, int, int]] = []
        for near, far in itertools.pairwise(rows):
            for k in range(across - 1):
                if len(near) == 1:
                    faces.append((near[0], far[k], far[k + 1]))
                else:
                    faces.append((near[k], far[k], far[k + 1]))
                    faces.append((near[k], far[k + 1], near[k + 1]))
        faces += [(rows[-1][k], tip, rows[-1][k + 1]) for k in range(across - 1)]
        return np.array(faces, dtype=np.int32)

    @property
    def pointed_base(self) -> bool:
        """Whether a leaf starts in a point rather than an edge."""
        return bool(self.blade.value[0][1] == 0.0)

    def positions(self) -> FloatArray:
        """Shares of the length at which vertices stand: base, stations, tip."""
        return np.array([0.0, *self.stations, 1.0])

    def half_widths(self) -> FloatArray:
        """Half-width at each of those positions, as a share of the greatest."""
        table: FloatArray = np.array(self.blade.value)
        return np.interp(self.positions(), table[:, 0], table[:, 1])


@dataclass(frozen=True)
class LeafSpread:
    """Where and how n leaves grow; every field (n,) float64 but base (n, 3).

    base [m]: where each leaf is attached; azimuth [rad]: the plan direction it grows in; rise [rad]: its slope above
    the horizontal at the base; droop [rad]: how much of that slope is lost by the tip; length, width [m]; fold [rad]:
    how far each half is raised about the midrib; roll [rad]: turn about its own axis; wave: sideways sway as a share
    of length.
    """

    base: FloatArray
    azimuth: FloatArray
    rise: FloatArray
    droop: FloatArray
    length: FloatArray
    width: FloatArray
    fold: FloatArray
    roll: FloatArray
    wave: FloatArray

    def __len__(self) -> int:
        return len(self.base)

    def chosen(self, which: np.ndarray) -> LeafSpread:
        """Some of the leaves (index or boolean array)."""
        return LeafSpread(**{name: values[which] for name, values in vars(self).items()})

    def scaled(self, size: float) -> LeafSpread:
        """The leaves so many times as long and as wide."""
        return replace(self, length=self.length * size, width=self.width * size)

    def replaced(self, which: np.ndarray, part: LeafSpread) -> LeafSpread:
        """The leaves with the chosen ones replaced by part."""
        fields = {name: values.copy() for name, values in vars(self).items()}
        for name, values in fields.items():
            values[which] = getattr(part, name)
        return LeafSpread(**fields)


def grow(form: LeafForm, spread: LeafSpread) -> FloatArray:
    """Vertices of each leaf, (n, v, 3) float64 [m]; form.faces() gives its triangles, upper side counter-clockwise."""
    positions, half_widths = form.positions(), form.half_widths()
    azimuth, middle = spread.azimuth[:, None], _midribs(spread, positions)
    slope = spread.rise[:, None] - spread.droop[:, None] * positions
    tangent = np.stack([np.cos(slope) * np.cos(azimuth), np.cos(slope) * np.sin(azimuth), np.sin(slope)], axis=2)
    level = np.stack([-np.sin(azimuth), np.cos(azimuth), np.zeros_like(azimuth)], axis=2)
    upward = np.cross(tangent, np.broadcast_to(level, tangent.shape))
    roll = spread.roll[:, None, None]
    across = np.cos(roll) * level + np.sin(roll) * upward
    outward = np.cos(roll) * upward - np.sin(roll) * level
    half = 0.5 * spread.width[:, None, None] * half_widths[None, :, None]
    fold = spread.fold[:, None, None]
    raised = half * np.sin(fold) * outward
    left = middle + half * np.cos(fold) * across + raised
    right = middle - half * np.cos(fold) * across + raised
    # Rows run from the right edge to the left one, so that the upper side winds counter-clockwise.
    rows = np.stack([right, middle, left] if form.midrib else [right, left], axis=2)
    first = middle[:, :1] if form.pointed_base else rows[:, 0]
    inner = rows[:, 1:-1].reshape(len(spread), rows.shape[2] * len(form.stations), 3)
    return np.concatenate([first, inner, middle[:, -1:]], axis=1)


def _midribs(spread: LeafSpread, positions: FloatArray) -> FloatArray:
    """(n, p, 3) float64 [m]: points along each midrib, an arc whose slope changes evenly, swaying a little sideways."""
    fine = np.linspace(0, 1, 17)
    slope = spread.rise[:, None] - spread.droop[:, None] * (0.5 * (fine[1:] + fine[:-1]))
    steps = spread.length[:, None] * np.diff(fine)
    along = np.concatenate([np.zeros((len(spread), 1)), np.cumsum(steps * np.cos(slope), axis=1)], axis=1)
    height = np.concatenate([np.zeros((len(spread), 1)), np.cumsum(steps * np.sin(slope), axis=1)], axis=1)
    low = np.minimum((positions * 16).astype(int), 15)
    part = positions * 16 - low
    along = along[:, low] * (1 - part) + along[:, low + 1] * part
    height = height[:, low] * (1 - part) + height[:, low + 1] * part
    sway = spread.wave[:, None] * spread.length[:, None] * np.sin(np.pi * 1.5 * positions) * positions
    cos, sin = np.cos(spread.azimuth)[:, None], np.sin(spread.azimuth)[:, None]
    offset: FloatArray = np.stack([along * cos - sway * sin, along * sin + sway * cos, height], axis=2)
    return spread.base[:, None, :] + offset


def leaf_areas(form: LeafForm, leaves: FloatArray) -> FloatArray:
    """(n,) float64 [m2]: area of each leaf, one side."""
    vertices, faces = flatten(form, leaves)
    return np.asarray(face_areas(vertices, faces).reshape(len(leaves), form.triangles).sum(axis=1))


def flatten(form: LeafForm, leaves: FloatArray) -> tuple[FloatArray, IntArray]:
    """All leaves (n, v, 3) as one mesh: vertices (n v, 3) and faces (n f, 3) int32."""
    count, corners = leaves.shape[:2]
    faces = form.faces()[None] + (np.arange(count, dtype=np.int32) * corners)[:, None, None]
    return leaves.reshape(-1, 3), faces.reshape(-1, 3).astype(np.int32)
