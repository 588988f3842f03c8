"""Photometric files: what a laboratory measured of a fixture, in LM-63 or EULUMDAT, as one kind of data."""

from underlit.photometry.files.distribution import (
    FileFormat,
    Opening,
    OpeningShape,
    Photometry,
    Web,
    downward_share,
    intensity_at,
    irradiance_at,
    lower_half,
    total_flux,
    upper_half,
)
from underlit.photometry.files.reader import parse_photometry, read_photometry
from underlit.photometry.files.text import PhotometryFileError

__all__ = [
    "FileFormat",
    "Opening",
    "OpeningShape",
    "Photometry",
    "PhotometryFileError",
    "Web",
    "downward_share",
    "intensity_at",
    "irradiance_at",
    "lower_half",
    "parse_photometry",
    "read_photometry",
    "total_flux",
    "upper_half",
]
