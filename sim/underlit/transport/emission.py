"""Where, whereto and in which colour a photon packet starts."""

from __future__ import annotations

import math

import numpy as np

from underlit.kernel_cache import scalar
from underlit.optics.frames import random_polarisation
from underlit.optics.lens import cosine_power_cosine, linear_flux, table_angle
from underlit.optics.vectors import along, in_frame, normalised, vector
from underlit.optics.web import web_direction
from underlit.transport.randomness import ANGLE, AZIMUTH, COLOUR, FACE, LED, START_POLARISATION
from underlit.transport.tables import FaceShape, LensKind

_DISC = int(FaceShape.DISC)
_COSINE_POWER, _WEB = int(LensKind.COSINE_POWER), int(LensKind.WEB)


@scalar
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


@scalar
def point_on_face(source, led, f, v):
    """Place on an LED's face along its axes u and v [m], from two uniform numbers."""
    if source.face_shape == _DISC:
        radius, angle = led.half_u * math.sqrt(f), 2.0 * math.pi * v
        return radius * math.cos(angle), radius * math.sin(angle)
    return (2.0 * f - 1.0) * led.half_u, (2.0 * v - 1.0) * led.half_v


@scalar
def angles_from_axis(source, tables, u):
    """(cosine, sine) of the angle from the LED's axis, and the azimuth [rad] from its u towards its v."""
    azimuth = 2.0 * math.pi * u[AZIMUTH]
    if source.lens_kind == _COSINE_POWER:
        cosine = cosine_power_cosine(source.lens_exponent, u[ANGLE])
        return cosine, math.sqrt(max(0.0, 1.0 - cosine * cosine)), azimuth
    if source.lens_kind == _WEB:
        theta, azimuth = web_direction(tables.webs[source.lens_first], tables.web_values, u[ANGLE], u[AZIMUTH])
    else:
        theta = table_angle(tables.lens_rows, source.lens_first, source.lens_count, u[ANGLE])
    return math.cos(theta), math.sin(theta), azimuth


@scalar
def emit(source, spectrum, tables, u):
    """Start of a packet from its low-discrepancy numbers u, (DIMENSIONS,) float64.

    spectrum: (BINS,) float64, cumulative. Returns (group of the LED, p, d, e, spectral bin, cosine from its axis).
    """
    scaled = u[LED] * source.led_count
    k = min(int(scaled), source.led_count - 1)
    led = tables.leds[source.first_led + k]
    right, ahead = point_on_face(source, led, scaled - k, u[FACE])
    cosine, sine, azimuth = angles_from_axis(source, tables, u)
    axis_u, axis_v = vector(led.u), vector(led.v)
    p = along(along(vector(led.position), right, axis_u), ahead, axis_v)
    d = normalised(in_frame(sine * math.cos(azimuth), axis_u, sine * math.sin(azimuth), axis_v, cosine, vector(led.w)))
    return led.group, p, d, random_polarisation(d, u[START_POLARISATION]), pick_bin(spectrum, u[COLOUR]), cosine


_plain_flux = getattr(linear_flux, "py_func", linear_flux)
"""The function as Python sees it, with the JIT on or off."""


def lens_table(theta: np.ndarray, intensity: np.ndarray) -> np.ndarray:
    """Rows (theta [rad], intensity, cumulative flux share) of a TABLE lens, shape (k, 3) float64, from its nodes."""
    flux = [_plain_flux(t1, t0, t1, i0, i1) for t0, t1, i0, i1 in
            zip(theta[:-1], theta[1:], intensity[:-1], intensity[1:], strict=True)]  # fmt: skip
    cumulative = np.concatenate([[0.0], np.cumsum(flux)])
    cumulative /= cumulative[-1]
    cumulative[-1] = 1.0
    return np.ascontiguousarray(np.stack([theta, intensity, cumulative], axis=1), dtype=np.float64)


def web_block(azimuth: np.ndarray, theta: np.ndarray, intensity: np.ndarray) -> np.ndarray:
    """Numbers of a WEB lens from its planes: azimuth (nc,) rising over a full turn, theta (ng,), intensity (nc, ng).

    Angles in rad; the first plane is given again as the last, 2 pi later. Returns (k,) float64, see `optics/web.py`.
    Raises ValueError if the web holds no flux.
    """
    share = np.zeros(intensity.shape)
    for j, plane in enumerate(intensity):
        for k in range(len(theta) - 1):
            piece = _plain_flux(theta[k + 1], theta[k], theta[k + 1], plane[k], plane[k + 1])
            share[j, k + 1] = share[j, k] + piece
    total = share[:, -1]
    flux = np.concatenate([[0.0], np.cumsum(0.5 * (total[:-1] + total[1:]) * np.diff(azimuth))])
    if not flux[-1] > 0:
        raise ValueError("the intensity web holds no flux")
    flux /= flux[-1]
    flux[-1] = 1.0
    return np.concatenate([azimuth, theta, intensity.ravel(), share.ravel(), flux])
