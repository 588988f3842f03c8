"""The inside of a tank seen from above: the outline of each shape, and the pane to which each edge belongs.

Curved panes become flat facets whose middle lies at most `SAGITTA_M` off the arc through their corners. So a cylinder of
40 cm has 320 facets of 4 mm, and holds .006 % less water than the circle. A flat facet does not focus: each makes a patch of
its own width, turned by up to half the angle between two facets (.6 deg there). Bright lines finer than a facet are not real.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from underlit.scene.outline import Polygon, fault_of

if TYPE_CHECKING:
    import shapely

SAGITTA_M = 1e-5
"""Farthest that a facet lies off its arc [m]."""
UPRIGHT_SIDES = ("front", "back", "left", "right")
FEWEST_BOW_FACETS = 8


@dataclass(frozen=True)
class TankOutline:
    """Corners in order, counter-clockwise seen from above [m], and the pane of each edge (to the next corner)."""

    points: Polygon
    sides: tuple[str, ...]

    def edges(self, side: str) -> list[int]:
        """Numbers of the edges of a pane, in order."""
        return [i for i, name in enumerate(self.sides) if name == side]

    def normal(self, edge: int) -> tuple[float, float]:
        """Unit vector that points out of an edge."""
        (x0, y0), (x1, y1) = self.points[edge], self.points[(edge + 1) % len(self.points)]
        length = math.hypot(x1 - x0, y1 - y0)
        return (y1 - y0) / length, -(x1 - x0) / length

    def moved(self, outward: float) -> TankOutline:
        """Every edge moved outward [m], corners where the moved edges meet; ValueError where an edge would vanish."""
        if outward == 0.0:
            return self
        points = []
        for i, (x, y) in enumerate(self.points):
            (ax, ay), (bx, by) = self.normal(i - 1), self.normal(i)
            along = 1.0 + ax * bx + ay * by
            if along < 1e-3:
                raise ValueError("two panes meet at a corner that is too sharp for their thickness")
            points.append((x + outward * (ax + bx) / along, y + outward * (ay + by) / along))
        moved = TankOutline(tuple(points), self.sides)
        for i, (x0, y0) in enumerate(moved.points):
            (x1, y1), (nx, ny) = moved.points[(i + 1) % len(points)], self.normal(i)
            if (y1 - y0) * nx - (x1 - x0) * ny <= 0:
                raise ValueError("the panes are too thick: thicker than one of them is wide")
        if len(points) > 4 and fault_of(moved.points):
            raise ValueError("the panes are too thick: their faces cross each other")
        return moved

    @cached_property
    def polygon(self) -> shapely.Polygon:
        """The same for plan geometry."""
        import shapely

        return shapely.Polygon(self.points)

    @property
    def size(self) -> tuple[float, float]:
        """Length and front to back of the rectangle around it, which begins at 0, 0 [m]."""
        return max(x for x, _ in self.points), max(y for _, y in self.points)

    @property
    def area(self) -> float:
        """Area inside [m2]."""
        return float(self.polygon.area)

    def holds(self, x: float, y: float) -> bool:
        """Whether a point of the plan lies inside or on the panes."""
        import shapely

        return bool(shapely.intersects_xy(self.polygon, x, y))

    def distance(self, x: float, y: float) -> float:
        """How far a point of the plan lies outside [m]; 0 inside."""
        import shapely

        return float(self.polygon.distance(shapely.Point(x, y)))

    def inset(self, inward: float) -> shapely.Polygon:
        """What is left when a strip of that width [m] along all panes is taken away; empty where nothing is left."""
        import shapely

        turns = [self._turn(i) for i in range(len(self.points))]
        if min(turns) < 0:
            # This is off by a hundredth of the width, finer than any plate is cut.
            return self.polygon.buffer(-inward, join_style="mitre")
        left = list(self.points)
        for i, (x, y) in enumerate(self.points):
            nx, ny = self.normal(i)
            left = _cut(left, nx, ny, nx * x + ny * y - inward)
        return shapely.Polygon(left) if len(left) > 2 else shapely.Polygon()

    def _turn(self, corner: int) -> float:
        (ax, ay), (bx, by) = self.normal(corner - 1), self.normal(corner)
        return ax * by - ay * bx

    def meets(self, points: Iterable[tuple[float, float]]) -> bool:
        """Whether the area spanned by points of the plan overlaps the inside."""
        import shapely

        return bool(shapely.MultiPoint(list(points)).convex_hull.intersection(self.polygon).area > 0)

    def shared_area(self, polygon: Iterable[tuple[float, float]]) -> float:
        """Area of the part of a polygon that lies inside [m2]."""
        import shapely

        return float(shapely.Polygon(polygon).buffer(0).intersection(self.polygon).area)


def _cut(points: list[tuple[float, float]], nx: float, ny: float, offset: float) -> list[tuple[float, float]]:
    """The part of a convex outline where nx x + ny y is at most the offset (Sutherland & Hodgman 1974)."""
    left = []
    for (x0, y0), (x1, y1) in zip(points, points[1:] + points[:1], strict=True):
        here, after = offset - nx * x0 - ny * y0, offset - nx * x1 - ny * y1
        if here >= 0:
            left.append((x0, y0))
        if (here > 0) != (after > 0) and here != 0 and after != 0:
            share = here / (here - after)
            left.append((x0 + share * (x1 - x0), y0 + share * (y1 - y0)))
    return left


def facets_for(radius: float, turn: float) -> int:
    """How many facets an arc of a radius [m] over a turn [rad] needs to lie within `SAGITTA_M` of it."""
    return math.ceil(turn / (2 * math.acos(1 - min(SAGITTA_M / radius, 1.0))) - 1e-9)


def box(length: float, depth: float) -> TankOutline:
    """Four panes."""
    return TankOutline(((0.0, 0.0), (length, 0.0), (length, depth), (0.0, depth)), ("front", "right", "back", "left"))


def bow_front(length: float, depth: float, bow: float) -> TankOutline:
    """A box whose front pane is an arc that stands out by `bow` in the middle; depth is that of the middle."""
    radius = length * length / (8 * bow) + bow / 2
    half = math.atan2(length / 2, radius - bow)
    count = max(FEWEST_BOW_FACETS, 2 * math.ceil(facets_for(radius, 2 * half) / 2))
    arc = [(0.0, bow)]
    for i in range(1, count):
        angle = half * (2 * i / count - 1)
        arc.append((length / 2 + radius * math.sin(angle), radius - radius * math.cos(angle)))
    arc[count // 2] = (length / 2, 0.0)
    points = (*arc, (length, bow), (length, depth), (0.0, depth))
    return TankOutline(points, (*["front"] * count, "right", "back", "left"))


def cylinder(diameter: float) -> TankOutline:
    """A round tank; its panes are quarters, the front one over the middle of the viewer's side."""
    radius = diameter / 2
    count = 8 * math.ceil(facets_for(radius, 2 * math.pi) / 8)
    points = []
    for i in range(count):
        angle = 2 * math.pi * i / count - 0.75 * math.pi
        points.append((radius + radius * math.cos(angle), radius + radius * math.sin(angle)))
    quarter = count // 4
    for at, corner in zip(
        (1, 3, 5, 7), ((radius, 0.0), (diameter, radius), (radius, diameter), (0.0, radius)), strict=True
    ):
        points[at * quarter // 2] = corner
    return TankOutline(tuple(points), tuple(s for s in ("front", "right", "back", "left") for _ in range(quarter)))


def hexagon(length: float, depth: float) -> TankOutline:
    """Six panes, one of them to the viewer; length is from corner to corner, depth from flat to flat."""
    points = ((0.25, 0.0), (0.75, 0.0), (1.0, 0.5), (0.75, 1.0), (0.25, 1.0), (0.0, 0.5))
    sides = ("front", "right", "right", "back", "left", "left")
    return TankOutline(tuple((length * x, depth * y) for x, y in points), sides)


def corner(length: float, depth: float, side_pane: float, room_corner: str) -> TankOutline:
    """Five panes for the corner of a room: two long ones at its walls, two short ones, one across to the viewer."""
    points = ((0.0, 0.0), (side_pane, 0.0), (length, depth - side_pane), (length, depth), (0.0, depth))
    if room_corner == "back left":
        return TankOutline(points, ("front", "front", "right", "back", "left"))
    mirrored = tuple((length - x, y) for x, y in reversed(points))
    return TankOutline(mirrored, ("back", "left", "front", "front", "right"))


def of_points(points: Polygon) -> TankOutline:
    """Any closed outline; an edge is of the pane that it looks towards, front and back on the diagonal."""
    import shapely

    turned = points if shapely.is_ccw(shapely.LinearRing(points)) else tuple(reversed(points))
    bare = TankOutline(turned, ())
    sides = []
    for i in range(len(turned)):
        x, y = bare.normal(i)
        if abs(y) >= abs(x) - 1e-9:
            sides.append("front" if y < 0 else "back")
        else:
            sides.append("left" if x < 0 else "right")
    return TankOutline(turned, tuple(sides))
