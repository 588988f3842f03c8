"""Lengths, angles, volumes and fluxes as people write them, and in SI inside the program."""

from underlit.units.quantity import (
    Length,
    QuantityError,
    format_angle,
    format_length,
    format_volume,
    parse_age_weeks,
    parse_angle,
    parse_duration_hours,
    parse_flux,
    parse_length,
    parse_quantity,
    parse_volume,
)

__all__ = [
    "Length",
    "QuantityError",
    "format_angle",
    "format_length",
    "format_volume",
    "parse_age_weeks",
    "parse_angle",
    "parse_duration_hours",
    "parse_flux",
    "parse_length",
    "parse_quantity",
    "parse_volume",
]
