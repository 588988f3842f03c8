"""The tank, what stands behind its panes, its rim and braces, its water, lid and hood."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, model_validator

from underlit.scene.common import (
    Fraction,
    LengthM,
    NonNegativeLengthM,
    NonNegativeNumber,
    Part,
    Point,
    PositiveLengthM,
    ShortForm,
    exactly_one,
    wrong,
)
from underlit.spectra.grid import FloatArray
from underlit.spectra.materials import reflectance
from underlit.spectra.media import TANNIN_SLOPE_PER_NM, OpticalConstants, PaneKind, optical_constants

Size = tuple[PositiveLengthM, PositiveLengthM, PositiveLengthM]
Sheet = Literal["black", "white", "mirror", "foam"]
SIDES = ("front", "back", "left", "right", "bottom")


class Behind(StrEnum):
    """What is behind a pane. Paint and film touch the glass and end total reflection; a sheet leaves a gap."""

    OPEN_AIR = "open air"
    SHEET = "sheet"
    PAINT = "paint"
    FILM = "film"


class Wall(Part):
    """One pane: what is behind it and how much light what grows on it gives back per hit."""

    behind: Behind = Behind.OPEN_AIR
    colour: Sheet | None = None
    reflectance: Fraction | None = None
    air_gap: PositiveLengthM = 0.001
    gives_back: Fraction | None = None

    @model_validator(mode="after")
    def _colour_fits(self) -> Wall:
        if self.behind is Behind.OPEN_AIR:
            if self.colour is not None or self.reflectance is not None:
                key = "colour" if self.colour is not None else "reflectance"
                raise wrong('open air has no colour; say behind = "sheet" or "paint"', key, getattr(self, key))
        elif self.colour is None and self.reflectance is None:
            raise wrong(f"what colour is the {self.behind}? say colour or reflectance", "behind")
        if self.behind is not Behind.SHEET and "air_gap" in self.model_fields_set:
            raise wrong('only a sheet has an air gap; say behind = "sheet"', "air_gap")
        return self

    @property
    def touches_glass(self) -> bool:
        """Whether the backing is in optical contact."""
        return self.behind in (Behind.PAINT, Behind.FILM)

    def backing_reflectance(self) -> FloatArray | None:
        """Reflectance of the backing over the 60 bins, (60,); None in open air."""
        if self.behind is Behind.OPEN_AIR:
            return None
        return reflectance(self.colour or "black", self.reflectance)


class Rim(Part):
    """The frame round the top edge: covers the water inward, its top flush with the panes' top edge."""

    covers: NonNegativeLengthM = 0.016
    height: PositiveLengthM = 0.025
    reflectance: Fraction | None = None


class Brace(Part):
    """A cross brace from front to back at the top edge; opaque, or of glass where ``glass`` is said."""

    at: LengthM
    width: PositiveLengthM = 0.044
    thickness: PositiveLengthM = 0.012
    glass: PaneKind | None = None
    reflectance: Fraction | None = None


def _bottom() -> Wall:
    return Wall(behind=Behind.SHEET, colour="foam")


class Tank(Part):
    """The glass box, by its inside measures or by its nominal outside size; [length, front to back, height]."""

    nominal_size: Size | None = None
    inside_size: Size | None = None
    glass: PaneKind = PaneKind.CLEAR
    glass_thickness: PositiveLengthM | None = None
    bottom_thickness: PositiveLengthM | None = None
    front: Wall = Field(default_factory=Wall)
    back: Wall = Field(default_factory=Wall)
    left: Wall = Field(default_factory=Wall)
    right: Wall = Field(default_factory=Wall)
    bottom: Wall = Field(default_factory=_bottom)
    rim: Rim | None = None
    braces: tuple[Brace, ...] = Field((), alias="brace")

    @model_validator(mode="after")
    def _sizes_fit(self) -> Tank:
        exactly_one(self, ("nominal_size", "inside_size"), "the size of the tank")
        if min(self.inside_m) <= 0:
            raise wrong("the panes are thicker than the tank: nothing is left inside", "glass_thickness")
        if max(self.inside_m) > 20:
            key = "nominal_size" if self.nominal_size else "inside_size"
            raise wrong("a side longer than 20 m: check the unit", key)
        return self

    @property
    def wall_thickness_m(self) -> float:
        """Thickness of the four walls [m]; by common practice for the height where the scene does not say."""
        return self.glass_thickness or usual_thickness_m(*(self.nominal_size or self.inside_size or (0, 0, 0)))

    @property
    def bottom_thickness_m(self) -> float:
        """Thickness of the bottom pane [m]; as the walls where the scene does not say."""
        return self.bottom_thickness or self.wall_thickness_m

    @property
    def inside_m(self) -> tuple[float, float, float]:
        """Inside length, front to back, and height from the bottom pane to the top edge [m]."""
        if self.inside_size is not None:
            return self.inside_size
        length, depth, height = self.nominal_size or (0.0, 0.0, 0.0)
        wall = self.wall_thickness_m
        return length - 2 * wall, depth - 2 * wall, height - self.bottom_thickness_m

    @property
    def walls(self) -> dict[str, Wall]:
        """The five panes by side: front, back, left, right, bottom."""
        return {side: getattr(self, side) for side in SIDES}


def usual_thickness_m(length: float, depth: float, height: float) -> float:
    """Glass thickness that tanks of this size commonly have [m]; common practice, no source."""
    for tallest, short_mm, long_mm in ((0.31, 5, 6), (0.42, 6, 8), (0.52, 8, 10), (0.62, 10, 12), (0.78, 12, 15)):
        if height <= tallest:
            return (long_mm if length > 1.25 else short_mm) / 1000
    return 0.019


class Tannin(Part):
    """Dissolved colour, by name or by its absorption at 440 nm (napierian)."""

    name: Literal["none", "light", "ordinary", "tea"] | None = None
    a440_per_m: NonNegativeNumber | None = None
    slope_per_nm: Annotated[float, Field(strict=True, ge=0.005, le=0.03)] = TANNIN_SLOPE_PER_NM

    @model_validator(mode="after")
    def _said_once(self) -> Tannin:
        exactly_one(self, ("name", "a440_per_m"), "the tint")
        return self

    @property
    def absorption_440_per_m(self) -> float:
        """Absorption at 440 nm [1/m]."""
        return TANNIN_A440_PER_M[self.name] if self.name else self.a440_per_m or 0.0


TANNIN_A440_PER_M = {"none": 0.0, "light": 0.075, "ordinary": 0.4, "tea": 3.0}
"""Carbon-filtered .05-.1, ordinary tank .3-.5, tea-stained 2-5; common practice, no source."""


class Cloudiness(Part):
    """What floats in the water, by name or by its scattering coefficient."""

    name: Literal["clear", "hazy", "cloudy"] | None = None
    scattering_per_m: NonNegativeNumber | None = None

    @model_validator(mode="after")
    def _said_once(self) -> Cloudiness:
        exactly_one(self, ("name", "scattering_per_m"), "the cloudiness")
        return self

    @property
    def coefficient_per_m(self) -> float:
        """Scattering by particles [1/m]."""
        return SCATTERING_PER_M[self.name] if self.name else self.scattering_per_m or 0.0


SCATTERING_PER_M = {"clear": 0.0, "hazy": 0.5, "cloudy": 3.0}
"""Engineering points; common practice, no source."""

WATER_BELOW_RIM_M = 1.25 * 0.0254


class Water(Part):
    """How high the water stands and what colours or clouds it."""

    below_rim: NonNegativeLengthM | None = None
    above_bottom: PositiveLengthM | None = None
    tannin: Annotated[Tannin, ShortForm("name", lambda: tuple(TANNIN_A440_PER_M))] = Tannin(name="ordinary")
    cloudiness: Annotated[Cloudiness, ShortForm("name", lambda: tuple(SCATTERING_PER_M))] = Cloudiness(name="clear")

    @model_validator(mode="after")
    def _level_said_once(self) -> Water:
        if self.below_rim is not None and self.above_bottom is not None:
            raise wrong("the water level is said twice, by below_rim and above_bottom; keep one", "above_bottom")
        return self

    def optical_constants(self) -> OpticalConstants:
        """Index, absorption and scattering of this water over the 60 bins."""
        return optical_constants(
            "water",
            tannin_a440_per_m=self.tannin.absorption_440_per_m,
            tannin_slope_per_nm=self.tannin.slope_per_nm,
            cloudiness_per_m=self.cloudiness.coefficient_per_m,
        )


class Rectangle(Part):
    """A level rectangle between two opposite corners, seen from above."""

    corners: tuple[Point, Point]

    @model_validator(mode="after")
    def _has_area(self) -> Rectangle:
        (x0, y0), (x1, y1) = self.corners
        if x0 == x1 or y0 == y1:
            raise wrong("a rectangle without any area", "corners")
        return self

    @property
    def bounds_m(self) -> tuple[float, float, float, float]:
        """x low, y low, x high, y high [m]."""
        (x0, y0), (x1, y1) = self.corners
        return min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)


class Strip(Rectangle):
    """An opaque hinge or back strip lying on the lid."""

    reflectance: Fraction | None = None


class Lid(Part):
    """Panes lying on the rim. ``dirt`` and ``condensation`` are the shares of light that each lets through."""

    glass: PaneKind = PaneKind.CLEAR
    thickness: PositiveLengthM = 0.004
    dirt: Fraction = 0.92
    condensation: Fraction = 0.97
    above_rim: NonNegativeLengthM = 0.0
    panes: tuple[Rectangle, ...] = Field((), alias="pane")
    strips: tuple[Strip, ...] = Field((), alias="strip")


class Hood(Part):
    """A box over the whole tank, open to the water; its inside height is counted from the rim."""

    height: PositiveLengthM
    colour: Sheet | None = None
    reflectance: Fraction | None = None

    def inside_reflectance(self) -> FloatArray:
        """Reflectance of the inside over the 60 bins, (60,)."""
        return reflectance(self.colour or "white", self.reflectance)
