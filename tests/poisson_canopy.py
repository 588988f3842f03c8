"""Layers of randomly placed flat leaves: the textbook canopy, for which light follows exp(-k LAI)."""

from __future__ import annotations

from enum import Enum

import numpy as np

from underlit.lowering.shapes.placing import cut_to_box
from underlit.lowering.shapes.plants.planting import Planting, require
from underlit.lowering.shapes.randomness import generator
from underlit.lowering.shapes.shape import FloatArray, Shape, face_areas, without_degenerate_faces


class LeafAngles(Enum):
    """How the leaves of a layer are turned."""

    HORIZONTAL = "horizontal"
    """All level: k = 1 for light from any direction."""
    SPHERICAL = "spherical"
    """As the faces of a ball are: k = 0.5 / cos(angle from the zenith)."""


def random_leaves(
    seed: int,
    low: tuple[float, float, float],
    high: tuple[float, float, float],
    *,
    leaf_area_index: float,
    angles: LeafAngles,
    leaf_size: float = 0.01,
) -> Planting:
    """Flat leaves, one triangle each, independent of each other and evenly random in a box (a Poisson canopy).

    low, high: corners of the box [m], whose plan area the leaf area index refers to; leaf_size: side of a leaf [m].
    Leaves are cut off at the box's sides, so that their density stays even up to mirrors or walls there; upright ones
    reach a little above and below the box. Source of k: J. Ross, The Radiation Regime and Architecture of Plant
    Stands, 1981 (G function). Raises ShapeError.
    """
    bottom, top = np.array(low, dtype=np.float64), np.array(high, dtype=np.float64)
    require(bool((top > bottom).all()), "random_leaves: the box needs its high corner above its low one")
    require(0 < leaf_area_index <= 40, f"leaf_area_index: {leaf_area_index:g} is not believable; give 0.1 to 40")
    require(leaf_size > 1e-5, f"leaf_size: {leaf_size:g} m is too small; give 0.1 mm or more")
    rng = generator(seed, f"random leaves {angles.value}")
    around = leaf_size / np.sqrt(3.0)
    wide = np.array([around, around, 0.0])
    leaf_area = np.sqrt(3.0) / 4 * leaf_size**2
    plan = float(np.prod((top - bottom + 2 * wide)[:2]))
    count = max(1, round(leaf_area_index * plan / leaf_area))
    middles = rng.uniform(bottom - wide, top + wide, (count, 3))
    across, along = _directions(count, angles, rng)
    turns = 2 * np.pi * np.arange(3) / 3
    corners = np.cos(turns)[:, None] * across[:, None] + np.sin(turns)[:, None] * along[:, None]
    vertices = (middles[:, None] + around * corners).reshape(-1, 3)
    faces = np.arange(3 * count, dtype=np.int32).reshape(-1, 3)
    far = np.array([0.0, 0.0, np.inf])
    shape = Shape(*without_degenerate_faces(*cut_to_box(vertices, faces, bottom - far, top + far)), False)
    area = float(np.prod((top - bottom)[:2]))
    total = float(face_areas(shape.vertices, shape.faces).sum())
    return Planting(shape, total, total / area, count, count, area, leaf_faces=len(shape.faces))


def _directions(count: int, angles: LeafAngles, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Two perpendicular unit vectors (n, 3) in the plane of each leaf, counter-clockwise about its upper side."""
    turn = rng.uniform(0, 2 * np.pi, count)
    level = np.stack([np.cos(turn), np.sin(turn), np.zeros(count)], axis=1)
    side = np.stack([-np.sin(turn), np.cos(turn), np.zeros(count)], axis=1)
    up = np.array([0.0, 0.0, 1.0])
    cosine = np.ones(count) if angles is LeafAngles.HORIZONTAL else rng.uniform(0, 1, count)
    along = side * cosine[:, None] + up * np.sqrt(1 - cosine**2)[:, None]
    spin = rng.uniform(0, 2 * np.pi, count)[:, None]
    return np.cos(spin) * level + np.sin(spin) * along, np.cos(spin) * along - np.sin(spin) * level
