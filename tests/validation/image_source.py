"""The floor of a bare box of water by mirror images, deterministic and without the tracer.

Point sources hang over the water inside the footprint of a box with a black floor and four upright walls that end at the
water level. A path enters the flat surface inside the footprint, meets walls x and y in some order, and ends on the
floor. Mirror the box in its walls instead of the path: the path is straight, and floor point (x, y) in mirror cell (m, n)
receives it after |m| hits on x walls and |n| on y walls, all at one angle each. Light in water is never flatter than the
critical angle allows, so the number of images is finite and the sum complete.

Polarisation: the state is the 2 x 2 coherency matrix across the (unfolded) path (Born & Wolf, Principles of Optics, 7th
ed., 10.9); an unpolarised source starts with half the unit matrix. Each hit acts in its own s and p, which differ between
surface, x and y walls. CARRIED ignores phase shifts at total reflection (both amplitudes are 1), as docs/photon-walk.md
says of the engine; WITH_PHASES does not, which measures what that costs.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from .flat_water import Drop, amplitudes


class Walls(Enum):
    """What the ideal walls are: no glass at all, or glass without thickness, air behind either."""

    WATER_TO_AIR = "water|air"
    THIN_GLASS = "water|glass|air"


class Polarisation(Enum):
    """Carried from hit to hit as the engine does, or with the phase shifts too, or forgotten at each hit (wrong)."""

    CARRIED = "carried"
    WITH_PHASES = "with phases"
    FORGOTTEN = "forgotten"


@dataclass(frozen=True)
class Box:
    """Inside length and depth of the box, water depth, height of the sources over the water [m]; indices."""

    length: float
    width: float
    water_depth: float
    lamp_height: float
    lamps: tuple[tuple[float, float], ...]
    water: float = 1.333
    glass: float = 1.52
    outside: float = 1.0
    """Index of what is behind the walls."""

    @property
    def drop(self) -> Drop:
        """Refraction from the lamps to the floor."""
        return Drop(self.lamp_height, self.water_depth, self.water)


def complex_amplitudes(n1: float, n2: float, cosine: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Fresnel's reflection amplitudes (r_s, r_p) with their phases at total reflection."""
    c1 = np.asarray(cosine, complex)
    c2 = np.sqrt(1.0 - (n1 / n2) ** 2 * (1.0 - c1 * c1))
    return (n1 * c1 - n2 * c2) / (n1 * c1 + n2 * c2), (n2 * c1 - n1 * c2) / (n2 * c1 + n1 * c2)


def wall_factors(
    box: Box, walls: Walls, cosine: np.ndarray, polarisation: Polarisation
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What a wall makes of the coherency matrix in its own s and p: factors of ss, pp and sp.

    Mirrored back into the unfolded path, p turns round at each reflection: the sp factor has a minus sign. Glass: the
    first reflection and all that pass the inner face, an uneven number of times reflected, added without interference.
    """
    reflect = complex_amplitudes if polarisation is Polarisation.WITH_PHASES else amplitudes
    if walls is Walls.WATER_TO_AIR:
        r_s, r_p = reflect(box.water, box.outside, cosine)
        return np.abs(r_s) ** 2, np.abs(r_p) ** 2, -r_s * np.conj(r_p)
    r_s, r_p = amplitudes(box.water, box.glass, cosine)
    in_glass = np.sqrt(1.0 - (box.water / box.glass) ** 2 * (1.0 - cosine * cosine))
    o_s, o_p = reflect(box.glass, box.outside, in_glass)
    t_s, t_p = 1.0 - r_s * r_s, 1.0 - r_p * r_p

    def added(rr: np.ndarray, tt: np.ndarray, oo: np.ndarray) -> np.ndarray:
        return rr + tt * oo / (1.0 - rr * oo)

    ss = added(r_s * r_s, t_s**2, np.abs(o_s) ** 2)
    pp = added(r_p * r_p, t_p**2, np.abs(o_p) ** 2)
    return ss, pp, -added(r_s * r_p, t_s * t_p, o_s * np.conj(o_p))


def _turned(state: np.ndarray, c: np.ndarray, s: np.ndarray) -> np.ndarray:
    """Coherency (3, n) as (ss, pp, sp) seen in axes turned by an angle of cosine c and sine s."""
    a, b, ab = state
    cross = 2 * c * s * ab.real
    return np.array([c * c * a + cross + s * s * b, s * s * a - cross + c * c * b,
                     c * s * (b - a) + c * c * ab - s * s * np.conj(ab)])  # fmt: skip


@dataclass(frozen=True)
class _Wall:
    """A wall's factors and the turn of its (s, p) against those of the level surface, along paths (n,)."""

    factors: tuple[np.ndarray, np.ndarray, np.ndarray]
    cosine: np.ndarray
    sine: np.ndarray

    def applied(self, state: np.ndarray, polarisation: Polarisation) -> np.ndarray:
        """The state after a hit, in the level surface's axes."""
        if polarisation is Polarisation.FORGOTTEN:
            kept = (self.factors[0] + self.factors[1]) / 2
            return np.array([state[0] * kept, state[1] * kept, state[2] * kept])
        here = _turned(state, self.cosine, self.sine)
        ss, pp, sp = self.factors
        return _turned(np.array([here[0] * ss, here[1] * pp, here[2] * sp]), self.cosine, -self.sine)


def _wall(box: Box, walls: Walls, d: np.ndarray, axis: int, polarisation: Polarisation) -> _Wall:
    """A wall across an axis, for directions d (3, n) in water (unfolded)."""
    level_s = np.array([-d[1], d[0], np.zeros_like(d[0])]) / np.hypot(d[0], d[1])
    level_p = np.cross(level_s, d, axis=0)
    normal = np.zeros_like(d)
    normal[axis] = 1.0
    s = np.cross(d, normal, axis=0)
    s /= np.sqrt((s * s).sum(axis=0))
    factors = wall_factors(box, walls, np.abs(d[axis]), polarisation)
    return _Wall(factors, (s * level_s).sum(axis=0), (s * level_p).sum(axis=0))


def _mirrored(value: np.ndarray, cell: int, size: float) -> np.ndarray:
    """Where a coordinate lies in a mirror cell."""
    return cell * size + value if cell % 2 == 0 else (cell + 1) * size - value


def _crossings(start: np.ndarray, end: np.ndarray, cell: int, size: float) -> list[np.ndarray]:
    """Share of the way from start to end at which each wall between is crossed, in order."""
    planes = range(1, cell + 1) if cell > 0 else range(0, cell, -1)
    return [(k * size - start) / (end - start) for k in planes]


def _walk(
    state: np.ndarray, hits: list[list[np.ndarray]], walls: list[_Wall], polarisation: Polarisation
) -> np.ndarray:
    """The state after all hits in the order in which each path meets them."""
    n = state.shape[1]
    never = np.full(n, np.inf)
    columns = [np.array([*axis_hits, never]) for axis_hits in hits]
    done = [np.zeros(n, int), np.zeros(n, int)]
    at = np.arange(n)
    for _ in range(len(hits[0]) + len(hits[1])):
        x_first = columns[0][done[0], at] < columns[1][done[1], at]
        after = [wall.applied(state, polarisation) for wall in walls]
        state = np.where(x_first, after[0], after[1])
        done[0] += x_first
        done[1] += ~x_first
    return state


def irradiance(
    box: Box, x: np.ndarray, y: np.ndarray, walls: Walls, polarisation: Polarisation = Polarisation.CARRIED
) -> np.ndarray:
    """E on the floor at points x, y (n,) [m], per umol/s of all Lambertian lamps together [1/m2]."""
    drop = box.drop
    reach = box.water_depth / np.sqrt(box.water**2 - 1.0)
    cells_x, cells_y = (int(np.ceil(reach / size)) + 1 for size in (box.length, box.width))
    total = np.zeros(len(x))
    for lamp_x, lamp_y in box.lamps:
        for m in range(-cells_x, cells_x + 1):
            for n in range(-cells_y, cells_y + 1):
                target = _mirrored(x, m, box.length), _mirrored(y, n, box.width)
                total += _one_image(box, drop, (lamp_x, lamp_y), target, (m, n), walls, polarisation)
    return total / (np.pi * len(box.lamps))


def _one_image(
    box: Box, drop: Drop, lamp: tuple[float, float], target: tuple[np.ndarray, np.ndarray], cell: tuple[int, int],
    walls: Walls, polarisation: Polarisation,
) -> np.ndarray:  # fmt: skip
    """E of a lamp of intensity cos(theta) at mirrored points; 0 where the path would not enter inside the footprint."""
    far_x, far_y = target[0] - lamp[0], target[1] - lamp[1]
    radius = np.maximum(np.hypot(far_x, far_y), 1e-12)
    theta = drop.angle(radius)
    out = box.lamp_height * np.tan(theta) / radius
    enter_x, enter_y = lamp[0] + out * far_x, lamp[1] + out * far_y
    inside = (enter_x > 0) & (enter_x < box.length) & (enter_y > 0) & (enter_y < box.width)
    value = np.zeros_like(theta)
    if not inside.any():
        return value
    theta, radius = theta[inside], radius[inside]
    sine = np.sin(theta) / box.water
    d = np.array([far_x[inside] / radius * sine, far_y[inside] / radius * sine, -np.sqrt(1 - sine * sine)])
    passed = drop.transmitted(theta)
    state = np.array([passed[0] / 2, passed[1] / 2, np.zeros_like(theta)], complex)
    if polarisation is Polarisation.FORGOTTEN:
        state[:2] = state[:2].mean(axis=0)
    if cell != (0, 0):
        hits = [
            _crossings(enter_x[inside], target[0][inside], cell[0], box.length),
            _crossings(enter_y[inside], target[1][inside], cell[1], box.width),
        ]
        state = _walk(state, hits, [_wall(box, walls, d, axis, polarisation) for axis in (0, 1)], polarisation)
    value[inside] = np.cos(theta) * drop.dilution(theta) * (state[0] + state[1]).real
    return value


FIBONACCI = ((144, 89), (233, 144), (377, 233), (610, 377), (987, 610), (1597, 987))
"""Fibonacci lattices: number of points and generator; shadow edges along the axes cost 1/N, not 1/sqrt(N)."""


def cell_means(
    box: Box, cells: tuple[int, int], walls: Walls, polarisation: Polarisation = Polarisation.CARRIED, lattice: int = 2
) -> np.ndarray:
    """Mean E of floor cells (ny, nx), over a Fibonacci lattice in each, per umol/s of all lamps [1/m2]."""
    points, generator = FIBONACCI[lattice]
    k = np.arange(points)
    u, v = (k + 0.5) / points, (k * generator / points + 0.5 / points) % 1.0
    i, j = np.meshgrid(np.arange(cells[0]), np.arange(cells[1]))
    x = (i[..., None] + u) * box.length / cells[0]
    y = (j[..., None] + v) * box.width / cells[1]
    return irradiance(box, x.ravel(), y.ravel(), walls, polarisation).reshape(x.shape).mean(axis=2)
