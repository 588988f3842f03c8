"""Whether the tanks of a rack and their lights have room beside each other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

from underlit.scene.checks.boxes import Corners, body_corners_m, boxes_overlap
from underlit.scene.model import Scene
from underlit.text.problem import Problem, shown

if TYPE_CHECKING:
    import shapely

BETWEEN_M = 2e-3
"""Room between two tanks; a rim stands out by less than that."""


@dataclass(frozen=True)
class _Standing:
    """A tank where it stands: its number in the rack (-1 the scene's own), name, outline, lowest and highest point [m]."""

    number: int
    name: str
    outline: shapely.Geometry
    low: float
    high: float
    lights: tuple[tuple[str, Corners], ...]


def check_rack(scene: Scene) -> Iterator[Problem]:
    """Names taken twice, tanks in the same place, lights in the same place or inside a tank."""
    names = [tank.name for tank in scene.rack]
    for index, name in enumerate(names):
        if name in names[:index]:
            yield Problem(f"the name is taken: give another one (got {shown(name)})", ("rack", index, "name"))
    standing = [_standing(-1, "the scene's own tank", scene, (0.0, 0.0, 0.0))]
    standing += [
        _standing(i, tank.name, tank.scene, tank.offset_m) for i, tank in enumerate(scene.rack) if tank.is_read
    ]
    for one, two in combinations(standing, 2):
        where = ("rack", two.number, "at")
        if one.outline.intersects(two.outline) and one.low < two.high and two.low < one.high:
            yield Problem(f"stands in the same place as {one.name}: move one of them", where)
            continue
        for light, corners in two.lights:
            if any(boxes_overlap(corners, other) for _, other in one.lights):
                yield Problem(
                    f"its light {shown(light)} is in the same place as a light of {one.name}: move one of them", where
                )
            elif _cuts(corners, one):
                yield Problem(f"its light {shown(light)} cuts into {one.name}: move one of them", where)
        for light, corners in one.lights:
            if _cuts(corners, two):
                yield Problem(f"the light {shown(light)} of {one.name} cuts into it: move one of them", where)


def _standing(number: int, name: str, scene: Scene, offset: tuple[float, float, float]) -> _Standing:
    from shapely.affinity import translate

    tank = scene.tank
    around = max([BETWEEN_M / 2, *(wall.air_gap for wall in tank.walls.values())])
    outline = translate(tank.outside_outline.moved(around).polygon, *offset[:2])
    x, y, z = offset
    lights = tuple(
        (light.name, [(a + x, b + y, c + z) for a, b, c in body_corners_m(scene, light)]) for light in scene.fixtures
    )
    low = z - tank.bottom_thickness_m - tank.bottom.air_gap
    return _Standing(number, name, outline, low, z + tank.inside_m[2] + BETWEEN_M, lights)


def _cuts(corners: Corners, tank: _Standing) -> bool:
    import shapely

    below = shapely.MultiPoint([(x, y) for x, y, _ in corners]).convex_hull
    heights = [z for _, _, z in corners]
    return min(heights) < tank.high and max(heights) > tank.low and bool(below.intersects(tank.outline))
