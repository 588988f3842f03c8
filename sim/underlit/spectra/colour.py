"""Roughly the colour that a light appears to have; for pictures only, no figure depends on it."""

from __future__ import annotations

import numpy as np

from underlit.spectra.channels import illuminant_photons
from underlit.spectra.grid import PAR_WAVELENGTHS_NM, FloatArray
from underlit.spectra.luminous import joules_per_umol

_TO_SRGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
"""XYZ to linear sRGB (IEC 61966-2-1:1999)."""


def colour_matching(wavelength_nm: FloatArray) -> FloatArray:
    """CIE 1931 x, y, z bar within some percent, (3, n): Wyman, Sloan & Shirley, JCGT 2(2):1-11 (2013), one lobe each.

    Coefficients from memory.
    """
    wave = np.asarray(wavelength_nm, dtype=np.float64)
    x = 1.065 * np.exp(-0.5 * ((wave - 595.8) / 33.33) ** 2) + 0.366 * np.exp(-0.5 * ((wave - 446.8) / 19.44) ** 2)
    y = 1.014 * np.exp(-0.5 * ((np.log(wave) - np.log(556.3)) / 0.075) ** 2)
    z = 1.839 * np.exp(-0.5 * ((np.log(wave) - np.log(449.8)) / 0.051) ** 2)
    return np.stack([x, y, z])


def seen_colour(photons: FloatArray) -> tuple[float, float, float]:
    """Red, green and blue, 0 to 1, of a light of these photon shares (60,), as bright as a screen can show it.

    Eyes used to daylight-white lamps: CIE LED-B4 is white.
    """
    linear = np.maximum(_linear_rgb(photons) / _linear_rgb(illuminant_photons("LED-B4")), 0.0)
    linear = linear / linear.max()
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    red, green, blue = (float(value) for value in np.clip(encoded, 0.0, 1.0))
    return red, green, blue


def _linear_rgb(photons: FloatArray) -> FloatArray:
    energy = photons * joules_per_umol(PAR_WAVELENGTHS_NM)
    return _TO_SRGB @ (colour_matching(PAR_WAVELENGTHS_NM) @ energy)
