"""Boxes that stand at any angle: fixtures' bodies and tilted flaps, and whether two share space."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from underlit.scene.lights.fixture import Fixture
    from underlit.scene.model import Scene

TOUCHING_M = 1e-6
Corners = list[tuple[float, float, float]]
"""Eight corners [m] along, across, up like the bits of their number: 4, 2 and 1 steps from the first."""


def boxes_overlap(one: Corners, two: Corners) -> bool:
    """Whether two boxes share space: no axis of either and no cross product of two parts them (Gottschalk 1996)."""
    corners = [np.array(one), np.array(two)]
    edges = [points[[4, 2, 1]] - points[0] for points in corners]
    axes = [*edges[0], *edges[1], *(np.cross(a, b) for a in edges[0] for b in edges[1])]
    for axis in axes:
        length = float(np.linalg.norm(axis))
        if length < 1e-12:
            continue
        first, second = corners[0] @ axis / length, corners[1] @ axis / length
        if min(first.max(), second.max()) - max(first.min(), second.min()) <= TOUCHING_M:
            return False
    return True


def body_corners_m(scene: Scene, fixture: Fixture) -> Corners:
    """The eight corners round body and reflector: the underside carries the LED face, the body rises from there."""
    placed = fixture.corners_m @ fixture.rotation.T + np.array(scene.fixture_centre_m(fixture))
    return [(x, y, z) for x, y, z in placed.tolist()]
