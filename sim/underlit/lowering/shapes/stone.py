"""Stones from a seed: water-worn and broken ones."""

from __future__ import annotations

import numpy as np

from underlit.lowering.shapes.randomness import generator, smooth_noise
from underlit.lowering.shapes.shape import FloatArray, Shape, ShapeError
from underlit.lowering.shapes.solids import from_manifold

_SUNK_SHARE = 0.12
"""How much of a stone's height lies below z = 0, where the substrate hides its flat base."""


def rounded(seed: int, size: float) -> Shape:
    """A water-worn stone, one closed body.

    size: its greatest horizontal extent [m], 5 mm to 2 m, along x. Its middle stands over the origin; a flat base lies
    a little below z = 0. Raises ShapeError.
    """
    _check(size)
    import manifold3d

    rng = generator(seed, "rounded stone")
    body = manifold3d.Manifold.sphere(1.0, 48)
    stretch = np.array([1.0, rng.uniform(0.62, 0.92), rng.uniform(0.45, 0.75)])
    dent = generator(seed, "rounded stone dents")

    def worn(points: FloatArray) -> FloatArray:
        directions = points / np.linalg.norm(points, axis=1, keepdims=True)
        # Between a ball and a pillow: worn stones keep a memory of their faces.
        power = np.sum(np.abs(directions) ** 2.7, axis=1) ** (-1 / 2.7)
        swell = 1 + 0.1 * smooth_noise(directions, dent, 2.2) + 0.025 * smooth_noise(directions, dent, 0.7)
        return np.asarray(directions * (power * np.clip(swell, 0.5, 1.6))[:, None] * stretch)

    return _settled(body.warp_batch(worn), rng, size, lean_deg=9)


def jagged(seed: int, size: float) -> Shape:
    """A broken, layered stone, one closed body of a few thousand triangles. Arguments, origin and errors as for
    rounded.
    """
    _check(size)
    import manifold3d

    rng = generator(seed, "jagged stone")
    lumps = []
    for k in range(int(rng.integers(3, 5))):
        lump = _hewn(rng, 1.0 if k == 0 else rng.uniform(0.45, 0.8))
        offset = np.zeros(3) if k == 0 else np.array([*rng.uniform(-0.75, 0.75, 2), rng.uniform(-0.35, 0.2)])
        lumps.append(lump.translate(offset))
    body = manifold3d.Manifold.batch_boolean(lumps, manifold3d.OpType.Add)
    for _ in range(int(rng.integers(3, 6))):
        body = body - _cleft(rng)
    body = max(body.decompose(), key=lambda part: part.volume())
    rough = generator(seed, "jagged stone skin")
    strata = rng.normal(size=3) * (0.5, 0.5, 1)
    strata /= np.linalg.norm(strata)

    def roughen(points: FloatArray) -> FloatArray:
        level = np.einsum("ij,j->i", points, strata)
        layers = np.abs((level * 4.5 + 0.3 * smooth_noise(points, rough, 1.2)) % 1 - 0.5) - 0.25
        push = 0.028 * smooth_noise(points, rough, 0.55, 3) + 0.07 * layers
        outward = points / np.maximum(np.linalg.norm(points, axis=1, keepdims=True), 0.2)
        return np.asarray(points + outward * push[:, None])

    body = body.simplify(0.01).refine_to_length(0.16).warp_batch(roughen)
    return _settled(body, rng, size, lean_deg=14)


def _check(size: float) -> None:
    if not 0.005 <= size <= 2:
        raise ShapeError(f"stone size: {size:g} m is not believable; give 5 mm to 2 m")


def _hewn(rng: np.random.Generator, scale: float):  # type: ignore[no-untyped-def]
    """A convex block cut by random planes."""
    import manifold3d

    body = manifold3d.Manifold.cube([3.0, 3.0, 3.0], True)
    normals = rng.normal(size=(22, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    for normal in normals:
        body = body.trim_by_plane((-normal).tolist(), -float(rng.uniform(0.72, 1.12)))
    tall = rng.uniform(0.75, 1.25)
    return body.scale([scale, scale * rng.uniform(0.6, 0.9), scale * tall])


def _cleft(rng: np.random.Generator):  # type: ignore[no-untyped-def]
    """A thin wedge for cutting a crack into the surface."""
    import manifold3d

    wedge = manifold3d.Manifold.hull_points(
        np.array(
            [[1.6, y, z] for y in (-1.5, 1.5) for z in (-0.16, 0.16)]
            + [[rng.uniform(0.5, 0.72), y, 0.0] for y in (-1.5, 1.5)]
        )
    )
    return wedge.rotate(rng.uniform(0, 360, 3).tolist())


def _settled(body, rng: np.random.Generator, size: float, *, lean_deg: float) -> Shape:  # type: ignore[no-untyped-def]
    """Leaned, longest along x, cut flat below, scaled to size, its middle over the origin."""
    body = body.rotate([*rng.uniform(-lean_deg, lean_deg, 2), rng.uniform(-15, 15)])
    box = body.bounding_box()
    if box[4] - box[1] > box[3] - box[0]:
        body = body.rotate([0, 0, 90])
    low_z, high_z = body.bounding_box()[2], body.bounding_box()[5]
    tall = high_z - low_z
    body = body.trim_by_plane([0.0, 0.0, 1.0], low_z + 0.18 * tall)
    body = max(body.decompose(), key=lambda part: part.volume())
    low = np.array(body.bounding_box()[:3])
    high = np.array(body.bounding_box()[3:])
    scale = size / float(max(high[0] - low[0], high[1] - low[1]))
    base = low[2] + _SUNK_SHARE * (high[2] - low[2])
    body = body.translate([-(low[0] + high[0]) / 2, -(low[1] + high[1]) / 2, -base]).scale([scale] * 3)
    return from_manifold(body)
