"""Whether a light fits and leaves room: its length, a hand's way in, hanging height, spill and glare into the room.

Limits are common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from underlit.lowering.records import PAST_THE_TANK
from underlit.photometry.lens import relative_intensity
from underlit.results.result import Result
from underlit.scene import Fixture, Scene
from underlit.scene.checks.scene import fixture_bounds_m, fixture_heights_m
from underlit.units import format_length

HAND_M = 0.12
"""A free strip this wide lets a hand in to feed and trim."""
OVER_THE_HAND_M = 0.18
"""A light this high over the rim leaves the way free under it."""
VIEWER_M = 1.0
"""A viewer sits this far in front of the pane, eyes level with the rim."""
GLARING = 0.25
"""Share of an LED's greatest intensity that reaches those eyes, from which it is said to glare."""
SPILLING = 0.15
"""Share of the light that misses the tank, from which it is said to light the room."""
NO_OVERHANG_M = 1e-3
"""A light that is longer than the tank by no more than this is as long as it."""


@dataclass(frozen=True)
class Reach:
    """free_m: widest strip free of fixtures; spill: share of the light that misses
    the tank; glare: share of greatest intensity at a viewer's eyes; warnings: what is beyond the limits, in words.
    """

    free_m: float
    spill: float
    glare: float
    warnings: tuple[str, ...]


def reach_of(scene: Scene, result: Result) -> Reach:
    """Checks of a traced scene's lights, as they are dimmed."""
    height = scene.tank.inside_m[2]
    lowest = min((fixture_heights_m(scene, fixture)[0] for fixture in scene.fixtures), default=height)
    free, hangs = free_strip_m(scene), lowest - height
    spill = result.share_of(PAST_THE_TANK)
    glare = max((glare_of(scene, fixture) for fixture in scene.fixtures), default=0.0)
    said, tanks = [], "the tanks" if scene.rack else "the tank"
    if free < HAND_M and hangs < OVER_THE_HAND_M:
        said.append(
            f"only {format_length(free)} free for a hand beside the light, which hangs {format_length(hangs)} up"
        )
    if spill > SPILLING:
        said.append(f"{100 * spill:.0f} % of the light misses {tanks} and falls into the room")
    if glare > GLARING:
        said.append(f"seen from the front, the LEDs glare ({100 * glare:.0f} % of their highest intensity): shade them")
    said += [
        f"{f.name} is {format_length(over)} longer than {'the rack' if scene.rack else 'the tank'}"
        for f in scene.fixtures
        if (over := _longer_m(scene, f)) > NO_OVERHANG_M
    ]
    return Reach(free, spill, glare, tuple(said))


def free_strip_m(scene: Scene) -> float:
    """Widest strip from front to back, or from left to right, that no fixture lies over [m]."""
    bounds = [fixture_bounds_m(scene, fixture) for fixture in scene.fixtures]
    length, depth, _ = scene.tank.inside_m
    return max(
        _widest_gap([(low, high) for _, low, _, high in bounds], depth),
        _widest_gap([(low, high) for low, _, high, _ in bounds], length),
    )


def _widest_gap(covered: list[tuple[float, float]], whole: float) -> float:
    reached, widest = 0.0, 0.0
    for low, high in sorted(covered):
        widest = max(widest, min(low, whole) - reached)
        reached = max(reached, high)
    return max(widest, whole - reached)


def glare_of(scene: Scene, fixture: Fixture) -> float:
    """Share of an LED's greatest intensity at a viewer's eyes; 0 for what a photometric file or a reflector describes.

    The eyes are level with the rim, so they see only faces that hang over it.
    """
    _, y, z = scene.fixture_centre_m(fixture)
    up = z - scene.tank.inside_m[2]
    if up <= 0 or fixture.photometric_file is not None or fixture.reflector is not None:
        return 0.0
    away = y + VIEWER_M
    axis = fixture.rotation @ np.array([0.0, 0.0, -1.0])
    angle = math.acos(float(np.clip(axis @ np.array([0.0, -away, -up]) / math.hypot(away, up), -1.0, 1.0)))
    shares = []
    for channel in fixture.channels:
        lens = fixture.lens_shape(channel).lens
        most = float(relative_intensity(lens, np.linspace(0, math.pi / 2, 181)).max())
        shares.append(float(relative_intensity(lens, angle)) / most)
    return max(shares)


def room_m(scene: Scene) -> tuple[float, float]:
    """How long and how deep a light over the tank may be [m]: as the tank outside; in a rack as all its tanks together."""
    wall = scene.tank.wall_thickness_m
    if not scene.rack:
        length, depth, _ = scene.tank.inside_m
        return length + 2 * wall, depth + 2 * wall
    offsets = np.array([(0.0, 0.0), *(tank.at for tank in scene.rack)])
    outlines = [np.array(each.tank.outside_outline.points) for each in scene.tank_scenes]
    corners = np.concatenate([outline + at for outline, at in zip(outlines, offsets, strict=True)])
    length, depth = corners.max(axis=0) - corners.min(axis=0)
    return float(length), float(depth)


def _longer_m(scene: Scene, fixture: Fixture) -> float:
    x0, y0, x1, y1 = fixture_bounds_m(scene, fixture)
    length, depth = room_m(scene)
    return max(x1 - x0 - length, y1 - y0 - depth)
