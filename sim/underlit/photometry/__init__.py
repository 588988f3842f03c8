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
from underlit.photometry.point import Head, WaterOver, arrival, irradiance_at, irradiance_below, led_grid
from underlit.photometry.readings import BeamFit, FluxFit, fit_beam, fit_flux

__all__ = [
    "BeamFit",
    "FluxFit",
    "Head",
    "Lens",
    "LensKind",
    "WaterOver",
    "arrival",
    "beam_angle",
    "fit_beam",
    "fit_flux",
    "flux_fraction_within",
    "flux_within",
    "from_beam_angle",
    "from_table",
    "intensity_per_flux",
    "irradiance_at",
    "irradiance_below",
    "lambertian",
    "led_grid",
    "relative_intensity",
    "total_flux",
    "uniform_cone",
]
