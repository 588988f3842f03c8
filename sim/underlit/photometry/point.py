"""Light of small LEDs on a level meter head, in air or through a flat water surface, with nothing around."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.photometry.lens import Lens, intensity_per_flux
from underlit.spectra.grid import FloatArray

STRAIGHT_DOWN = np.array([0.0, 0.0, -1.0])
_BISECTIONS = 60


@dataclass(frozen=True)
class Head:
    """A level meter head: ``below_m`` under the plane of the LEDs, of which ``under_water_m`` is water; aside of the
    middle by ``along_m`` (right) and ``across_m`` (back).
    """

    below_m: float
    along_m: float = 0.0
    across_m: float = 0.0
    under_water_m: float = 0.0


@dataclass(frozen=True, eq=False)
class WaterOver:
    """Water over a head for one kind of light: its index, the light's share of photons by bin (60,), which adds to 1, and
    the absorption by bin (60,) [1/m].
    """

    index: float
    photons: FloatArray
    absorption_per_m: FloatArray

    def keeps(self, length_m: FloatArray) -> FloatArray:
        """Share of photons left after ways of so much water, (n,)."""
        return np.exp(-length_m[:, None] * self.absorption_per_m) @ self.photons


@dataclass(frozen=True)
class Arrival:
    """Light of n points on a head.

    directions: unit vectors in which it leaves, (n, 3): right, back, up. per_intensity: irradiance on the head over the
    intensity in that direction [1/m2], (n,), what the water surface lets through counted, absorption not. in_water_m:
    length of the way through water, (n,).
    """

    directions: FloatArray
    per_intensity: FloatArray
    in_water_m: FloatArray


def led_grid(*, rows: int, columns: int, row_pitch_m: float, column_pitch_m: float) -> FloatArray:
    """Centres of a grid of LEDs about the board's centre, (rows * columns, 2) float64 [m], row by row.

    Columns run along the board's length (first coordinate), rows across it (second coordinate).
    """
    along = (np.arange(columns) - (columns - 1) / 2) * column_pitch_m
    across = (np.arange(rows) - (rows - 1) / 2) * row_pitch_m
    return np.stack([np.tile(along, rows), np.repeat(across, columns)], axis=1)


def arrival(points_m: FloatArray, head: Head, *, water_index: float = 1.0) -> Arrival:
    """How light of points at ``points_m`` (n, 2) [m] from the middle reaches a head.

    In air E = I cos(theta) / r^2. Through a flat surface h under the points and d over the head a ray at theta in air
    and t in water (Snell) comes down at R = h tan(theta) + d tan(t), so that
    E = I T(theta) sin(theta) / (R dR/dtheta), on the axis I T(0) / (h + d/n)^2; T is Fresnel's, unpolarised.
    Raises ValueError unless some of the way is air.
    """
    air = head.below_m - head.under_water_m
    if not (air > 0 and head.under_water_m >= 0):
        raise ValueError("the distance below the fixture must be more than 0")
    offset = np.array([head.along_m, head.across_m]) - np.asarray(points_m, dtype=np.float64).reshape(-1, 2)
    aside = np.hypot(offset[:, 0], offset[:, 1])
    theta = _leaving_angle(aside, air, head.under_water_m, water_index)
    c, s = np.cos(theta), np.sin(theta)
    sine = s / water_index
    cosine = np.sqrt(1 - sine**2)
    spread = air / c**2 + head.under_water_m / cosine**2 * c / (water_index * cosine)
    # sin(theta) / R has a limit on the axis
    off_axis = aside > 1e-9
    per_radius = np.where(off_axis, s / np.where(off_axis, aside, 1.0), 1.0 / (air + head.under_water_m / water_index))
    through = _surface_transmittance(c, cosine, water_index) if head.under_water_m > 0 else np.ones_like(c)
    outward = np.where(off_axis[:, None], offset / np.where(off_axis, aside, 1.0)[:, None], 0.0)
    directions = np.concatenate([s[:, None] * outward, -c[:, None]], axis=1)
    return Arrival(directions, through * per_radius / spread, head.under_water_m / cosine)


def _leaving_angle(aside: FloatArray, air: float, water: float, index: float) -> FloatArray:
    """Angle from straight down at which a ray comes down ``aside`` of its start, (n,), by halving."""
    if water == 0:
        return np.arctan2(aside, air)
    low, high = np.zeros_like(aside), np.arctan2(aside, air)
    for _ in range(_BISECTIONS):
        theta = (low + high) / 2
        sine = np.sin(theta) / index
        short = air * np.tan(theta) + water * sine / np.sqrt(1 - sine**2) < aside
        low, high = np.where(short, theta, low), np.where(short, high, theta)
    return (low + high) / 2


def _surface_transmittance(cos_air: FloatArray, cos_water: FloatArray, index: float) -> FloatArray:
    """Share of unpolarised light that a flat surface lets from air into water (Fresnel), shape of the cosines."""
    s = (cos_air - index * cos_water) / (cos_air + index * cos_water)
    p = (index * cos_air - cos_water) / (index * cos_air + cos_water)
    return 1 - (s**2 + p**2) / 2


def irradiance_at(
    lens: Lens, points_m: FloatArray, head: Head, *, axes: FloatArray = STRAIGHT_DOWN, water: WaterOver | None = None
) -> float:
    """Irradiance per unit of flux [1/m2] on a head, of LEDs that share the flux evenly.

    points_m: (n, 2) [m]; axes: unit vectors along which they point, (3,) or (n, 3). Exact for LED faces small against the
    distance. Raises ValueError unless some of the way is air.
    """
    reach = arrival(points_m, head, water_index=1.0 if water is None else water.index)
    angle = np.arccos(np.clip((reach.directions * axes).sum(axis=1), -1.0, 1.0))
    light = intensity_per_flux(lens, angle) * reach.per_intensity
    if water is not None:
        light = light * water.keeps(reach.in_water_m)
    return float(light.mean())
