"""What a photometric file says: intensity over a full turn of azimuth planes and angles from the axis.

Azimuth 0 is along the fixture's length, to the right in a scene; azimuth grows counter-clockwise seen from above, so that
90 deg is the back and 270 deg the front. Angles count from straight down. In between, the intensity is linear in the
azimuth and in the angle; there is none beyond the first and last angle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from underlit.photometry.files.text import PhotometryFileError
from underlit.photometry.point import Head, WaterOver, arrival
from underlit.spectra.grid import FloatArray

DISAGREEMENT = 0.02
"""The intensities and the lumens of a file may differ by this much before a note says so."""
LARGEST_OPENING_M = 100.0
_SAME_DEG = 0.01


class FileFormat(StrEnum):
    """The two open formats."""

    LM63 = "LM-63"
    EULUMDAT = "EULUMDAT"


class OpeningShape(StrEnum):
    """Outline of the luminous opening seen from below."""

    POINT = "point"
    RECTANGULAR = "rectangular"
    ROUND = "round"


@dataclass(frozen=True)
class Opening:
    """The luminous opening [m]: length along the fixture (azimuth 0), width across it, height of its luminous sides.

    Of a round one length and width are its two diameters.
    """

    shape: OpeningShape
    length_m: float
    width_m: float
    height_m: float


@dataclass(frozen=True, eq=False)
class Photometry:
    """A measured fixture.

    azimuth_rad: (nc,) rising over a full turn, first plane repeated as the last. angle_rad: (ng,) rising within 0 to pi.
    intensity_cd: (nc, ng), every factor of the file applied. stated_lumens: what the file says leaves the fixture;
    lamp_lumens: what it says its lamps give; watts: None where it does not say. notes: one line each, for the user.
    """

    format: FileFormat
    version: str
    azimuth_rad: FloatArray
    angle_rad: FloatArray
    intensity_cd: FloatArray
    stated_lumens: float | None
    lamp_lumens: float | None
    watts: float | None
    opening: Opening
    keywords: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()


def full_turn(degrees: FloatArray, values: FloatArray, line: int) -> tuple[FloatArray, FloatArray, tuple[str, ...]]:
    """Planes (n,) [deg] with values (n, ng) over a full turn: (azimuth (nc,) [deg], values (nc, ng), notes).

    One plane is an axial distribution. Planes over a quarter are mirrored at both of its ends, over half a turn in the
    plane of its ends, wherever they start; over a full turn they stand as they are, the last one added where it is
    missing. Raises PhotometryFileError at any other span.
    """
    if len(degrees) == 1:
        return np.array([0.0, 360.0]), np.repeat(values, 2, axis=0), ()
    span = degrees[-1] - degrees[0]
    if abs(span - 90) < _SAME_DEG:
        degrees, values = _mirrored(degrees, values)
        span = degrees[-1] - degrees[0]
    if abs(span - 180) < 2 * _SAME_DEG:
        degrees, values = _mirrored(degrees, values)
        span = degrees[-1] - degrees[0]
    notes: tuple[str, ...] = ()
    gap = 360 - span
    if 4 * _SAME_DEG <= gap <= 1.01 * np.diff(degrees).max() and span > 180:
        notes = (f"the planes end at {degrees[-1]:g} deg: the first one is repeated to close the turn",)
        degrees, values = np.append(degrees, degrees[0] + 360), np.concatenate([values, values[:1]])
    elif abs(gap) >= 4 * _SAME_DEG:
        said = f"{degrees[0]:g} to {degrees[-1]:g} deg"
        raise PhotometryFileError(f"the planes must cover 0 (one plane), 90, 180 or 360 deg (got {said})", line)
    degrees = degrees.copy()
    degrees[-1] = degrees[0] + 360
    return degrees, values, notes


def _mirrored(degrees: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    return np.concatenate([degrees, 2 * degrees[-1] - degrees[-2::-1]]), np.concatenate([values, values[-2::-1]])


def checked_intensity(values: FloatArray, line: int) -> tuple[FloatArray, tuple[str, ...]]:
    """Intensities (n, ng) [cd] without the small negative readings of a dark room. Raises PhotometryFileError."""
    brightest = float(values.max())
    if not brightest > 0:
        raise PhotometryFileError("all intensities are zero: the file gives no light", line)
    if not np.isfinite(values).all() or brightest > 1e9:
        raise PhotometryFileError(f"an intensity of {brightest:.3g} cd cannot be right: check the multiplier", line)
    if values.min() >= 0:
        return values, ()
    if values.min() < -DISAGREEMENT * brightest:
        raise PhotometryFileError(f"intensities must not be negative (got {values.min():g} cd)", line)
    return np.maximum(values, 0.0), (f"negative intensities down to {values.min():.3g} cd count as 0",)


def checked_opening(shape: OpeningShape, length: float, width: float, height: float, line: int) -> Opening:
    """An opening of believable size [m]. Raises PhotometryFileError."""
    if max(length, width, height) > LARGEST_OPENING_M:
        size = f"{length:g} x {width:g} x {height:g} m"
        raise PhotometryFileError(f"a luminous opening of {size} cannot be right: check its units", line)
    if length == 0 and width == 0:
        shape = OpeningShape.POINT
    return Opening(shape, float(length), float(width), float(height))


def plane_flux(angle_rad: FloatArray, intensity: FloatArray) -> FloatArray:
    """Integral of I sin(angle) over each plane, (nc,), exact for I linear between angles: (ng,), (nc, ng)."""
    start, end = angle_rad[:-1], angle_rad[1:]
    slope = np.diff(intensity, axis=1) / (end - start)
    ends = intensity[:, :-1] * np.cos(start) - intensity[:, 1:] * np.cos(end)
    return np.asarray((ends + slope * (np.sin(end) - np.sin(start))).sum(axis=1))


def _flux(azimuth_rad: FloatArray, angle_rad: FloatArray, intensity: FloatArray) -> float:
    planes = plane_flux(angle_rad, intensity)
    return float((0.5 * (planes[:-1] + planes[1:]) * np.diff(azimuth_rad)).sum())


def total_flux(photometry: Photometry) -> float:
    """Lumens of the interpolated distribution, exact: per plane in closed form, linear from plane to plane."""
    return _flux(photometry.azimuth_rad, photometry.angle_rad, photometry.intensity_cd)


def intensity_at(photometry: Photometry, azimuth_rad: FloatArray, angle_rad: FloatArray) -> FloatArray:
    """Intensity [cd] in directions given by azimuths and angles [rad] of one shape; 0 beyond the file's angles."""
    planes, angles, values = photometry.azimuth_rad, photometry.angle_rad, photometry.intensity_cd
    azimuth = planes[0] + np.mod(np.asarray(azimuth_rad) - planes[0], 2 * math.pi)
    angle = np.asarray(angle_rad, dtype=np.float64)
    i = np.clip(np.searchsorted(planes, azimuth, "right") - 1, 0, len(planes) - 2)
    k = np.clip(np.searchsorted(angles, angle, "right") - 1, 0, len(angles) - 2)
    s = np.clip((azimuth - planes[i]) / (planes[i + 1] - planes[i]), 0, 1)
    t = np.clip((angle - angles[k]) / (angles[k + 1] - angles[k]), 0, 1)
    low = values[i, k] * (1 - s) + values[i + 1, k] * s
    high = values[i, k + 1] * (1 - s) + values[i + 1, k + 1] * s
    return np.where((angle < angles[0]) | (angle > angles[-1]), 0.0, low * (1 - t) + high * t)


Web = tuple[FloatArray, FloatArray, FloatArray]
"""Azimuths (nc,) [rad], angles (ng,) [rad] and intensities (nc, ng)."""


def lower_half(photometry: Photometry) -> Web | None:
    """The light below the horizontal, cut there exactly; None if there is none."""
    angles, values = _with_horizontal(photometry)
    keep = angles <= math.pi / 2
    return _lit(photometry.azimuth_rad, angles[keep], values[:, keep])


def upper_half(photometry: Photometry) -> Web | None:
    """The light above the horizontal, angles from straight up; None if there is none."""
    angles, values = _with_horizontal(photometry)
    keep = angles >= math.pi / 2
    return _lit(photometry.azimuth_rad, math.pi - angles[keep][::-1], values[:, keep][:, ::-1])


def _with_horizontal(photometry: Photometry) -> tuple[FloatArray, FloatArray]:
    """Angles and intensities with a node at 90 deg, where the file's angles reach across it."""
    angles, values = photometry.angle_rad, photometry.intensity_cd
    level = math.pi / 2
    nearest = int(np.argmin(np.abs(angles - level)))
    if abs(angles[nearest] - level) < 1e-9:
        angles = angles.copy()
        angles[nearest] = level
        return angles, values
    k = int(np.searchsorted(angles, level))
    if k in (0, len(angles)):
        return angles, values
    t = (level - angles[k - 1]) / (angles[k] - angles[k - 1])
    return np.insert(angles, k, level), np.insert(values, k, (1 - t) * values[:, k - 1] + t * values[:, k], axis=1)


def _lit(azimuth: FloatArray, angles: FloatArray, values: FloatArray) -> Web | None:
    if len(angles) < 2 or not _flux(azimuth, angles, values) > 0:
        return None
    return azimuth, np.ascontiguousarray(angles), np.ascontiguousarray(values)


def downward_share(photometry: Photometry) -> float:
    """Share of the lumens below the horizontal, 0 to 1."""
    half = lower_half(photometry)
    return 0.0 if half is None else min(1.0, _flux(*half) / total_flux(photometry))


def irradiance_at(
    photometry: Photometry, head: Head, *, turn_rad: float = 0.0, water: WaterOver | None = None
) -> float:
    """Irradiance per unit of flux [1/m2] on a level head; the file turned counter-clockwise seen from above.

    Every point of the opening is assumed to have the distribution of the file. Raises ValueError unless some of the way
    is air.
    """
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    points = _points_of(photometry.opening) @ np.array([[c, s], [-s, c]])
    reach = arrival(points, head, water_index=1.0 if water is None else water.index)
    right, back, up = reach.directions.T
    azimuth = np.arctan2(back, right) - turn_rad
    light = intensity_at(photometry, azimuth, np.arccos(np.clip(-up, -1.0, 1.0))) * reach.per_intensity
    if water is not None:
        light = light * water.keeps(reach.in_water_m)
    return float(light.mean()) / total_flux(photometry)


def _points_of(opening: Opening, steps: int = 32) -> FloatArray:
    """Points that share the opening's area evenly, from its middle, (n, 2) [m]."""
    middles = (np.arange(steps) + 0.5) / steps
    if opening.shape is OpeningShape.ROUND:
        radius, turn = np.meshgrid(np.sqrt(middles) / 2, 2 * math.pi * middles)
        x, y = opening.length_m * radius * np.cos(turn), opening.width_m * radius * np.sin(turn)
    else:
        x, y = np.meshgrid(opening.length_m * (middles - 0.5), opening.width_m * (middles - 0.5))
    return np.stack([x.ravel(), y.ravel()], axis=1)


def checked_light(found: Photometry) -> Photometry:
    """The same with a note where its intensities and its own lumens differ by more than 2 %.

    Raises PhotometryFileError where it gives no light.
    """
    flux, stated, lamps = total_flux(found), found.stated_lumens, found.lamp_lumens
    if not (math.isfinite(flux) and flux > 0):
        raise PhotometryFileError("the intensities give no light: only single directions are above 0")
    said = f"its intensities add up to {flux:.4g} lm"
    note = ""
    if stated is not None:
        if stated > 0 and abs(flux / stated - 1) > DISAGREEMENT:
            note = f"{said}, but it states {stated:.4g} lm ({100 * (flux / stated - 1):+.1f} %)"
    elif lamps is not None and lamps > 0:
        if flux > (1 + DISAGREEMENT) * lamps:
            note = f"{said}, more than the {lamps:.4g} lm of its lamps"
        elif flux < (1 - DISAGREEMENT) * lamps:
            note = f"{said}, {100 * flux / lamps:.0f} % of the {lamps:.4g} lm of its lamps"
    return replace(found, notes=(*found.notes, note)) if note else found
