"""Between lumens, joules and photons: V(lambda), lux per umol/m2/s, umol/J."""

from __future__ import annotations

import numpy as np

from underlit.spectra.grid import PAR_WAVELENGTHS_NM, FloatArray
from underlit.spectra.tables import read_table

LUMENS_PER_WATT_555 = 683.002
"""Km, maximum luminous efficacy for photopic vision [lm/W] (CIE 018:2019; SI brochure, 9th edition, K_cd)."""
PLANCK_LIGHT_SPEED_AVOGADRO = 6.62607015e-34 * 299792458.0 * 6.02214076e23
"""Energy of a mole of photons times their wavelength [J m/mol], exact since 2019."""


def joules_per_umol(wavelength_nm: FloatArray | float) -> FloatArray | float:
    """Energy of a micromole of photons [J/umol]."""
    return PLANCK_LIGHT_SPEED_AVOGADRO * 1e3 / np.asarray(wavelength_nm, dtype=np.float64)


def photopic(wavelength_nm: FloatArray) -> FloatArray:
    """V(lambda) of CIE 1924, zero outside 380-780 nm; shape of the argument.

    Cubic Lagrange between the carried 5 nm points, as CIE 167:2005 allows; linear would lose .03 % of white light.
    """
    table = read_table("photopic_v_lambda_cie_1924")
    wave, known = np.asarray(wavelength_nm, dtype=np.float64), table["v"]
    place = (wave - table["wavelength_nm"][0]) / 5.0
    start = np.clip(np.floor(place).astype(int) - 1, 0, len(known) - 4)
    t = place - start
    weights = (
        -(t - 1) * (t - 2) * (t - 3) / 6,
        t * (t - 2) * (t - 3) / 2,
        -t * (t - 1) * (t - 3) / 2,
        t * (t - 1) * (t - 2) / 6,
    )
    value = sum(weight * known[start + step] for step, weight in enumerate(weights))
    return np.where((place >= 0) & (place <= len(known) - 1), np.maximum(value, 0.0), 0.0)


def lumens_per_umol_of_table(wavelength_nm: FloatArray, relative_energy: FloatArray) -> float:
    """Lumens per umol/s of PAR (lux per umol/m2/s) of a piecewise-linear energy spectrum, (n,) [nm] and (n,).

    Light outside 400-700 nm counts in the lumens and not in the PPF, as meters have it. 1 nm trapezoid.
    Raises ValueError when nothing falls inside 400-700 nm.
    """
    step = np.arange(380.0, 780.5, 1.0)
    energy = np.interp(step, wavelength_nm, relative_energy, left=0.0, right=0.0)
    lumens = LUMENS_PER_WATT_555 * np.trapezoid(energy * photopic(step), step)
    par = (step >= 400) & (step <= 700)
    umol = np.trapezoid((energy / joules_per_umol(step))[par], step[par])
    if not umol > 0:
        raise ValueError("the spectrum has no light between 400 and 700 nm")
    return float(lumens / umol)


def lumens_per_umol(photons: FloatArray) -> float:
    """Lumens per umol/s of PAR for a photon distribution over the 60 bins, (60,)."""
    per_bin = joules_per_umol(PAR_WAVELENGTHS_NM) * LUMENS_PER_WATT_555 * photopic(PAR_WAVELENGTHS_NM)
    return float(photons @ per_bin / photons.sum())


def umol_per_joule(photons: FloatArray) -> float:
    """Umol of PAR photons per joule radiated inside 400-700 nm for a distribution over the 60 bins, (60,)."""
    return float(photons.sum() / (photons @ joules_per_umol(PAR_WAVELENGTHS_NM)))
