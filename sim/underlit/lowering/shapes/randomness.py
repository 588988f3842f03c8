"""Randomness of shapes: always a pure function of a seed and a label, never of any global state."""

from __future__ import annotations

import zlib

import numpy as np

from underlit.lowering.shapes.shape import FloatArray


def generator(seed: int, label: str) -> np.random.Generator:
    """A counter-based generator of its own for each (seed, label), so that one part's draws never move another's."""
    return np.random.Generator(np.random.Philox(np.random.SeedSequence([seed % 2**64, zlib.crc32(label.encode())])))


def smooth_noise(points: FloatArray, rng: np.random.Generator, wavelength: float, octaves: int = 1) -> FloatArray:
    """Isotropic smooth noise of about unit spread at points (n, 3) [m], as a sum of randomly turned waves.

    Each octave halves wavelength [m] and height. Waves (rather than a lattice) need no table and have no preferred
    axes.
    """
    waves = 14
    total = np.zeros(len(points))
    height = 1.0
    for _ in range(octaves):
        directions = rng.normal(size=(waves, 3))
        directions /= np.linalg.norm(directions, axis=1, keepdims=True)
        frequencies = 2 * np.pi / wavelength * rng.uniform(0.6, 1.5, waves)
        phases = rng.uniform(0, 2 * np.pi, waves)
        # einsum, not @: a threaded matrix product may round differently from run to run.
        along = np.einsum("ik,jk->ij", points, directions)
        total += height * np.sqrt(2 / waves) * np.sin(along * frequencies + phases).sum(axis=1)
        wavelength /= 2
        height /= 2
    return total
