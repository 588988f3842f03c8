"""The water: how high it stands, what colours it and what clouds it."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from underlit.scene.common import NonNegativeLengthM, NonNegativeNumber, OneOf, Part, PositiveLengthM, ShortForm
from underlit.spectra.media import TANNIN_SLOPE_PER_NM, OpticalConstants, optical_constants


class Tannin(Part):
    """Dissolved colour, by name or by its absorption at 440 nm (napierian)."""

    one_of: ClassVar[tuple[OneOf, ...]] = (OneOf("the tannin", "name", "a440_per_m", required=True),)

    name: Literal["none", "light", "ordinary", "tea"] | None = None
    a440_per_m: NonNegativeNumber | None = None
    slope_per_nm: Annotated[float, Field(strict=True, ge=0.005, le=0.03)] = TANNIN_SLOPE_PER_NM

    @property
    def absorption_440_per_m(self) -> float:
        """Absorption at 440 nm [1/m]."""
        return TANNIN_A440_PER_M[self.name] if self.name else self.a440_per_m or 0.0


TANNIN_A440_PER_M = {"none": 0.0, "light": 0.075, "ordinary": 0.4, "tea": 3.0}
"""Carbon-filtered .05-.1, ordinary tank .3-.5, tea-stained 2-5; common practice, no source."""


class Cloudiness(Part):
    """What floats in the water, by name or by its scattering coefficient."""

    one_of: ClassVar[tuple[OneOf, ...]] = (OneOf("the cloudiness", "name", "scattering_per_m", required=True),)

    name: Literal["clear", "hazy", "cloudy"] | None = None
    scattering_per_m: NonNegativeNumber | None = None

    @property
    def coefficient_per_m(self) -> float:
        """Scattering by particles [1/m]."""
        return SCATTERING_PER_M[self.name] if self.name else self.scattering_per_m or 0.0


SCATTERING_PER_M = {"clear": 0.0, "hazy": 0.5, "cloudy": 3.0}
"""Engineering points; common practice, no source."""

WATER_BELOW_RIM_M = 1.25 * 0.0254


class Water(Part):
    """How high the water stands and what colours or clouds it."""

    one_of: ClassVar[tuple[OneOf, ...]] = (OneOf("the water level", "below_rim", "above_bottom"),)

    below_rim: NonNegativeLengthM | None = None
    above_bottom: PositiveLengthM | None = None
    tannin: Annotated[Tannin, ShortForm("name", lambda: tuple(TANNIN_A440_PER_M), "a440_per_m")] = Tannin(
        name="ordinary"
    )
    cloudiness: Annotated[Cloudiness, ShortForm("name", lambda: tuple(SCATTERING_PER_M), "scattering_per_m")] = (
        Cloudiness(name="clear")
    )

    def optical_constants(self) -> OpticalConstants:
        """Index, absorption and scattering of this water over the 60 bins."""
        return optical_constants(
            "water",
            tannin_a440_per_m=self.tannin.absorption_440_per_m,
            tannin_slope_per_nm=self.tannin.slope_per_nm,
            cloudiness_per_m=self.cloudiness.coefficient_per_m,
        )
