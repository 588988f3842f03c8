"""Driftwood from a seed: a leaning trunk on a root flare, crooked tapering limbs, knots, broken stubs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from underlit.lowering.shapes.randomness import generator, smooth_noise
from underlit.lowering.shapes.shape import FloatArray, Shape, ShapeError
from underlit.lowering.shapes.solids import from_manifold, union

if TYPE_CHECKING:
    import manifold3d


@dataclass(frozen=True)
class _Limb:
    """path: (p, 3) float64, centre line; radii: (p,) float64; sides: corners of its rings; blunt: whether its end is
    broken off.
    """

    path: FloatArray
    radii: FloatArray
    sides: int
    blunt: bool = False


def driftwood(
    seed: int,
    length: float,
    height: float,
    branches: int = 7,
    *,
    thickness: float | None = None,
    crookedness: float = 1.0,
) -> Shape:
    """A piece of branching driftwood, one closed body of a few thousand triangles.

    length: its extent along x [m]; height: of its highest tip above z = 0 [m]; branches: limbs besides the trunk and
    its counter-limb; thickness: greatest diameter of the trunk [m], by default about a ninth of the larger of length
    and height; crookedness: 0 straight to 2 very twisted. The centre of its foot stands at the origin; roots reach a
    little below z = 0. Raises ShapeError for sizes out of 3 cm to 3 m or more than 60 branches.
    """
    for name, value in (("length", length), ("height", height)):
        if not 0.03 <= value <= 3:
            raise ShapeError(f"driftwood {name}: {value:g} m is not believable; give 3 cm to 3 m")
    if not 0 <= branches <= 60:
        raise ShapeError(f"driftwood branches: {branches} is out of range; give 0 to 60")
    size = max(length, height)
    radius = 0.5 * thickness if thickness is not None else 0.056 * size
    if not 0.002 <= radius <= 0.3 * size:
        raise ShapeError(f"driftwood thickness: {2 * radius:g} m does not suit a piece of {size:g} m")
    rng = generator(seed, "driftwood")
    limbs = _skeleton(length, height, radius, branches, crookedness, rng)
    grain = 0.02 + 0.35 * radius
    bodies = [_sweep(limb, grain, generator(seed, f"bark {k}")) for k, limb in enumerate(limbs)]
    return _scaled_to(union(bodies), length, height)


def _skeleton(
    length: float, height: float, radius: float, branches: int, crookedness: float, rng: np.random.Generator
) -> list[_Limb]:
    size = max(length, height)
    lean = rng.choice([-1.0, 1.0])
    depth = 0.3 * length
    foot = np.array([0.0, 0.0, -0.3 * radius])
    crown = np.array(
        [lean * rng.uniform(0.42, 0.58) * length, rng.uniform(-0.3, 0.3) * depth, rng.uniform(0.8, 1) * height]
    )
    bend = np.array(
        [lean * rng.uniform(0.0, 0.12) * length, rng.uniform(-0.3, 0.3) * depth, rng.uniform(0.5, 0.75) * height]
    )
    trunk = _Limb(
        _meander(_arc(foot, bend, crown, 30), 0.07 * size * crookedness, rng), _taper(30, radius, 0.16, 0.45, rng), 13
    )
    fork = int(rng.integers(5, 9))
    start = trunk.path[fork]
    low = np.array(
        [-lean * rng.uniform(0.38, 0.52) * length, rng.uniform(-0.9, 0.9) * depth, rng.uniform(0.25, 0.7) * height]
    )
    knee = start + np.array([-lean * 0.22 * length, 0.3 * low[1], rng.uniform(0.1, 0.3) * height])
    counter = _Limb(
        _meander(_arc(start, knee, low, 24), 0.06 * size * crookedness, rng),
        _taper(24, 0.78 * trunk.radii[fork], 0.16, 0.2, rng),
        11,
    )
    limbs = [trunk, counter, *_roots(radius, length, crookedness, rng)]
    parents = [trunk, counter]
    for k in range(branches):
        parent = parents[k % 2] if k < 4 else parents[int(rng.integers(len(parents)))]
        limb = _branch(parent, size, crookedness, rng)
        limbs.append(limb)
        if limb.radii[0] > 0.28 * radius:
            parents.append(limb)
    limbs += [_stub(parents[k % 2], rng) for k in range(3)]
    return limbs


def _arc(start: FloatArray, control: FloatArray, end: FloatArray, points: int) -> FloatArray:
    t = np.linspace(0, 1, points)[:, None]
    return (1 - t) ** 2 * start + 2 * t * (1 - t) * control + t**2 * end


def _meander(path: FloatArray, amplitude: float, rng: np.random.Generator) -> FloatArray:
    """Crook the path: slow and quicker waves that grow towards its tip; its start stays."""
    t = np.linspace(0, 1, len(path))
    offset = np.zeros_like(path)
    for waves, share in ((1.2, 0.8), (2.6, 0.5), (5.2, 0.2)):
        phase = rng.uniform(0, 2 * np.pi, 3)
        strength = rng.normal(0, 1, 3) * share
        offset += strength * (np.sin(2 * np.pi * waves * t[:, None] + phase) - np.sin(phase))
    return path + amplitude * offset * (t[:, None] ** 1.2)


def _taper(points: int, base: float, tip_share: float, flare: float, rng: np.random.Generator) -> FloatArray:
    """Radii along a limb: flared where it starts, thinning unevenly to tip_share."""
    t = np.linspace(0, 1, points)
    lumps = 1 + 0.08 * np.sin(2 * np.pi * (rng.uniform(2, 4) * t + rng.uniform())) * (1 - t)
    thinning = tip_share + (1 - tip_share) * (1 - t) ** rng.uniform(0.75, 1.1)
    return base * lumps * thinning * (1 + flare * np.exp(-t / 0.07))


def _roots(radius: float, length: float, crookedness: float, rng: np.random.Generator) -> list[_Limb]:
    """The flare at the foot: roots that arch outward and dive below z = 0."""
    count = int(rng.integers(4, 7))
    turn = rng.uniform(0, 2 * np.pi)
    roots = []
    for k in range(count):
        azimuth = turn + 2 * np.pi * (k + rng.uniform(-0.3, 0.3)) / count
        outward = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
        reach = radius * rng.uniform(2.4, 4.2)
        start = np.array([0, 0, radius * rng.uniform(0.8, 1.6)])
        knee = outward * 0.55 * reach + np.array([0, 0, 0.55 * radius])
        end = outward * reach + np.array([0, 0, -rng.uniform(0.35, 0.6) * radius])
        path = _meander(_arc(start, knee, end, 12), 0.25 * radius * crookedness, rng)
        roots.append(_Limb(path, _taper(12, 0.62 * radius, 0.3, 0.25, rng), 9))
    return roots


def _branch(parent: _Limb, size: float, crookedness: float, rng: np.random.Generator) -> _Limb:
    """A limb out of its parent, starting on the centre line so that the joint closes, and curving upward."""
    place = int(len(parent.path) * rng.uniform(0.25, 0.85))
    start = parent.path[place]
    along = parent.path[min(place + 1, len(parent.path) - 1)] - parent.path[place - 1]
    along /= np.linalg.norm(along)
    side = rng.normal(size=3) * (1.0, 1.0, 0.6) + (0, 0, 0.35)
    side -= along * side.dot(along)
    side /= np.linalg.norm(side)
    angle = np.deg2rad(rng.uniform(35, 72))
    direction = np.cos(angle) * along + np.sin(angle) * side
    reach = size * rng.uniform(0.18, 0.4) * (parent.radii[place] / parent.radii[0]) ** 0.35
    middle = start + 0.55 * reach * direction
    upward = np.array([0, 0, rng.uniform(-0.1, 0.5)])
    end = middle + 0.6 * reach * (direction * 0.6 + upward + rng.normal(0, 0.25, 3) * crookedness)
    points = 17
    path = _meander(_arc(start, middle, end, points), 0.07 * reach * crookedness, rng)
    base = min(0.75, rng.uniform(0.5, 0.8)) * parent.radii[place]
    return _Limb(path, _taper(points, base, 0.14, 0.55, rng), 8)


def _stub(parent: _Limb, rng: np.random.Generator) -> _Limb:
    """What is left of a limb that broke off."""
    place = int(len(parent.path) * rng.uniform(0.25, 0.75))
    along = parent.path[place + 1] - parent.path[place - 1]
    side = np.cross(along, rng.normal(size=3))
    side /= np.linalg.norm(side)
    radius = parent.radii[place]
    path = parent.path[place] + np.linspace(0, rng.uniform(1.7, 2.6), 7)[:, None] * radius * (
        side + 0.3 * along / np.linalg.norm(along)
    )
    return _Limb(path, np.linspace(0.62, 0.36, 7) * radius, 8, blunt=True)


def _sweep(limb: _Limb, grain: float, rng: np.random.Generator) -> Shape:
    """A closed tube around the limb's path with twisted grain, lumps and knots."""
    path, sides, rings = limb.path, limb.sides, len(limb.path)
    tangent = np.gradient(path, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    first = _steady_normals(tangent)
    second = np.cross(tangent, first)
    theta = 2 * np.pi * np.arange(sides) / sides
    travelled = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    twist = rng.uniform(2, 6) * rng.choice([-1, 1]) * travelled / max(travelled[-1], 1e-9)
    angle = theta[None] + twist[:, None]
    ring = np.cos(angle)[:, :, None] * first[:, None] + np.sin(angle)[:, :, None] * second[:, None]
    share = _ridges(theta, rng)[None] * _knots(travelled, theta, limb.radii, rng)
    skin = path[:, None] + ring * (limb.radii[:, None] * share)[:, :, None]
    lumps = smooth_noise(skin.reshape(-1, 3), rng, grain, 2).reshape(rings, sides)
    skin += ring * (0.09 * limb.radii[:, None] * lumps)[:, :, None]
    end_radius = limb.radii[-1]
    if limb.blunt:
        skin[-1] += tangent[-1] * rng.uniform(-0.35, 0.35, sides)[:, None] * end_radius
    tip = path[-1] + tangent[-1] * end_radius * (-0.2 if limb.blunt else 1.6)
    foot = path[0] - tangent[0] * 0.5 * limb.radii[0]
    vertices = np.concatenate([skin.reshape(-1, 3), [foot, tip]])
    corner = np.arange(rings * sides).reshape(rings, sides)
    near, far = corner[:-1], corner[1:]
    near_next, far_next = np.roll(near, -1, axis=1), np.roll(far, -1, axis=1)
    faces = np.concatenate(
        [
            np.stack([near, near_next, far_next], axis=-1).reshape(-1, 3),
            np.stack([near, far_next, far], axis=-1).reshape(-1, 3),
            np.stack([np.full(sides, rings * sides), np.roll(corner[0], -1), corner[0]], axis=-1),
            np.stack([corner[-1], np.roll(corner[-1], -1), np.full(sides, rings * sides + 1)], axis=-1),
        ]
    )
    return Shape(vertices, faces, True)


def _steady_normals(tangent: FloatArray) -> FloatArray:
    """(p, 3): a normal carried along the path without turning about it."""
    normals = np.zeros_like(tangent)
    normal = np.cross(tangent[0], np.eye(3)[np.argmin(np.abs(tangent[0]))])
    for k, direction in enumerate(tangent):
        normal = normal - direction * normal.dot(direction)
        normal = normal / np.linalg.norm(normal)
        normals[k] = normal
    return normals


def _ridges(theta: FloatArray, rng: np.random.Generator) -> FloatArray:
    """(s,): the fluted, slightly flattened cross-section that weathered wood has."""
    phases = rng.uniform(0, 2 * np.pi, 3)
    waves = zip((0.1, 0.1, 0.06), (2, 3, 5), phases, strict=True)
    return sum((height * np.cos(times * theta + phase) for height, times, phase in waves), start=np.ones_like(theta))


def _knots(travelled: FloatArray, theta: FloatArray, radii: FloatArray, rng: np.random.Generator) -> FloatArray:
    """(p, s): a few swellings, each with a hollow in its middle."""
    share = np.ones((len(travelled), len(theta)))
    for _ in range(int(rng.integers(1, 4))):
        place, turn = rng.uniform(0.15, 0.85) * travelled[-1], rng.uniform(0, 2 * np.pi)
        around = (theta - turn + np.pi) % (2 * np.pi) - np.pi
        distance = np.hypot((travelled[:, None] - place) / (1.3 * radii[:, None]), around[None] / 0.8)
        share += 0.38 * np.exp(-(distance**2)) - 0.3 * np.exp(-((distance / 0.45) ** 2))
    return share


def _scaled_to(body: manifold3d.Manifold, length: float, height: float) -> Shape:
    """Stretched a little so that length and height come out as asked."""
    box = body.bounding_box()
    along, up = length / (box[3] - box[0]), height / box[5]
    return from_manifold(body.scale([along, float(np.sqrt(along * up)), up]))
