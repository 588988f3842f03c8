"""Reflectance of beds, wood, stone and frames, and reflectance and transmittance of leaves, over the 60 bins."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

import numpy as np

from underlit.spectra.grid import PAR_BIN_COUNT, PAR_WAVELENGTHS_NM, FloatArray
from underlit.spectra.tables import read_table


class LeafKind(StrEnum):
    """Leaf optics carried with the package, after PROSPECT-D."""

    SUBMERGED = "submerged"
    PALE = "pale"
    TYPICAL = "typical"
    DARK = "dark"


class LeafOptics(NamedTuple):
    """Reflectance (60,) and transmittance (60,) of both sides of a leaf."""

    reflectance: FloatArray
    transmittance: FloatArray


class MaterialShape(NamedTuple):
    """``mean``: reflectance over 400-700 nm, equal weights; ``low``, ``high``: its usual range;
    ``knots``: wavelength [nm] and relative reflectance, linear between and flat beyond; ``source`` of all that.
    """

    mean: float
    low: float
    high: float
    knots: tuple[tuple[float, float], ...]
    source: str


_GREY = ((400.0, 1.0),)
_BROWN = ((443.0, 0.125), (490.0, 0.138), (560.0, 0.171), (665.0, 0.207), (681.0, 0.214))
_DARK_BROWN = ((443.0, 0.075), (490.0, 0.086), (560.0, 0.126), (665.0, 0.160), (681.0, 0.168))
# Coral sand: .281 at 400, .394 at 500, mean .452 over PAR; the end value follows from the mean.
_SAND = ((400.0, 0.281), (500.0, 0.394), (700.0, 0.625))

_PRACTICE = "common practice, no source"
_CORAL = "mean and .281@400, .394@500: Maritorena, Morel & Gentili, Limnol. Oceanogr. 39:1689 (1994); rest linear"

MATERIALS: dict[str, MaterialShape] = {
    "dark soil": MaterialShape(0.07, 0.05, 0.10, _GREY, _PRACTICE),
    "gravel": MaterialShape(0.22, 0.15, 0.30, _BROWN, f"{_PRACTICE}; shape as bark, an assumption"),
    "white sand": MaterialShape(0.47, 0.35, 0.60, _SAND, f"level: {_PRACTICE}; shape: {_CORAL}"),
    "coral sand": MaterialShape(0.452, 0.281, 0.65, _SAND, _CORAL),
    "dark wood": MaterialShape(0.1175, 0.075, 0.168, _DARK_BROWN, "spruce bark, RAMI-5 ACT_HET15 (JRC)"),
    "light wood": MaterialShape(0.1655, 0.125, 0.214, _BROWN, "maple, alder, ash bark, RAMI-5 ACT_HET15 (JRC)"),
    "dark stone": MaterialShape(0.10, 0.06, 0.15, _GREY, _PRACTICE),
    "grey stone": MaterialShape(0.25, 0.15, 0.35, _GREY, _PRACTICE),
    "pale stone": MaterialShape(0.45, 0.35, 0.60, _SAND, f"level: {_PRACTICE}; shape: {_CORAL}"),
    "black": MaterialShape(0.05, 0.03, 0.08, _GREY, _PRACTICE),
    "white": MaterialShape(0.80, 0.70, 0.85, _GREY, _PRACTICE),
    "mirror": MaterialShape(0.88, 0.80, 0.95, _GREY, f"{_PRACTICE}; assumed diffuse"),
    "aluminium": MaterialShape(0.75, 0.60, 0.85, _GREY, _PRACTICE),
    "foam": MaterialShape(0.30, 0.10, 0.60, _GREY, _PRACTICE),
}


def reflectance(material: str, mean: float | None = None) -> FloatArray:
    """Reflectance of ``material`` at the mid-bin wavelengths, (60,), each at most 1.

    ``mean`` replaces its level over 400-700 nm and keeps the spectral shape; a shape that would pass 1 is drawn
    towards grey just enough. Raises ValueError for an unknown material or a mean outside 0 to 1.
    """
    if material not in MATERIALS:
        raise ValueError(f"unknown material {material!r}; known: {', '.join(MATERIALS)}")
    known = MATERIALS[material]
    level = known.mean if mean is None else mean
    if not 0 <= level <= 1:
        raise ValueError(f"a reflectance must lie between 0 and 1 (got {level!r})")
    wave, height = np.array(known.knots).T
    shape = np.interp(PAR_WAVELENGTHS_NM, wave, height)
    shape = shape / shape.mean()
    room = (1 / level - 1) / (shape.max() - 1) if level > 0 and shape.max() > 1 else 1.0
    return np.asarray(level * (1 + (shape - 1) * min(1.0, room)))


def grey(mean: float) -> FloatArray:
    """The same reflectance in every bin, (60,)."""
    return np.full(PAR_BIN_COUNT, float(mean))


def leaf_optics(
    kind: LeafKind, *, reflectance_mean: float | None = None, transmittance_mean: float | None = None
) -> LeafOptics:
    """Leaf reflectance and transmittance, (60,) each, their sum at most 1.

    Spectra: PROSPECT-D (Feret et al. 2017). ``submerged`` is a thin leaf in water: most of the surface reflection is
    gone and more gets through; the others are leaves in air. Means over 400-700 nm replace the levels and keep the
    spectral shape. Raises ValueError when the means add to more than 1.
    """
    table = read_table("leaf_prospect_d")
    reflected = _scaled_to(table[f"{kind}_r"], reflectance_mean)
    passed = _scaled_to(table[f"{kind}_t"], transmittance_mean)
    if reflected.mean() + passed.mean() > 1:
        raise ValueError("the reflectance and transmittance of a leaf must not add up to more than 1")
    # Strongly raised means would pass 1 at the green peak: cut there, light is never made.
    excess = np.maximum(1.0, reflected + passed)
    return LeafOptics(reflected / excess, passed / excess)


def _scaled_to(spectrum: FloatArray, mean: float | None) -> FloatArray:
    return spectrum * 1.0 if mean is None else spectrum * (mean / spectrum.mean())
