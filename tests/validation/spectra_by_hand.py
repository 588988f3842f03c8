"""Spectral sums on a 1 nm grid from the published tables, written apart from the program's own 5 nm bins."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from .framework import HERE, SIM

TABLES = SIM / "spectra" / "data"
JOULES_NM_PER_UMOL = 6.62607015e-34 * 299792458.0 * 6.02214076e23 * 1e3
"""Energy of a micromole of photons times the wavelength in nm [J nm/umol]."""
LUMENS_PER_WATT = 683.002
PAR = np.arange(400.0, 701.0)
VISIBLE = np.arange(380.0, 781.0)


@cache
def read(path: Path) -> dict[str, np.ndarray]:
    """Columns by name of a csv table with # lines on top."""
    lines = [x for x in path.read_text(encoding="utf-8").splitlines() if x and not x.startswith("#")]
    rows = np.array([[float(v) for v in x.split(",")] for x in lines[1:]])
    return dict(zip(lines[0].split(","), rows.T, strict=True))


def energy(lamp: str) -> tuple[np.ndarray, np.ndarray]:
    """(wavelength, relative energy) of a CIE illuminant, as tabulated."""
    leds = read(TABLES / "cie_led_illuminants.csv")
    table = leds if lamp in leds else read(HERE / "data" / "cie_lamps.csv")
    return table["wavelength_nm"], table[lamp]


def photons(lamp: str) -> np.ndarray:
    """Relative photons per nm at 400, 401 ... 700 nm, (301,); "even" is the same number in every nm."""
    if lamp == "even":
        return np.ones_like(PAR)
    wave, watts = energy(lamp)
    return np.interp(PAR, wave, watts) * PAR


def photon_mean(lamp: str, values: np.ndarray) -> float:
    """Mean over 400-700 nm weighted by a lamp's photons; values (301,)."""
    weight = photons(lamp)
    return float(np.trapezoid(weight * values, PAR) / np.trapezoid(weight, PAR))


def water_absorption(a440: float = 0.0, slope: float = 0.017) -> np.ndarray:
    """Absorption [1/m] at 400 ... 700 nm: Pope & Fry (1997) and dissolved colour after Bricaud, Morel & Prieur (1981)."""
    table = read(TABLES / "water_absorption_pope_fry_1997.csv")
    return np.interp(PAR, table["wavelength_nm"], table["a_per_m"]) + a440 * np.exp(-slope * (PAR - 440))


def glass(kind: str) -> tuple[np.ndarray, np.ndarray]:
    """(index, absorption [1/m]) of soda-lime glass at 400 ... 700 nm: Rubin (1985); kind clear or lowiron."""
    table = read(TABLES / "glass_soda_lime_rubin_1985.csv")
    um = PAR / 1000
    index = 1.5130 - 0.003169 * um**2 + 0.003962 / um**2
    k = np.interp(PAR, table["wavelength_nm"], table[f"k_{kind}"])
    return index, 4 * np.pi * k / (PAR * 1e-9)


def lux_per_umol(lamp: str) -> float:
    """Lux per umol/m2/s of PAR: V(lambda) of CIE 1924, cubic between its 5 nm points, 1 nm trapezoid over 380-780 nm."""
    from scipy.interpolate import CubicSpline

    table = read(TABLES / "photopic_v_lambda_cie_1924.csv")
    seen = CubicSpline(table["wavelength_nm"], table["v"])(VISIBLE)
    wave, watts = energy(lamp)
    power = np.interp(VISIBLE, wave, watts)
    lumens = LUMENS_PER_WATT * np.trapezoid(power * seen, VISIBLE)
    inside = (VISIBLE >= 400) & (VISIBLE <= 700)
    return float(lumens / np.trapezoid((power * VISIBLE)[inside] / JOULES_NM_PER_UMOL, VISIBLE[inside]))
