"""Angular intensity of LEDs and the light they give in plain air."""

from underlit.photometry.lens import (
    Lens,
    LensKind,
    beam_angle,
    flux_fraction_within,
    flux_within,
    from_beam_angle,
    from_table,
    intensity_per_flux,
    lambertian,
    relative_intensity,
    total_flux,
    uniform_cone,
)
from underlit.photometry.point import irradiance_below, led_grid

__all__ = [
    "Lens",
    "LensKind",
    "beam_angle",
    "flux_fraction_within",
    "flux_within",
    "from_beam_angle",
    "from_table",
    "intensity_per_flux",
    "irradiance_below",
    "lambertian",
    "led_grid",
    "relative_intensity",
    "total_flux",
    "uniform_cone",
]
