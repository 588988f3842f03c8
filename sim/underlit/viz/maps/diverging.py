"""A diverging colour map of our own for differences: blue for dimmer, near white for none, orange for brighter.

Both arms run along one hue with lightness falling and chroma rising evenly, so that equal differences look equally far
apart (Euclidean in OKLab; B. Ottosson, "A perceptual color space for image processing", 2020) and read by lightness alone as
well. Blue and orange stay apart for red-green blind eyes.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from matplotlib.colors import Colormap

STEPS = 257
LIGHTNESS_MIDDLE, LIGHTNESS_END = 0.97, 0.52
CHROMA_END = 0.122
HUE_BELOW, HUE_ABOVE = np.radians(250.0), np.radians(55.0)

_LMS_FROM_LAB = np.array(
    [[1.0, 0.3963377774, 0.2158037573], [1.0, -0.1055613458, -0.0638541728], [1.0, -0.0894841775, -1.2914855480]]
)
_RGB_FROM_LMS = np.array(
    [
        [4.0767416621, -3.3077115913, 0.2309699292],
        [-1.2684380046, 2.6097574011, -0.3413193965],
        [-0.0041960863, -0.7034186147, 1.7076147010],
    ]
)


def oklab_to_linear_rgb(lab: np.ndarray) -> np.ndarray:
    """OKLab (..., 3) -> linear sRGB (..., 3), unclipped."""
    return np.asarray((lab @ _LMS_FROM_LAB.T) ** 3 @ _RGB_FROM_LMS.T)


def encoded(linear: np.ndarray) -> np.ndarray:
    """Linear sRGB -> sRGB (IEC 61966-2-1), for values from 0 to 1."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055)


def diverging_lab() -> np.ndarray:
    """The map's colours from -1 to 1 in OKLab, (STEPS, 3)."""
    t = np.linspace(-1.0, 1.0, STEPS)
    lightness = LIGHTNESS_MIDDLE + (LIGHTNESS_END - LIGHTNESS_MIDDLE) * np.abs(t)
    hue = np.where(t < 0, HUE_BELOW, HUE_ABOVE)
    chroma = CHROMA_END * np.abs(t)
    return np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=1)


@lru_cache
def diverging_map() -> Colormap:
    """The map for matplotlib; what has no value is drawn in `palette.COVERED`."""
    from matplotlib.colors import ListedColormap

    from underlit.viz.palette import COVERED

    return ListedColormap(encoded(oklab_to_linear_rgb(diverging_lab())), "difference").with_extremes(bad=COVERED)
