"""Outlines on the plan: a list of points, a rectangle or a circle, and how they lie to the tank."""

from __future__ import annotations

import math
from typing import ClassVar

from pydantic import model_validator

from underlit.scene.common import OneOf, Part, Point, PositiveLengthM, wrong

Polygon = tuple[tuple[float, float], ...]
CIRCLE_CORNERS = 64


class Circle(Part):
    """A circle on the plan."""

    centre: Point
    radius: PositiveLengthM


class Outlined(Part):
    """Something with at most one outline: ``outline`` (points in order), ``rectangle`` (two corners) or ``circle``."""

    one_of: ClassVar[tuple[OneOf, ...]] = (OneOf("the outline", "outline", "rectangle", "circle"),)

    outline: tuple[Point, ...] | None = None
    rectangle: tuple[Point, Point] | None = None
    circle: Circle | None = None

    @model_validator(mode="after")
    def _outline_makes_sense(self) -> Outlined:
        stated = self.outline_keys
        if self.outline is not None and len(self.outline) < 3:
            raise wrong("an outline needs at least three points", "outline")
        if stated and (fault := fault_of(self.polygon)):
            raise wrong(fault, stated[0])
        return self

    @property
    def outline_keys(self) -> list[str]:
        """Which of the three keys the scene states."""
        return [key for key in ("outline", "rectangle", "circle") if getattr(self, key) is not None]

    @property
    def polygon(self) -> Polygon:
        """The outline as points in order [m]; empty where none is given. A circle becomes 64 corners of its area."""
        if self.outline is not None:
            return self.outline
        if self.rectangle is not None:
            (x0, y0), (x1, y1) = self.rectangle
            return (x0, y0), (x1, y0), (x1, y1), (x0, y1)
        if self.circle is not None:
            step = 2 * math.pi / CIRCLE_CORNERS
            (x, y), radius = self.circle.centre, self.circle.radius * math.sqrt(step / math.sin(step))
            return tuple(
                (x + radius * math.cos(i * step), y + radius * math.sin(i * step)) for i in range(CIRCLE_CORNERS)
            )
        return ()


def fault_of(polygon: Polygon) -> str:
    """What keeps points in order from being an outline with an inside; empty where nothing does."""
    import shapely

    made = shapely.Polygon(polygon)
    if not made.convex_hull.area > 0:
        return "the outline has no area: its points lie on one line"
    return "" if made.is_valid else "the outline crosses or touches itself"
