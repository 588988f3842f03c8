"""What the oracle computes with: random numbers, vectors, optics and brute-force geometry, all its own.

Nothing here is shared with the kernels (see `reference`). Vectors are tuples of three floats.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache

import numpy as np

Vector = tuple[float, float, float]

MASK = (1 << 64) - 1
GOLDEN = 0x9E3779B97F4A7C15

# ---- random numbers


def mix(x: int) -> int:
    """Scramble 64 bits (SplitMix64's finaliser)."""
    x = ((x ^ (x >> 30)) * 0xBF58476D1CE4E5B9) & MASK
    x = ((x ^ (x >> 27)) * 0x94D049BB133111EB) & MASK
    return x ^ (x >> 31)


def unit(x: int) -> float:
    """64 bits to a number in [0, 1): the upper 53."""
    return math.ldexp(x >> 11, -53)


def batch_key(seed: int, source_key: int, batch: int) -> int:
    """Key of one batch of one source, 64 bits."""
    k = mix((seed + GOLDEN) & MASK)
    k = mix(k ^ ((source_key + 1) * GOLDEN & MASK))
    return mix(k ^ ((batch + 1) * GOLDEN & MASK))


# Joe & Kuo, SIAM J. Sci. Comput. 30:2635 (2008), file new-joe-kuo-6.21201: primitive polynomial by its exponents, and m
_POLYNOMIALS = (
    ((1, 0), (1,)),
    ((2, 1, 0), (1, 3)),
    ((3, 1, 0), (1, 3, 1)),
    ((3, 2, 0), (1, 1, 1)),
    ((4, 1, 0), (1, 1, 3, 3)),
    ((4, 3, 0), (1, 3, 5, 13)),
    ((5, 2, 0), (1, 1, 5, 5, 17)),
    ((5, 3, 0), (1, 1, 5, 5, 5)),
)


def sobol_directions() -> list[list[int]]:
    """Direction numbers of nine dimensions as 32-bit fractions, by the recurrence on the fractions themselves."""
    rows = [[1 << 31 - k for k in range(32)]]
    for exponents, initial in _POLYNOMIALS:
        degree = exponents[0]
        v = [m << 31 - k for k, m in enumerate(initial)]
        while len(v) < 32:
            new = v[-degree] >> degree
            for exponent in exponents[1:]:
                new ^= v[exponent - degree]
            v.append(new)
        rows.append(v)
    return rows


SOBOL = sobol_directions()


@lru_cache(maxsize=16)
def scrambling(batch_key: int) -> list[tuple[list[int], int]]:
    """Of a batch, for each of the nine dimensions: columns of its random matrix, and its shift."""
    made = []
    for d in range(len(SOBOL)):
        below = [mix(batch_key + (64 + 32 * d + c) * GOLDEN & MASK) & ((1 << 31 - c) - 1) for c in range(32)]
        columns = [1 << 31 - c | rest for c, rest in enumerate(below)]
        made.append((columns, mix(batch_key + (d + 1) * GOLDEN & MASK)))
    return made


def low_discrepancy(batch_key: int, photon: int) -> list[float]:
    """A photon's nine numbers: scrambled, shifted Sobol point of the Gray code of its index.

    Digit by digit: digit r of the scrambled number is digit r of the plain one, plus those before it that the random
    matrix picks.
    """
    gray, numbers = photon ^ photon >> 1, []
    for directions, (columns, shift) in zip(SOBOL, scrambling(batch_key), strict=True):
        plain = scrambled = 0
        for k in range(gray.bit_length()):
            plain ^= directions[k] * (gray >> k & 1)
        for c, column in enumerate(columns):
            scrambled ^= column * (plain >> 31 - c & 1)
        numbers.append(unit(shift ^ scrambled << 32))
    return numbers


# ---- vectors


def dot(a: Vector, b: Vector) -> float:
    """Scalar product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def cross(a: Vector, b: Vector) -> Vector:
    """Vector product."""
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


def along(p: Vector, t: float, d: Vector) -> Vector:
    """The point p + t d."""
    return (p[0] + t * d[0], p[1] + t * d[1], p[2] + t * d[2])


def combined(*terms: tuple[float, Vector]) -> Vector:
    """Sum of factors times vectors."""
    x = y = z = 0.0
    for factor, v in terms:
        x, y, z = x + factor * v[0], y + factor * v[1], z + factor * v[2]
    return (x, y, z)


def normalised(a: Vector) -> Vector:
    """a at length one."""
    length = math.sqrt(dot(a, a))
    return (a[0] / length, a[1] / length, a[2] / length)


def as_vector(values: Iterable[float]) -> Vector:
    """Three numbers of any kind as plain floats."""
    x, y, z = (float(value) for value in values)
    return (x, y, z)


def frame(n: Vector) -> tuple[Vector, Vector]:
    """Two unit vectors that complete n to a right-handed frame (Duff et al., JCGT 6(1), 2017)."""
    x, y, z = n
    sign = math.copysign(1.0, z)
    a = -1.0 / (sign + z)
    b = x * y * a
    return (1.0 + sign * x * x * a, sign * b, -sign * x), (b, sign + y * y * a, -y)


def turned(axis: Vector, cosine: float, azimuth: float) -> Vector:
    """The direction at this cosine from the axis, at this azimuth [rad] in the axis's frame."""
    a, b = frame(axis)
    sine = math.sqrt(max(0.0, 1.0 - cosine * cosine))
    return normalised(combined((sine * math.cos(azimuth), a), (sine * math.sin(azimuth), b), (cosine, axis)))


def polarised(d: Vector, u: float) -> Vector:
    """Unit polarisation across d, at the angle 2 pi u in the frame of d."""
    a, b = frame(d)
    return combined((math.cos(2.0 * math.pi * u), a), (math.sin(2.0 * math.pi * u), b))


def rounded(weight: int, factor: float) -> int:
    """Nearest whole number of quanta."""
    return math.floor(weight * factor + 0.5)


# ---- optics


def fresnel(n1: float, n2: float, c1: float) -> tuple[float, float, float, float, float] | None:
    """Amplitudes (r_s, r_p, t_s, t_p) and the cosine of refraction, or None if all is reflected.

    Fresnel's formulas (Born & Wolf, Principles of Optics, 1.5.2) with the sign of r_p of docs/photon-walk.md. The
    transmitted amplitudes follow from the fields' continuity: 1 + r_s = t_s and (1 + r_p) n1 = t_p n2.
    """
    sine = n1 / n2 * math.sqrt(max(0.0, 1.0 - c1 * c1))
    if sine >= 1.0:
        return None
    c2 = math.sqrt(1.0 - sine * sine)
    r_s = (n1 * c1 - n2 * c2) / (n1 * c1 + n2 * c2)
    r_p = (n2 * c1 - n1 * c2) / (n2 * c1 + n1 * c2)
    return r_s, r_p, 1.0 + r_s, (1.0 + r_p) * n1 / n2, c2


def lens_angle(rows: np.ndarray, u: float) -> float:
    """Angle from the axis [rad] below which the share u of a TABLE lens's flux lies; rows (k, 3) as in `Tables`."""
    k = max(i for i in range(len(rows) - 1) if rows[i][2] <= u)
    (t0, i0, f0), (t1, i1, f1) = (map(float, row) for row in rows[k : k + 2])
    slope = (i1 - i0) / (t1 - t0)

    def flux(t: float) -> float:
        """Integral of I sin from t0 to t: by parts, with the differences of cosines and sines as products."""
        half, mean = 0.5 * (t - t0), 0.5 * (t + t0)
        return 2.0 * math.sin(half) * (i0 * math.sin(mean) + slope * math.cos(mean)) - slope * (t - t0) * math.cos(t)

    wanted = (u - f0) / (f1 - f0) * flux(t1)
    low, high = t0, t1
    while low < (middle := 0.5 * (low + high)) < high:
        low, high = (middle, high) if flux(middle) <= wanted else (low, middle)
    return low


def web_angles(shape: tuple[int, int], web: np.ndarray, u: float, v: float) -> tuple[float, float]:
    """(theta, azimuth) [rad] of a WEB lens of so many planes and angles; web: its run of numbers, see `transport.tables`.

    By bisection on the whole cumulative functions, azimuth first: no interval is looked up.
    """
    nc, ng = shape
    azimuth, theta = web[:nc].tolist(), web[nc : nc + ng].tolist()
    intensity = web[nc + ng : nc + ng + nc * ng].reshape(nc, ng)

    def up_to(values: Sequence[float], end: float) -> float:
        """Integral of the linear interpolant of values times sin from the first theta to end."""
        total = 0.0
        for t0, t1, i0, i1 in zip(theta[:-1], theta[1:], values[:-1], values[1:], strict=True):
            if end <= t0:
                break
            stop = min(end, t1)
            half, mean, slope = 0.5 * (stop - t0), 0.5 * (stop + t0), (i1 - i0) / (t1 - t0)
            total += 2.0 * math.sin(half) * (i0 * math.sin(mean) + slope * math.cos(mean))
            total -= slope * (stop - t0) * math.cos(stop)
        return total

    plane_flux = [up_to(plane, theta[-1]) for plane in intensity.tolist()]
    sectors = list(zip(azimuth[:-1], azimuth[1:], plane_flux[:-1], plane_flux[1:], strict=True))

    def flux_before(phi: float) -> float:
        total = 0.0
        for start, end, first, last in sectors:
            stop = min(max(phi, start), end)
            total += 0.5 * (2 * first + (stop - start) / (end - start) * (last - first)) * (stop - start)
        return total

    def bisect(wanted: float, cumulative: Callable[[float], float], low: float, high: float) -> float:
        while low < (middle := 0.5 * (low + high)) < high:
            low, high = (middle, high) if cumulative(middle) <= wanted else (low, middle)
        return low

    phi = bisect(v * flux_before(azimuth[-1]), flux_before, azimuth[0], azimuth[-1])
    profile = [float(np.interp(phi, azimuth, column)) for column in intensity.T]
    return bisect(u * up_to(profile, theta[-1]), lambda t: up_to(profile, t), theta[0], theta[-1]), phi


def scattering_cosine(g: float, u: float) -> float:
    """Cosine of Henyey & Greenstein's law (Astrophys. J. 93:70, 1941) below which the share u lies.

    The usual inverse with its division by g multiplied out, so that it holds for every g from -1 to 1, 0 too.
    """
    s = 2.0 * u - 1.0
    numerator = s + 0.5 * g * (3.0 + s * s) + g * g * s - 0.5 * g**3 * (1.0 - s * s)
    return min(1.0, max(-1.0, numerator / (1.0 + g * s) ** 2))


# ---- geometry


class Soup:
    """All triangles, for brute force."""

    def __init__(self, corners: np.ndarray) -> None:
        points = corners.reshape(-1, 3, 3)
        sides = np.stack([points, np.roll(points, -1, axis=1)], axis=2).reshape(-1, 2, 3)  # 3 a triangle: start, end
        keys = [tuple(map(tuple, side)) for side in sides.tolist()]
        places: dict[tuple[tuple[float, ...], ...], int] = {}
        numbers = [places.setdefault(min(key, key[::-1]), len(places)) for key in keys]
        starts, ends = (np.array([edge[i] for edge in places]).reshape(-1, 3) for i in (0, 1))
        self.lines = np.hstack([np.cross(starts, ends), ends - starts])
        turned = np.array([key[0] > key[1] for key in keys], dtype=bool)
        self.edges = (np.array(numbers, dtype=np.int64) + turned * len(places)).reshape(-1, 3)
        self.anchor = points[:, 0]
        normal = np.cross(points[:, 1] - points[:, 0], points[:, 2] - points[:, 0])
        length = np.linalg.norm(normal, axis=1, keepdims=True)
        self.normal = np.divide(normal, length, out=np.zeros_like(normal), where=length > 0)

    def crossings(self, p: np.ndarray, d: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Rays p + t d, each (n, 3), against all triangles: (ray, triangle, t, d . normal) of all crossings, t >= 0."""
        volume = self.lines @ np.hstack([d, np.cross(p, d)]).T
        left, right = np.concatenate([volume >= 0, volume <= 0]), np.concatenate([volume <= 0, volume >= 0])
        a, b, c = self.edges.T
        triangle, ray = np.nonzero((left[a] & left[b] & left[c]) | (right[a] & right[b] & right[c]))
        slope = np.einsum("ij,ij->i", self.normal[triangle], d[ray])
        height = np.einsum("ij,ij->i", self.normal[triangle], self.anchor[triangle] - p[ray])
        t = np.divide(height, slope, out=np.full_like(slope, -1.0), where=slope != 0)
        kept = t >= 0
        return ray[kept], triangle[kept], t[kept], slope[kept]


def inside(outline: list[tuple[float, float]], x: float, y: float) -> bool:
    """Even-odd rule; an empty outline holds every point."""
    if not outline:
        return True
    odd = False
    for (x0, y0), (x1, y1) in zip(outline, outline[1:] + outline[:1], strict=True):
        if (y0 > y) != (y1 > y) and x < x0 + (y - y0) / (y1 - y0) * (x1 - x0):
            odd = not odd
    return odd
