"""Where, whereto and in which colour a photon packet starts."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from underlit.optics.frames import random_polarisation
from underlit.optics.lens import cosine_power_cosine, table_angle
from underlit.optics.web import web_direction
from underlit.transport.randomness import ANGLE, AZIMUTH, COLOUR, FACE, LED, POLARISATION
from underlit.transport.tables import FaceShape, LensKind

_DISC = int(FaceShape.DISC)
_TABLE, _WEB = int(LensKind.TABLE), int(LensKind.WEB)


@njit(cache=True)
def pick_bin(cumulative, u):
    """First bin whose cumulative share is above u; cumulative (bins,) float64 ending in 1."""
    lo, hi = 0, cumulative.shape[0] - 1
    while lo < hi:
        middle = (lo + hi) // 2
        if cumulative[middle] > u:
            hi = middle
        else:
            lo = middle + 1
    return lo


@njit(cache=True, error_model="numpy")
def emit(source, leds, lens_rows, webs, cumulative, u):
    """Start of a packet from its low-discrepancy numbers u: (group of the LED, p, d, e, spectral bin, cosine from its axis)."""
    scaled = u[LED] * source.led_count
    k = min(int(scaled), source.led_count - 1)
    f = scaled - k
    led = leds[source.first_led + k]
    if source.face_shape == _DISC:
        radius, angle = led.half_u * math.sqrt(f), 2.0 * math.pi * u[FACE]
        a, b = radius * math.cos(angle), radius * math.sin(angle)
    else:
        a, b = (2.0 * f - 1.0) * led.half_u, (2.0 * u[FACE] - 1.0) * led.half_v
    azimuth = 2.0 * math.pi * u[AZIMUTH]
    if source.lens_kind == _WEB:
        theta, azimuth = web_direction(webs, source.lens_first, u[ANGLE], u[AZIMUTH])
        cosine, sine = math.cos(theta), math.sin(theta)
    elif source.lens_kind == _TABLE:
        theta = table_angle(lens_rows, source.lens_first, source.lens_count, u[ANGLE])
        cosine, sine = math.cos(theta), math.sin(theta)
    else:
        cosine = cosine_power_cosine(source.lens_exponent, u[ANGLE])
        sine = math.sqrt(max(0.0, 1.0 - cosine * cosine))
    c, s = sine * math.cos(azimuth), sine * math.sin(azimuth)
    p0, p1, p2 = led.position[0], led.position[1], led.position[2]
    u0, u1, u2 = led.u[0], led.u[1], led.u[2]
    v0, v1, v2 = led.v[0], led.v[1], led.v[2]
    w0, w1, w2 = led.w[0], led.w[1], led.w[2]
    px, py, pz = p0 + a * u0 + b * v0, p1 + a * u1 + b * v1, p2 + a * u2 + b * v2
    dx, dy, dz = c * u0 + s * v0 + cosine * w0, c * u1 + s * v1 + cosine * w1, c * u2 + s * v2 + cosine * w2
    length = 1.0 / math.sqrt(dx * dx + dy * dy + dz * dz)
    dx, dy, dz = dx * length, dy * length, dz * length
    ex, ey, ez = random_polarisation(dx, dy, dz, u[POLARISATION])
    return led.group, px, py, pz, dx, dy, dz, ex, ey, ez, pick_bin(cumulative, u[COLOUR]), cosine


def lens_table(theta: np.ndarray, intensity: np.ndarray) -> np.ndarray:
    """Rows (theta [rad], intensity, cumulative flux share) of a TABLE lens, shape (k, 3) float64, from its nodes."""
    from underlit.optics.lens import linear_flux

    flux = [linear_flux.py_func(t1, t0, t1, i0, i1) for t0, t1, i0, i1 in
            zip(theta[:-1], theta[1:], intensity[:-1], intensity[1:], strict=True)]  # fmt: skip
    cumulative = np.concatenate([[0.0], np.cumsum(flux)])
    cumulative /= cumulative[-1]
    cumulative[-1] = 1.0
    return np.ascontiguousarray(np.stack([theta, intensity, cumulative], axis=1), dtype=np.float64)


def web_block(azimuth: np.ndarray, theta: np.ndarray, intensity: np.ndarray) -> np.ndarray:
    """Numbers of a WEB lens from its planes: azimuth (nc,) rising over a full turn, theta (ng,), intensity (nc, ng).

    Angles in rad; the first plane is given again as the last, 2 pi later. Returns (k,) float64, see `optics/web.py`.
    """
    from underlit.optics.lens import linear_flux

    share = np.zeros(intensity.shape)
    for j, plane in enumerate(intensity):
        for k in range(len(theta) - 1):
            piece = linear_flux.py_func(theta[k + 1], theta[k], theta[k + 1], plane[k], plane[k + 1])
            share[j, k + 1] = share[j, k] + piece
    total = share[:, -1]
    flux = np.concatenate([[0.0], np.cumsum(0.5 * (total[:-1] + total[1:]) * np.diff(azimuth))])
    if not flux[-1] > 0:
        raise ValueError("the intensity web holds no flux")
    flux /= flux[-1]
    flux[-1] = 1.0
    counts = [float(len(azimuth)), float(len(theta))]
    return np.concatenate([counts, azimuth, theta, intensity.ravel(), share.ravel(), flux])
