"""Colours, units and numbers that every picture shares."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from underlit.lowering.records import Role

if TYPE_CHECKING:
    from matplotlib.colors import Colormap

BAR_TITLE = "PAR (PPFD), µmol/m²/s"

COLOUR_MAP = "viridis"
"""Rises evenly in lightness, so that it reads without colour too, and keeps its order for colour-blind eyes. Dim is
dark violet, bright is yellow."""

INK, SOFT_INK, PAPER = "#22282c", "#5d666b", "#ffffff"
COVERED = "#d9d6d0"
"""Where no light can reach and no value is: under wood and stone."""

HARDSCAPE_LINE = "#6e4a2a"

ROLE_COLOURS = {
    Role.SHELL: "#9fbcb6",
    Role.LID: "#b3c9cf",
    Role.WATER: "#8fb7cc",
    Role.BED: "#b9a88d",
    Role.WOOD: "#7d5a3c",
    Role.STONE: "#8b8f92",
    Role.PLANTS: "#5f8f52",
    Role.FIXTURE: "#3b4146",
    Role.HOOD: "#4c5358",
    Role.FRAME: "#2e3336",
    Role.BACKING: "#555b60",
    Role.OTHER: "#a0a0a0",
}
"""Colours of things that carry no value."""

VALUED = frozenset({Role.BED, Role.WOOD, Role.STONE, Role.PLANTS})
"""Roles that are coloured by PPFD."""

SCREEN_DPI = 160


def colour_map() -> Colormap:
    """The colour map; what has no value is drawn in `COVERED`."""
    from matplotlib import colormaps

    return colormaps[COLOUR_MAP].with_extremes(bad=COVERED)


def nice_ceiling(value: float) -> float:
    """The next round number at or above value, in steps that leave little of the colour map unused."""
    if not (math.isfinite(value) and value > 0):
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    for step in (1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0):
        if step * power >= value * (1 - 1e-9):
            return step * power
    return 10.0 * power


def colour_range(values: np.ndarray) -> tuple[float, float]:
    """From zero to a round number that all but the brightest hundredth of the finite values stay under."""
    finite = np.asarray(values, dtype=np.float64)
    finite = finite[np.isfinite(finite)]
    return 0.0, nice_ceiling(float(np.percentile(finite, 99.0))) if finite.size else 1.0


def number(value: float) -> str:
    """A PPFD for reading: three figures at the most."""
    if not math.isfinite(value):
        return "-"
    if abs(value) >= 100:
        return f"{value:.0f}"
    return f"{value:.1f}" if abs(value) >= 1 else f"{value:.2f}"


def both_units(metres: float) -> str:
    """A length in cm and in inches, for people."""
    return (
        f"{100 * metres:.1f}".rstrip("0").rstrip(".")
        + " cm ("
        + f"{metres / 0.0254:.1f}".rstrip("0").rstrip(".")
        + " in)"
    )
