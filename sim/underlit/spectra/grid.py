"""The wavelength grid that every world shares: 60 bins of 5 nm over 400-700 nm (PAR; McCree 1972)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

PAR_BIN_COUNT = 60
PAR_BIN_WIDTH_NM = 5.0
PAR_EDGES_NM: FloatArray = np.linspace(400.0, 700.0, PAR_BIN_COUNT + 1)
"""Bin edges, shape (61,) float64 [nm]."""
PAR_WAVELENGTHS_NM: FloatArray = PAR_EDGES_NM[:-1] + PAR_BIN_WIDTH_NM / 2
"""Mid-bin wavelengths 402.5 .. 697.5, shape (60,) float64 [nm]."""
for _array in (PAR_EDGES_NM, PAR_WAVELENGTHS_NM):
    _array.setflags(write=False)


def at_bins(wavelength_nm: FloatArray, values: FloatArray) -> FloatArray:
    """A smooth tabulated property at the mid-bin wavelengths, linear between points, flat beyond, shape (60,)."""
    return np.interp(PAR_WAVELENGTHS_NM, wavelength_nm, values)


def bin_integrals(wavelength_nm: FloatArray, values: FloatArray) -> FloatArray:
    """The exact integral over each bin of a piecewise-linear table that is zero beyond its ends, shape (60,).

    ``wavelength_nm`` must rise strictly; ``values`` is per nm.
    """
    inside = PAR_EDGES_NM[(wavelength_nm[0] < PAR_EDGES_NM) & (wavelength_nm[-1] > PAR_EDGES_NM)]
    nodes = np.union1d(wavelength_nm, inside)
    heights = np.interp(nodes, wavelength_nm, values)
    steps = np.diff(nodes) * (heights[1:] + heights[:-1]) / 2
    cumulative = np.concatenate([[0.0], np.cumsum(steps)])
    return np.diff(np.interp(PAR_EDGES_NM, nodes, cumulative))
