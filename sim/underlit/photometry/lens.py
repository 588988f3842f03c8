"""How strongly a small LED shines in each direction. Angles are from the axis [rad]; all lenses are round."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from underlit.spectra.grid import FloatArray


class LensKind(StrEnum):
    """Families of angular profile."""

    COSINE_POWER = "cosine power"
    UNIFORM_CONE = "uniform cone"
    TABLE = "table"


@dataclass(frozen=True, eq=False)
class Lens:
    """An axial intensity profile.

    ``exponent``: m of cos^m for COSINE_POWER (1 is Lambertian), else 0. ``half_angle_rad``: edge of a UNIFORM_CONE,
    pi/2 otherwise. ``theta_rad`` and ``intensity``: (n,) of a TABLE, rising from 0, linear between, zero beyond the
    last; empty otherwise.
    """

    kind: LensKind
    exponent: float = 0.0
    half_angle_rad: float = math.pi / 2
    theta_rad: FloatArray = field(default_factory=lambda: np.empty(0))
    intensity: FloatArray = field(default_factory=lambda: np.empty(0))


def lambertian() -> Lens:
    """A bare LED: intensity falls with the cosine, half of it at 60 deg (beam angle 120 deg)."""
    return Lens(LensKind.COSINE_POWER, exponent=1.0)


def from_beam_angle(full_width_rad: float) -> Lens:
    """A lens whose intensity halves at half of ``full_width_rad`` (beam angle, full width at half maximum): cos^m.

    Raises ValueError unless 0 < beam angle < pi: at a hemisphere no cos^m falls to half inside it.
    """
    if not 0 < full_width_rad < math.pi:
        raise ValueError("a beam angle must lie between 0 and 180 deg")
    return Lens(LensKind.COSINE_POWER, exponent=math.log(0.5) / math.log(math.cos(full_width_rad / 2)))


def uniform_cone(full_angle_rad: float) -> Lens:
    """The same intensity everywhere inside a cone. Raises ValueError unless 0 < full angle <= pi."""
    if not 0 < full_angle_rad <= math.pi:
        raise ValueError("the full angle of a cone must lie between 0 and 180 deg")
    return Lens(LensKind.UNIFORM_CONE, half_angle_rad=full_angle_rad / 2)


LEAST_STEP_RAD = 1e-8
"""Between two angles of a table: closer ones lose the digits of the light between them."""


def from_table(theta_rad: FloatArray, intensity: FloatArray) -> Lens:
    """A measured axial profile: angles (n,) rising from 0 to at most pi/2, relative intensity (n,) not negative.

    Raises ValueError when the table is not that.
    """
    theta, values = np.array(theta_rad, dtype=np.float64), np.array(intensity, dtype=np.float64)
    if theta.ndim != 1 or theta.shape != values.shape or len(theta) < 2:
        raise ValueError("a lens table needs at least two rows of angle and intensity")
    if not (np.isfinite(theta).all() and np.isfinite(values).all()):
        raise ValueError("all numbers of a lens table must be finite")
    if theta[0] != 0 or (np.diff(theta) < LEAST_STEP_RAD).any():
        raise ValueError("the angles of a lens table must start at 0 deg and rise by at least a millionth of a degree")
    if (values < 0).any() or not values.max() > 0:
        raise ValueError("the intensities of a lens table must not be negative, and some must be above 0")
    if (values[theta > math.pi / 2 + 1e-12] > 0).any():
        raise ValueError("a lens must be narrower than a hemisphere: no light beyond 90 deg")
    keep = theta <= math.pi / 2 + 1e-12
    # A last step across 90 deg ends in darkness; cut it at the hemisphere.
    if not keep.all():
        edge = float(np.interp(math.pi / 2, theta, values))
        theta = np.append(theta[keep & (theta < math.pi / 2)], math.pi / 2)
        values = np.append(values[: len(theta) - 1], edge)
    theta.setflags(write=False)
    values.setflags(write=False)
    return Lens(LensKind.TABLE, theta_rad=theta, intensity=values)


def relative_intensity(lens: Lens, theta_rad: FloatArray | float) -> FloatArray:
    """Intensity at angles from the axis in the lens's own scale (the table's, or 1 on the axis); zero beyond it."""
    theta = np.abs(np.asarray(theta_rad, dtype=np.float64))
    if lens.kind is LensKind.TABLE:
        return np.interp(theta, lens.theta_rad, lens.intensity, right=0.0)
    if lens.kind is LensKind.UNIFORM_CONE:
        return np.where(theta <= lens.half_angle_rad, 1.0, 0.0)
    return np.where(theta < math.pi / 2, np.maximum(np.cos(theta), 0.0) ** lens.exponent, 0.0)


def flux_within(lens: Lens, theta_rad: FloatArray | float) -> FloatArray:
    """Flux inside a cone of half angle ``theta_rad`` about the axis, in the scale of ``relative_intensity`` [x sr].

    Exact: 2 pi times the integral of I sin(theta), a table taken as piecewise linear in the angle.
    """
    theta = np.clip(np.asarray(theta_rad, dtype=np.float64), 0.0, math.pi / 2)
    if lens.kind is LensKind.TABLE:
        return 2 * math.pi * _table_flux(lens.theta_rad, lens.intensity, theta)
    if lens.kind is LensKind.UNIFORM_CONE:
        return 2 * math.pi * (1 - np.cos(np.minimum(theta, lens.half_angle_rad)))
    return 2 * math.pi / (lens.exponent + 1) * (1 - np.cos(theta) ** (lens.exponent + 1))


def total_flux(lens: Lens) -> float:
    """Flux over the hemisphere in the scale of ``relative_intensity`` [x sr]."""
    return float(flux_within(lens, math.pi / 2))


def intensity_per_flux(lens: Lens, theta_rad: FloatArray | float) -> FloatArray:
    """Intensity per unit of flux emitted [1/sr]; integrates to 1 over the hemisphere."""
    return relative_intensity(lens, theta_rad) / total_flux(lens)


def beam_angle(lens: Lens) -> float:
    """Full width at half of the peak intensity [rad], at the outermost crossing."""
    theta = np.linspace(0, math.pi / 2, 9001)
    values = relative_intensity(lens, theta)
    return float(2 * theta[np.nonzero(values >= values.max() / 2)[0][-1]])


def _table_flux(theta: FloatArray, values: FloatArray, upper: FloatArray) -> FloatArray:
    """Integral of the piecewise-linear table times sin from 0 to ``upper``: per step [-I cos + slope sin]."""
    slope = np.diff(values) / np.diff(theta)
    start, end = theta[:-1], theta[1:]
    stop = np.clip(upper[..., None], start, end)
    at_stop = values[:-1] + slope * (stop - start)
    pieces = values[:-1] * np.cos(start) - at_stop * np.cos(stop) + slope * (np.sin(stop) - np.sin(start))
    return np.asarray(pieces.sum(axis=-1))
