"""How an LED spreads its light and where it points."""

from __future__ import annotations

import math
from functools import cached_property
from typing import Annotated, ClassVar

import numpy as np
from pydantic import AfterValidator, Field, model_validator

from underlit.photometry import lens as lenses
from underlit.scene.common import AngleRad, NonNegativeNumber, OneOf, Part, ShortForm, wrong
from underlit.spectra.grid import FloatArray


class LensShape(Part):
    """How an LED spreads its light: a name, a beam angle (full width at half maximum), a cone or a table."""

    one_of: ClassVar[tuple[OneOf, ...]] = (OneOf("the lens", "name", "beam_angle", "cone", "table", required=True),)

    name: Annotated[str | None, Field(pattern="^lambertian$")] = None
    beam_angle: AngleRad | None = None
    cone: AngleRad | None = None
    table: tuple[tuple[AngleRad, NonNegativeNumber], ...] | None = None

    @model_validator(mode="after")
    def _makes_sense(self) -> LensShape:
        try:
            _ = self.lens
        except ValueError as problem:
            raise wrong(_lens_problem(self) or str(problem), self.stated()[0]) from None
        return self

    @cached_property
    def lens(self) -> lenses.Lens:
        """The same as data for the tracer."""
        if self.beam_angle is not None:
            return lenses.from_beam_angle(self.beam_angle)
        if self.cone is not None:
            return lenses.uniform_cone(self.cone)
        if self.table is not None:
            angle, intensity = np.array(self.table, dtype=np.float64).reshape(-1, 2).T
            return lenses.from_table(angle, intensity)
        return lenses.lambertian()


def _lens_problem(shape: LensShape) -> str:
    wide = shape.beam_angle or shape.cone or 0.0
    if wide >= math.pi:
        return "a lens must be narrower than a hemisphere: less than 180 deg"
    return ""


LensWord = Annotated[LensShape, ShortForm("name", lambda: ("lambertian",))]
"""A lens as a table of keys or as the one word ``"lambertian"``."""


def angle_within(low_deg: float, high_deg: float) -> AfterValidator:
    """Accepts angles [rad] between two bounds [deg], the bounds excluded."""

    def check(angle: float) -> float:
        if not low_deg < math.degrees(angle) < high_deg:
            raise wrong(f"must lie between {low_deg:g} and {high_deg:g} deg", got=f"{math.degrees(angle):.4g} deg")
        return angle

    return AfterValidator(check)


LeanRad = Annotated[AngleRad, angle_within(-90, 90)]


class Aimed(Part):
    """LEDs that may have a lens of their own and may not point straight out of the board."""

    lens: Annotated[
        LensWord | None, Field(description="their own lens; that of the channel or fixture if not given")
    ] = None
    tilt: Annotated[LeanRad, Field(description="from straight down towards the front; negative towards the back")] = 0.0
    lean: Annotated[LeanRad, Field(description="from straight down towards the right; negative to the left")] = 0.0

    @property
    def axis(self) -> FloatArray:
        """Unit vector along which they point in the fixture's frame, (3,): right, back, up."""
        return aim(self.tilt, self.lean)


def aim(tilt_rad: float, lean_rad: float) -> FloatArray:
    """Straight down, tilted to the front and then leaned to the right about the axis from front to back, (3,)."""
    out = math.cos(tilt_rad)
    return np.array([out * math.sin(lean_rad), -math.sin(tilt_rad), -out * math.cos(lean_rad)])
