"""Closed forms written apart from the program: Fresnel, slabs, diffuse reflectances, configuration factors."""

from __future__ import annotations

import math

import numpy as np


def interface(theta: np.ndarray | float, n1: float, n2: float) -> np.ndarray:
    """Fresnel's reflectances (2, ...) for s and p at an angle [rad] in n1; 1 at total reflection.

    Born & Wolf, Principles of Optics, 7th edition, 1.5.2.
    """
    cos1 = np.cos(np.asarray(theta, float))
    sine = n1 / n2 * np.sin(np.asarray(theta, float))
    cos2 = np.sqrt(np.maximum(1 - sine**2, 0.0))
    r_s = ((n1 * cos1 - n2 * cos2) / (n1 * cos1 + n2 * cos2)) ** 2
    r_p = ((n2 * cos1 - n1 * cos2) / (n2 * cos1 + n1 * cos2)) ** 2
    return np.where(sine >= 1, 1.0, np.array([r_s, r_p]))


def slab(
    theta: np.ndarray | float, *, index: float, absorbance: float = 0.0, before: float = 1.0, after: float = 1.0
) -> tuple[np.ndarray, np.ndarray]:
    """(transmittance, reflectance) of a plate, each (2, ...) for s and p, with all internal reflections.

    theta [rad] in the medium before; absorbance: absorption coefficient times thickness.
    T = (1 - R1)(1 - R2) tau / (1 - R1 R2 tau^2).
    """
    sine = before / index * np.sin(np.asarray(theta, float))
    inside = np.arcsin(np.minimum(sine, 1.0))
    first, second = interface(theta, before, index), interface(inside, index, after)
    tau = np.exp(-absorbance / np.cos(inside))
    loop = 1 - first * second * tau**2
    return (1 - first) * (1 - second) * tau / loop, first + (1 - first) ** 2 * second * tau**2 / loop


def diffuse_external(n: float) -> float:
    """Reflectance of a flat surface for Lambertian light from outside (Walsh 1926; Duntley 1942)."""
    m = n * n
    return (
        0.5
        + (n - 1) * (3 * n + 1) / (6 * (n + 1) ** 2)
        + m * (m - 1) ** 2 / (m + 1) ** 3 * math.log((n - 1) / (n + 1))
        - 2 * n**3 * (m + 2 * n - 1) / ((m + 1) * (m * m - 1))
        + 8 * m * m * (m * m + 1) / ((m + 1) * (m * m - 1) ** 2) * math.log(n)
    )


def diffuse_internal(n: float) -> float:
    """The same from inside: 1 - (1 - external) / n^2."""
    return 1 - (1 - diffuse_external(n)) / n**2


def parallel_rectangle(a: float, b: float, c: float) -> float:
    """Element to a parallel rectangle a x b at distance c, under one of its corners."""
    x, y = a / c, b / c
    p, q = math.hypot(1, x), math.hypot(1, y)
    return (x / p * math.atan(y / p) + y / q * math.atan(x / q)) / (2 * math.pi)


def perpendicular_rectangle(height: float, width: float, distance: float) -> float:
    """Element to a rectangle that stands on the element's plane, corner level with the element."""
    s = math.hypot(height, distance)
    return (math.atan(width / distance) - distance / s * math.atan(width / s)) / (2 * math.pi)


def disc(radius: float, distance: float, offset: float) -> float:
    """Element to a parallel disc, beside its axis by an offset."""
    z = distance**2 + offset**2 + radius**2
    return 0.5 * (1 - (z - 2 * radius**2) / math.sqrt(z * z - 4 * radius**2 * offset**2))


def polygon(corners: np.ndarray, point: np.ndarray, normal: np.ndarray) -> float:
    """Element at a point to any polygon wholly above its plane (Lambert, Photometria, 1760); either sense of turning."""
    v = np.asarray(corners, float) - point
    v /= np.linalg.norm(v, axis=1, keepdims=True)
    after = np.roll(v, -1, axis=0)
    across = np.cross(v, after)
    angle = np.arctan2(np.linalg.norm(across, axis=1), (v * after).sum(axis=1))
    return abs(float((angle * (across @ normal) / np.linalg.norm(across, axis=1)).sum())) / (2 * math.pi)


def strip(x1: float, x2: float, offset: float, height: float) -> float:
    """E on a level element under a narrow Lambertian strip with radiance times width 1, from x1 to x2 [m]."""
    q2 = offset**2 + height**2
    q = math.sqrt(q2)

    def part(x: float) -> float:
        return x / (2 * q2 * (x * x + q2)) + math.atan(x / q) / (2 * q2 * q)

    return height**2 * (part(x2) - part(x1))


def box_parallel(x: float, y: float) -> float:
    """Between two equal facing rectangles, sides x and y times their distance (Howell's catalogue, C-11)."""
    x1, y1 = 1 + x * x, 1 + y * y
    return (
        2
        / (math.pi * x * y)
        * (
            math.log(math.sqrt(x1 * y1 / (1 + x * x + y * y)))
            + x * math.sqrt(y1) * math.atan(x / math.sqrt(y1))
            + y * math.sqrt(x1) * math.atan(y / math.sqrt(x1))
            - x * math.atan(x)
            - y * math.atan(y)
        )
    )


def box_perpendicular(*, common: float, own: float, other: float) -> float:
    """From a rectangle (common x own) to one at right angles along the common edge (common x other); catalogue C-14."""
    h, w = other / common, own / common
    h2, w2 = h * h, w * w
    both = 1 + w2 + h2
    logs = (
        math.log((1 + w2) * (1 + h2) / both)
        + w2 * math.log(w2 * both / ((1 + w2) * (w2 + h2)))
        + h2 * math.log(h2 * both / ((1 + h2) * (h2 + w2)))
    )
    s = math.sqrt(h2 + w2)
    return (w * math.atan(1 / w) + h * math.atan(1 / h) - s * math.atan(1 / s) + logs / 4) / (math.pi * w)
