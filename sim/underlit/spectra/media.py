"""What light meets on its way: index, absorption and scattering of air, water and panes over the 60 bins."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from typing import NamedTuple

import numpy as np

from underlit.spectra.grid import PAR_BIN_COUNT, PAR_WAVELENGTHS_NM, FloatArray, at_bins
from underlit.spectra.tables import read_table

TANNIN_SLOPE_PER_NM = 0.017
"""Steepness of dissolved colour, .014-.017 per nm: Bricaud, Morel & Prieur, Limnol. Oceanogr. 26:43-53 (1981)."""
WATER_ANISOTROPY = 0.9
"""Mean cosine of scattering by suspended particles; about .9 in natural waters (Mobley 1994). From memory."""


class PaneKind(StrEnum):
    """What the panes of a tank or a lid are made of."""

    CLEAR = "clear"
    LOW_IRON = "low-iron"
    ACRYLIC = "acrylic"
    POLYCARBONATE = "polycarbonate"


class OpticalConstants(NamedTuple):
    """Index (60,), absorption (60,) [1/m, napierian] and scattering (60,) [1/m] at the mid-bin wavelengths."""

    refractive_index: FloatArray
    absorption_per_m: FloatArray
    scattering_per_m: FloatArray


@dataclass(frozen=True, kw_only=True)
class MeasuredSheet:
    """Band means of a measured plastic sheet in air, from the LBNL public glazing spectra (pyWinCalc examples)."""

    thickness_m: float
    transmittance: float
    """Mean over 400-700 nm, equal photons per nm."""
    transmittance_led_b3: float
    """The same, weighted by the photons of CIE LED-B3."""
    reflectance: float


ACRYLIC_SHEET = MeasuredSheet(
    thickness_m=2.4892e-3, transmittance=0.922542, transmittance_led_b3=0.923082, reflectance=0.0744167
)
POLYCARBONATE_SHEET = MeasuredSheet(
    thickness_m=2.979e-3, transmittance=0.876491, transmittance_led_b3=0.895017, reflectance=0.0653458
)


def optical_constants(
    name: str,
    *,
    tannin_a440_per_m: float = 0.0,
    tannin_slope_per_nm: float = TANNIN_SLOPE_PER_NM,
    cloudiness_per_m: float = 0.0,
    temperature_c: float = 25.0,
) -> OpticalConstants:
    """Index, absorption and scattering of ``air``, ``water`` or a pane kind (``clear``, ``low-iron`` ...).

    The keywords concern water only: absorption by dissolved colour at 440 nm and its slope, and scattering by what
    floats in it. Raises ValueError for an unknown name.
    """
    if name == "air":
        return OpticalConstants(np.ones(PAR_BIN_COUNT), np.zeros(PAR_BIN_COUNT), np.zeros(PAR_BIN_COUNT))
    if name == "water":
        tannin = tannin_a440_per_m * np.exp(-tannin_slope_per_nm * (PAR_WAVELENGTHS_NM - 440.0))
        return OpticalConstants(
            water_index(PAR_WAVELENGTHS_NM, temperature_c=temperature_c),
            pure_water_absorption() + tannin,
            pure_water_scattering() + cloudiness_per_m,
        )
    if name in list(PaneKind):
        index, absorption = pane_constants(PaneKind(name))
        return OpticalConstants(index, absorption, np.zeros(PAR_BIN_COUNT))
    raise ValueError(f"unknown medium {name!r}; known: air, water, {', '.join(PaneKind)}")


def pure_water_absorption() -> FloatArray:
    """Absorption of pure water, 22 degC, (60,) [1/m]. Pope & Fry, Appl. Opt. 36:8710-8723 (1997), Table 3."""
    table = read_table("water_absorption_pope_fry_1997")
    return at_bins(table["wavelength_nm"], table["a_per_m"])


def pure_water_scattering() -> FloatArray:
    """Scattering of pure water, 20 degC, (60,) [1/m]. Zhang & Hu, Opt. Express 17:1671-1678 (2009).

    It changes PPFD by less than .1 % over half a metre.
    """
    table = read_table("water_scattering_zhang_hu_2009")
    return at_bins(table["wavelength_nm"], table["b_per_m"])


def water_index(wavelength_nm: FloatArray, *, temperature_c: float) -> FloatArray:
    """Refractive index of liquid water at .101325 MPa against vacuum, shape of ``wavelength_nm``.

    IAPWS R9-97 (Lorentz-Lorenz form); density by Kell, J. Chem. Eng. Data 20:97-105 (1975), 0 to 150 degC.
    """
    t = temperature_c
    kilograms = (
        999.83952
        + 16.945176 * t
        - 7.9870401e-3 * t**2
        - 46.170461e-6 * t**3
        + 105.56302e-9 * t**4
        - 280.54253e-12 * t**5
    ) / (1 + 16.879850e-3 * t)
    density = kilograms / 1000.0
    warmth = (t + 273.15) / 273.15
    wave2 = (np.asarray(wavelength_nm, dtype=np.float64) / 589.0) ** 2
    ultraviolet2, infrared2 = 0.229202**2, 5.432937**2
    refraction = density * (
        0.244257733
        + 9.74634476e-3 * density
        - 3.73234996e-3 * warmth
        + 2.68678472e-4 * wave2 * warmth
        + 1.58920570e-3 / wave2
        + 2.45934259e-3 / (wave2 - ultraviolet2)
        + 0.900704920 / (wave2 - infrared2)
        - 1.66626219e-2 * density**2
    )
    return np.sqrt((2 * refraction + 1) / (1 - refraction))


def pane_constants(kind: PaneKind) -> tuple[FloatArray, FloatArray]:
    """Index (60,) and absorption (60,) [1/m] of a pane.

    Glass: soda-lime, M. Rubin, Solar Energy Materials 12:275-288 (1985). Plastics: see ``_acrylic`` and
    ``_polycarbonate``.
    """
    if kind is PaneKind.ACRYLIC:
        return _acrylic()
    if kind is PaneKind.POLYCARBONATE:
        return _polycarbonate()
    table = read_table("glass_soda_lime_rubin_1985")
    column = "alpha_clear_per_m" if kind is PaneKind.CLEAR else "alpha_lowiron_per_m"
    wave_um = PAR_WAVELENGTHS_NM / 1000.0
    index = 1.5130 - 0.003169 * wave_um**2 + 0.003962 / wave_um**2
    return index, at_bins(table["wavelength_nm"], table[column])


def slab_transmittance(index: FloatArray, absorption_per_m: FloatArray, thickness_m: float) -> FloatArray:
    """Normal-incidence transmittance of a pane in air with all inner reflections, shape of ``index``."""
    reflected = ((index - 1) / (index + 1)) ** 2
    passed = np.exp(-absorption_per_m * thickness_m)
    return (1 - reflected) ** 2 * passed / (1 - (reflected * passed) ** 2)


@cache
def _acrylic() -> tuple[FloatArray, FloatArray]:
    """PMMA: index by Sultanova, Kasarova & Nikolov, Acta Phys. Pol. A 116:585-587 (2009), coefficients from memory;
    a grey absorption that gives the measured sheet its mean transmittance.
    """
    wave2 = (PAR_WAVELENGTHS_NM / 1000.0) ** 2
    index = np.sqrt(1 + 1.1819 * wave2 / (wave2 - 0.011313))
    grey = _bisect(
        lambda a: (
            slab_transmittance(index, np.full(PAR_BIN_COUNT, a), ACRYLIC_SHEET.thickness_m).mean()
            - ACRYLIC_SHEET.transmittance
        ),
        0.0,
        50.0,
    )
    return _frozen(index), _frozen(np.full(PAR_BIN_COUNT, grey))


@cache
def _polycarbonate() -> tuple[FloatArray, FloatArray]:
    """Hard-coated polycarbonate as glazing is sold.

    The coating lowers the surface reflection below that of the bare plastic, so the index is the effective one that
    gives the measured reflectance. Absorption is a grey part plus a part that falls exponentially from 400 nm (the
    ultraviolet stabiliser; 15 nm, an assumption): two numbers, fitted to the two measured band means.
    """
    sheet = POLYCARBONATE_SHEET
    weights = led_b3_photons()
    edge = np.exp(-(PAR_WAVELENGTHS_NM - 400.0) / 15.0)

    def slab(index: float, grey: float, blue: float) -> FloatArray:
        return slab_transmittance(np.full(PAR_BIN_COUNT, index), grey + blue * edge, sheet.thickness_m)

    def blue_for(index: float, grey: float) -> float:
        return _bisect(lambda b: slab(index, grey, b).mean() - sheet.transmittance, 0.0, 5000.0)

    surface = _bisect(lambda r: sheet.reflectance - _slab_reflectance(r, sheet.transmittance), 0.0, 0.2)
    index = float((1 + np.sqrt(surface)) / (1 - np.sqrt(surface)))
    grey = _bisect(
        lambda g: float(weights @ slab(index, g, blue_for(index, g))) - sheet.transmittance_led_b3, 0.0, 15.0
    )
    absorption = grey + blue_for(index, grey) * edge
    return _frozen(np.full(PAR_BIN_COUNT, index)), _frozen(absorption)


def led_b3_photons() -> FloatArray:
    """Photon share of CIE LED-B3 in each bin, (60,), adds to 1: the weight of the measured band means above."""
    from underlit.spectra.channels import illuminant_photons

    return illuminant_photons("LED-B3")


def _slab_reflectance(surface: float, transmittance: float) -> float:
    """Reflectance of a pane of surface reflectance r and transmittance T: r (1 + tau T), with tau the inner passage
    from T = (1-r)^2 tau / (1 - r^2 tau^2).
    """
    passed_once = (1 - surface) ** 2
    root = math.sqrt(passed_once**2 + (2 * surface * transmittance) ** 2)
    passage = 2 * transmittance / (passed_once + root)
    return surface * (1 + passage * transmittance)


def _bisect(function: Callable[[float], float], low: float, high: float) -> float:
    """A root of a falling function between ``low`` and ``high``; scipy is not worth its import time here."""
    for _ in range(100):
        middle = (low + high) / 2
        if function(middle) > 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _frozen(array: FloatArray) -> FloatArray:
    array.setflags(write=False)
    return array
