"""Light in plain air under a board of small LEDs: turns "reads X at Y below it" into PPF."""

from __future__ import annotations

import numpy as np

from underlit.photometry.lens import Lens, intensity_per_flux
from underlit.spectra.grid import FloatArray


def led_grid(*, rows: int, columns: int, row_pitch_m: float, column_pitch_m: float) -> FloatArray:
    """Centres of a grid of LEDs about the board's centre, (rows * columns, 2) float64 [m], row by row.

    Columns run along the board's length (first coordinate), rows across it (second coordinate).
    """
    along = (np.arange(columns) - (columns - 1) / 2) * column_pitch_m
    across = (np.arange(rows) - (rows - 1) / 2) * row_pitch_m
    return np.stack([np.tile(along, rows), np.repeat(across, columns)], axis=1)


def irradiance_below(lens: Lens, offsets_m: FloatArray, distance_m: float) -> float:
    """Irradiance per unit of flux [1/m2] on a level head ``distance_m`` under the board's centre, in air.

    Each LED, at ``offsets_m`` (n, 2) [m] from the centre and facing straight down with a share 1/n of the flux, is a
    point: E = I cos(theta) / r^2. Exact for LED faces small against the distance; nothing around reflects.
    Raises ValueError when the distance is not positive.
    """
    if not distance_m > 0:
        raise ValueError("the distance below the fixture must be more than nothing")
    sideways2 = (np.asarray(offsets_m) ** 2).sum(axis=1)
    range2 = sideways2 + distance_m**2
    cosine = distance_m / np.sqrt(range2)
    return float((intensity_per_flux(lens, np.arccos(np.minimum(cosine, 1.0))) * cosine / range2).mean())
