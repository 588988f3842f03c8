"""Spectral data with their sources and the PAR grid that all worlds share."""

from underlit.spectra.channels import (
    ChannelSpectrum,
    from_energy_table,
    from_photon_table,
    gaussian,
    illuminant,
    illuminant_names,
    mixture,
)
from underlit.spectra.grid import PAR_BIN_COUNT, PAR_BIN_WIDTH_NM, PAR_EDGES_NM, PAR_WAVELENGTHS_NM
from underlit.spectra.luminous import lumens_per_umol, umol_per_joule
from underlit.spectra.materials import MATERIALS, LeafKind, LeafOptics, leaf_optics, reflectance
from underlit.spectra.media import OpticalConstants, PaneKind, optical_constants, slab_transmittance

__all__ = [
    "MATERIALS",
    "PAR_BIN_COUNT",
    "PAR_BIN_WIDTH_NM",
    "PAR_EDGES_NM",
    "PAR_WAVELENGTHS_NM",
    "ChannelSpectrum",
    "LeafKind",
    "LeafOptics",
    "OpticalConstants",
    "PaneKind",
    "from_energy_table",
    "from_photon_table",
    "gaussian",
    "illuminant",
    "illuminant_names",
    "leaf_optics",
    "lumens_per_umol",
    "mixture",
    "optical_constants",
    "reflectance",
    "slab_transmittance",
    "umol_per_joule",
]
