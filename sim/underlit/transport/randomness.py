"""Random numbers as a pure function of (seed, source, batch, photon, event, dimension).

The six numbers of an emission are a low-discrepancy additive sequence, x_j(i) = shift_j + i alpha_j mod 1, with
alpha_j = phi^-(j+1) and phi the root of x^7 = x + 1 (the golden ratio generalised to six dimensions; Roberts 2018),
each batch shifted at random (Cranley & Patterson, SIAM J. Numer. Anal. 13:904, 1976). In 64-bit whole numbers the
sequence is exact. All later numbers are hashed from their key with the finaliser of SplitMix64 (Steele, Lea & Flood,
OOPSLA 2014; constants: Stafford's variant 13).
"""

from __future__ import annotations

import numpy as np
from numba import njit, uint64

GOLDEN = np.uint64(0x9E3779B97F4A7C15)
EMISSION_DIMENSIONS = 6


def _additive_steps(dimensions: int) -> np.ndarray:
    """Steps alpha_j of the additive sequence as 64-bit fractions, shape (dimensions,), uint64.

    alpha = 1/phi solves alpha^(d+1) + alpha^d = 1; bisected in whole numbers, so the same bits on every machine.
    """
    scale = 1 << 128
    low, high = 0, scale
    while high - low > 1:
        middle = (low + high) // 2
        if middle ** (dimensions + 1) + middle**dimensions * scale > scale ** (dimensions + 1):
            high = middle
        else:
            low = middle
    return np.array([low ** (j + 1) * 2**64 // scale ** (j + 1) for j in range(dimensions)], dtype=np.uint64)


ADDITIVE_STEPS = _additive_steps(EMISSION_DIMENSIONS)


@njit(cache=True)
def mix(x):
    """Scramble 64 bits: a bijection in which every input bit moves every output bit."""
    x = uint64(x)
    x = (x ^ (x >> uint64(30))) * uint64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> uint64(27))) * uint64(0x94D049BB133111EB)
    return x ^ (x >> uint64(31))


@njit(cache=True)
def unit(x):
    """64 bits to a float64 in [0, 1): the upper 53 bits."""
    return float(x >> uint64(11)) * (1.0 / 9007199254740992.0)


@njit(cache=True)
def batch_key(seed, source_key, batch):
    """Key of a batch, uint64."""
    k = mix(uint64(seed) + GOLDEN)
    k = mix(k ^ (uint64(source_key) + uint64(1)) * GOLDEN)
    return mix(k ^ (uint64(batch) + uint64(1)) * GOLDEN)


@njit(cache=True)
def emission_shift(key, j):
    """Random shift of dimension j of a batch's additive sequence, uint64."""
    return mix(key + (uint64(j) + uint64(1)) * GOLDEN)


@njit(cache=True)
def photon_key(key, photon):
    """Key of one photon's later events, uint64."""
    return mix(key ^ mix(uint64(photon) + uint64(0x5851F42D4C957F2D)))


@njit(cache=True)
def event_number(key, event, dimension):
    """Uniform number in [0, 1) of one dimension of one event of a photon."""
    return unit(mix(key + (uint64(event) * uint64(8) + uint64(dimension) + uint64(1)) * GOLDEN))
