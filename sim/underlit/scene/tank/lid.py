"""What lies over the tank: a lid of flat, sliding or hinged panes, with its strips; or a hood."""

from __future__ import annotations

import math
from typing import Annotated, ClassVar, Literal, TypeVar

from pydantic import Field, model_validator

from underlit.scene.common import (
    HAIR,
    AngleRad,
    Fraction,
    LengthM,
    NonNegativeLengthM,
    OneOf,
    Part,
    Point,
    PositiveLengthM,
    wrong,
)
from underlit.spectra.grid import FloatArray
from underlit.spectra.materials import reflectance
from underlit.spectra.media import PaneKind

Sheet = Literal["black", "white", "mirror", "foam"]
Coordinate = TypeVar("Coordinate", float, FloatArray)
"""One number or an array of them [m]."""
RIM_CAP = 1e-3
"""Height over the panes' top edge where the cap of a rim lies [m]; a lid rests on it."""
TRACK_GAP = 2e-3
"""Air between the two panes of a sliding lid [m]; common practice, no source."""
WIDEST_OPENING_RAD = 2.0944
"""120 degrees: beyond that a flap would lie on the pane behind it."""


class Rectangle(Part):
    """A level rectangle between two opposite corners, seen from above."""

    corners: tuple[Point, Point]

    @model_validator(mode="after")
    def _has_area(self) -> Rectangle:
        (x0, y0), (x1, y1) = self.corners
        if x0 == x1 or y0 == y1:
            raise wrong("the rectangle has no area: its corners must differ in x and in y", "corners")
        return self

    @property
    def bounds_m(self) -> tuple[float, float, float, float]:
        """x low, y low, x high, y high [m]."""
        (x0, y0), (x1, y1) = self.corners
        return min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)


class Strip(Rectangle):
    """An opaque hinge or back strip lying on the lid."""

    reflectance: Fraction | None = None


class Sliding(Part):
    """Two panes on two tracks, each a little wider than half the tank; the upper one is pushed over the lower."""

    overlap: PositiveLengthM = Field(0.02, description="how far the closed panes overlap")
    opened: NonNegativeLengthM = Field(0.0, description="how far the upper pane, right or back, is pushed open")
    runs: Literal["left to right", "front to back"] = "left to right"


class Hinged(Part):
    """A front flap and a pane behind it, joined by a hinge from left to right."""

    at: LengthM = Field(description="distance of the hinge from the front pane's inside")
    opened: Annotated[AngleRad, Field(ge=0, le=WIDEST_OPENING_RAD + 1e-4)] = Field(
        0.0, description="angle by which the front flap is tilted up, 0 to 120 deg"
    )
    strip: NonNegativeLengthM = Field(0.025, description="width of the opaque hinge, behind the line of the hinge")
    reflectance: Fraction | None = None

    def turned(self, y: Coordinate, z: Coordinate, axis_z: float) -> tuple[Coordinate, Coordinate]:
        """Where a point y, z of the closed flap [m] lies when it is opened; it turns about ``at``, axis_z."""
        c, s = math.cos(self.opened), math.sin(self.opened)
        across, over = y - self.at, z - axis_z
        return self.at + across * c + over * s, axis_z - across * s + over * c


class Lid(Part):
    """Panes that lie on the rim. ``dirt`` and ``condensation`` are the shares of light that each lets through."""

    one_of: ClassVar[tuple[OneOf, ...]] = (OneOf("the kind of lid", "pane", "sliding", "hinged"),)

    glass: PaneKind = PaneKind.CLEAR
    thickness: PositiveLengthM = 0.004
    dirt: Annotated[Fraction, Field(description="light that passes the dirt; 1 is a clean lid")] = 0.92
    condensation: Annotated[Fraction, Field(description="light that passes the drops; 1 is a dry lid")] = 0.97
    above_rim: NonNegativeLengthM = 0.0
    panes: tuple[Rectangle, ...] = Field((), alias="pane")
    strips: tuple[Strip, ...] = Field((), alias="strip")
    sliding: Sliding | None = None
    hinged: Hinged | None = None

    def undersides_m(self, panes_top_m: float, on_a_rim: bool) -> tuple[float, ...]:
        """Height of the underside of its lower panes, then of a sliding lid's upper pane, closed [m]."""
        low = panes_top_m + self.above_rim + HAIR + (RIM_CAP if on_a_rim else 0.0)
        return (low,) if self.sliding is None else (low, low + self.thickness + TRACK_GAP)

    @property
    def has_strips(self) -> bool:
        """Whether opaque strips lie on it."""
        return bool(self.strips) or (self.hinged is not None and self.hinged.strip > 0)


class Hood(Part):
    """A box over the whole tank, open to the water; its inside height is counted from the rim."""

    height: PositiveLengthM
    colour: Sheet | None = None
    reflectance: Fraction | None = None

    def inside_reflectance(self) -> FloatArray:
        """Reflectance of the inside over the 60 bins, (60,)."""
        return reflectance(self.colour or "white", self.reflectance)
