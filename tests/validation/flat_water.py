"""Light through one flat water surface, deterministic and without the tracer: refraction point by point.

A point source at a height over the water sends the ring (theta, theta + dtheta) to the ring (r, r + dr) below, so
E = I(theta) T(theta) sin(theta) dtheta / (r dr): geometrical optics, no other approximation (Born & Wolf, Principles
of Optics, 7th ed., 1.5 for Fresnel's T and 3.2 for the intensity law).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

NODES = 20_001


def amplitudes(n1: float, n2: float, cosine: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Fresnel's reflection amplitudes (r_s, r_p) from n1 to n2 by cosine of incidence; both 1 at total reflection."""
    c1 = np.asarray(cosine, float)
    square = 1.0 - (n1 / n2) ** 2 * (1.0 - c1 * c1)
    c2 = np.sqrt(np.maximum(square, 0.0))
    r_s = (n1 * c1 - n2 * c2) / (n1 * c1 + n2 * c2)
    r_p = (n2 * c1 - n1 * c2) / (n2 * c1 + n1 * c2)
    total = square <= 0.0
    return np.where(total, 1.0, r_s), np.where(total, 1.0, r_p)


@dataclass(frozen=True)
class Drop:
    """From a point source `height` over flat water of index n to a plane `depth` below its surface [m]."""

    height: float
    depth: float
    index: float = 1.333

    def landing(self, theta: np.ndarray) -> np.ndarray:
        """Horizontal distance [m] at which light of an angle in air [rad] arrives."""
        sine = np.sin(theta) / self.index
        return self.height * np.tan(theta) + self.depth * sine / np.sqrt(1.0 - sine * sine)

    def landing_slope(self, theta: np.ndarray) -> np.ndarray:
        """Its derivative [m/rad]."""
        sine = np.sin(theta) / self.index
        return self.height / np.cos(theta) ** 2 + self.depth * np.cos(theta) / self.index / (1.0 - sine * sine) ** 1.5

    def angle(self, radius: np.ndarray) -> np.ndarray:
        """Inverse of `landing`: a table, then two steps of Newton's method."""
        r = np.asarray(radius, float)
        theta = np.interp(r, *self._table)
        for _ in range(2):
            theta = theta - (self.landing(theta) - r) / self.landing_slope(theta)
        return theta

    @cached_property
    def _table(self) -> tuple[np.ndarray, np.ndarray]:
        theta = np.linspace(0.0, np.pi / 2 - 1e-3, NODES)
        return self.landing(theta), theta

    def transmitted(self, theta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Shares (T_s, T_p) of each polarisation that the surface lets through."""
        r_s, r_p = amplitudes(1.0, self.index, np.cos(theta))
        return 1.0 - r_s * r_s, 1.0 - r_p * r_p

    def dilution(self, theta: np.ndarray) -> np.ndarray:
        """sin(theta) dtheta / (r dr) [1/m2]: solid angle in air over area below."""
        t = np.maximum(theta, 1e-7)
        return np.sin(t) / (self.landing(t) * self.landing_slope(t))

    def irradiance(self, radius: np.ndarray, lens_power: float = 0.0) -> np.ndarray:
        """E [1/m2] per unit of intensity on the axis, of a source I cos^lens_power, unpolarised."""
        theta = self.angle(radius)
        return np.cos(theta) ** lens_power * np.mean(self.transmitted(theta), axis=0) * self.dilution(theta)

    def ring_share(self, inner: float, outer: float, lens_power: float = 0.0) -> float:
        """Flux into a ring [unit of intensity], by Gauss-Legendre over the angle."""
        x, w = np.polynomial.legendre.leggauss(80)
        lo, hi = (float(self.angle(np.array(r))) for r in (inner, outer))
        theta = lo + (x + 1) / 2 * (hi - lo)
        passed = np.mean(self.transmitted(theta), axis=0)
        return float(2 * np.pi * (w * np.cos(theta) ** lens_power * passed * np.sin(theta)).sum() * (hi - lo) / 2)


def disc_rule(radius: float, rings: int = 8, turns: int = 16) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points x, y and weights that add to 1 for the mean over a disc: Gauss-Legendre in r^2, even azimuths."""
    g, w = np.polynomial.legendre.leggauss(rings)
    r = radius * np.sqrt((g + 1) / 2)
    turn = 2 * np.pi * (np.arange(turns) + 0.5) / turns
    x, y = np.outer(r, np.cos(turn)).ravel(), np.outer(r, np.sin(turn)).ravel()
    return x, y, np.repeat(w / 2, turns) / turns


def strip_irradiance(drop: Drop, size: tuple[float, float], at: tuple[float, float], head_radius: float) -> float:
    """Mean E on a level disc below a Lambertian strip of size (along x, along y) [m] round the origin, per unit of M.

    Gauss-Legendre over the strip, each element a point source of intensity M cos(theta) / pi; mean over the disc.
    """
    g, w = np.polynomial.legendre.leggauss(48)
    sx, sy = size[0] / 2 * g, size[1] / 2 * g
    dx, dy, dw = disc_rule(head_radius)
    x = at[0] + dx[:, None, None] - sx[None, :, None]
    y = at[1] + dy[:, None, None] - sy[None, None, :]
    value = drop.irradiance(np.hypot(x, y), 1.0) / np.pi
    return float(np.einsum("d,i,j,dij->", dw, w * size[0] / 2, w * size[1] / 2, value))
