"""Spectra of LED channels, as a photon distribution over the 60 bins and lumens per umol.

A spectrum reaches beyond 400-700 nm; only its photons inside count as PPF, all its light counts as lumens.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import numpy as np

from underlit.spectra.grid import FloatArray, bin_integrals
from underlit.spectra.luminous import joules_per_umol, lumens_per_umol_of_table
from underlit.spectra.tables import read_table

ILLUMINANT_TABLE = "cie_led_illuminants"
FWHM_PER_SIGMA = 2 * np.sqrt(2 * np.log(2))


@dataclass(frozen=True, eq=False)
class ChannelSpectrum:
    """``photons``: share of PAR photons in each bin, (60,), adds to 1; ``lumens_per_umol``: lm per umol/s of PAR."""

    photons: FloatArray
    lumens_per_umol: float


def illuminant_names() -> tuple[str, ...]:
    """Names of the CIE LED illuminants carried (CIE 015:2018)."""
    return tuple(name for name in read_table(ILLUMINANT_TABLE) if name != "wavelength_nm")


@cache
def illuminant(name: str) -> ChannelSpectrum:
    """A CIE LED illuminant such as ``LED-B3`` (4102 K white). Raises ValueError for an unknown name."""
    if name not in illuminant_names():
        raise ValueError(f"unknown spectrum {name!r}; known: {', '.join(illuminant_names())}")
    table = read_table(ILLUMINANT_TABLE)
    return from_energy_table(table["wavelength_nm"], table[name])


def illuminant_photons(name: str) -> FloatArray:
    """Photon share in each bin of a CIE LED illuminant, (60,), adds to 1."""
    return illuminant(name).photons


def gaussian(*, peak_nm: float, fwhm_nm: float) -> ChannelSpectrum:
    """A single-colour LED: a Gaussian in energy with its peak and full width at half maximum [nm].

    Raises ValueError when nothing falls inside 400-700 nm.
    """
    wave = np.arange(300.0, 850.0, 0.25)
    energy = np.exp(-0.5 * ((wave - peak_nm) / (fwhm_nm / FWHM_PER_SIGMA)) ** 2)
    return from_energy_table(wave, energy)


def from_energy_table(wavelength_nm: FloatArray, relative_energy: FloatArray) -> ChannelSpectrum:
    """A spectrum given as relative energy (watts) per nm at rising wavelengths, (n,) and (n,)."""
    wave, energy = _checked(wavelength_nm, relative_energy)
    # Photons are energy times wavelength: fill in points so that the product stays piecewise linear enough.
    fine = np.union1d(wave, np.arange(np.ceil(wave[0]), np.floor(wave[-1]) + 1))
    photon_density = np.interp(fine, wave, energy) / joules_per_umol(fine)
    return ChannelSpectrum(_shares(bin_integrals(fine, photon_density)), lumens_per_umol_of_table(wave, energy))


def from_photon_table(wavelength_nm: FloatArray, relative_photons: FloatArray) -> ChannelSpectrum:
    """A spectrum given as relative photons per nm at rising wavelengths, (n,) and (n,)."""
    wave, density = _checked(wavelength_nm, relative_photons)
    fine = np.union1d(wave, np.arange(np.ceil(wave[0]), np.floor(wave[-1]) + 1))
    energy = np.interp(fine, wave, density) * joules_per_umol(fine)
    return ChannelSpectrum(_shares(bin_integrals(wave, density)), lumens_per_umol_of_table(fine, energy))


def mixture(parts: Iterable[tuple[ChannelSpectrum, float]]) -> ChannelSpectrum:
    """Spectra added by their shares of the PAR photons. Raises ValueError when the shares add up to 0."""
    listed = list(parts)
    total = sum(share for _, share in listed)
    if not total > 0:
        raise ValueError("the shares of a mixture must add up to more than 0")
    photons = np.sum([spectrum.photons * share for spectrum, share in listed], axis=0)
    lumens = sum(spectrum.lumens_per_umol * share for spectrum, share in listed) / total
    return ChannelSpectrum(_shares(photons), float(lumens))


def _checked(wavelength_nm: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    wave, heights = np.asarray(wavelength_nm, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if wave.ndim != 1 or wave.shape != heights.shape or len(wave) < 2:
        raise ValueError("a spectrum table needs two columns and at least two rows")
    if not (np.isfinite(wave).all() and np.isfinite(heights).all()):
        raise ValueError("all numbers of a spectrum table must be finite")
    if (np.diff(wave) <= 0).any():
        raise ValueError("the wavelengths of a spectrum table must rise")
    if (heights < 0).any():
        raise ValueError("the values of a spectrum table must not be negative")
    if wave[0] < 200 or wave[-1] > 2000:
        raise ValueError("the wavelengths of a spectrum table must be in nm, from 200 to 2000")
    if not bin_integrals(wave, heights).sum() > 0:
        raise ValueError("the spectrum has no light between 400 and 700 nm")
    return wave, heights


def _shares(photons: FloatArray) -> FloatArray:
    shares: FloatArray = photons / photons.sum()
    shares.setflags(write=False)
    return shares
