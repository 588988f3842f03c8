"""Light of a whole fixture from far away: what a polar diagram shows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from underlit.photometry.lens import Lens, intensity_per_flux
from underlit.spectra.grid import FloatArray


@dataclass(frozen=True, eq=False)
class Beams:
    """LEDs of one lens that share a flux evenly: the unit vectors along which they point, (n, 3): right, back, up."""

    lens: Lens
    axes: FloatArray
    flux: float


def far_intensity(beams: Sequence[Beams], directions: FloatArray) -> FloatArray:
    """Intensity of all together [flux/sr] in unit directions (k, 3), (k,); nothing shades anything."""
    total = np.zeros(len(directions))
    for beam in beams:
        axes, counts = np.unique(np.round(beam.axes, 12), axis=0, return_counts=True)
        for axis, count in zip(axes, counts, strict=True):
            angle = np.arccos(np.clip(directions @ axis, -1.0, 1.0))
            total += beam.flux * count / len(beam.axes) * intensity_per_flux(beam.lens, angle)
    return total


def plane_directions(azimuth_rad: float, angle_rad: FloatArray) -> FloatArray:
    """Unit directions (k, 3) in an upright plane: angles from straight down, positive towards the azimuth."""
    s, c = np.sin(angle_rad), np.cos(angle_rad)
    return np.stack([s * math.cos(azimuth_rad), s * math.sin(azimuth_rad), -c], axis=-1)


def full_width(angle_rad: FloatArray, intensity: FloatArray) -> float:
    """Angle between the outermost places where the intensity is half of its peak [rad], linear in between."""
    half = intensity.max() / 2
    above = np.nonzero(intensity >= half)[0]
    ends = []
    for i, step in ((above[0], -1), (above[-1], 1)):
        j = i + step
        if not 0 <= j < len(angle_rad):
            ends.append(angle_rad[i])
            continue
        share = (intensity[i] - half) / (intensity[i] - intensity[j])
        ends.append(angle_rad[i] + share * (angle_rad[j] - angle_rad[i]))
    return float(ends[1] - ends[0])
