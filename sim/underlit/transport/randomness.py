"""Random numbers as a pure function of (seed, source, batch, photon, event, dimension).

The first nine numbers of a photon (where and whereto it starts, its first three choices at surfaces, polarisation, colour) are
a Sobol sequence: direction numbers of Joe & Kuo (SIAM J. Sci. Comput. 30:2635, 2008), each batch with a random linear
scramble (Matousek, J. Complexity 14:527, 1998) and a random digital shift, so that every batch is an independent unbiased
estimate. All later numbers are hashed from their key with the finaliser of SplitMix64 (Steele, Lea & Flood, OOPSLA 2014;
constants: Stafford's variant 13).
"""

from __future__ import annotations

import numpy as np
from numba import njit, uint64

from underlit.kernel_cache import scalar

GOLDEN = np.uint64(0x9E3779B97F4A7C15)
DIGITS = 32
"""Binary digits of the Sobol points; the shift fills the digits below."""
LED, ANGLE, AZIMUTH, FIRST_CHOICE, START_POLARISATION, FACE, COLOUR = 0, 1, 2, 3, 6, 7, 8
"""Which dimension of the Sobol sequence decides what; the first are the best spread."""
CHOICES = 3
"""So many first choices at surfaces are low-discrepancy numbers."""
DIMENSIONS = 9
FREE_PATH, CHOICE, COSINE, ROUND, NEW_POLARISATION, ROULETTE = range(6)
"""Which dimension of an event's hashed numbers decides what; COSINE and ROUND are a new direction's angle and azimuth."""
DIMENSIONS_OF_AN_EVENT = 8
"""Keys from one event to the next."""
_SCRAMBLE = 64
"""Keys from here on, times GOLDEN, make the scrambles."""

# per dimension from the second: degree s, coefficients a, initial numbers m (Joe & Kuo, new-joe-kuo-6.21201)
_JOE_KUO = (
    (1, 0, (1,)),
    (2, 1, (1, 3)),
    (3, 1, (1, 3, 1)),
    (3, 2, (1, 1, 1)),
    (4, 1, (1, 1, 3, 3)),
    (4, 4, (1, 3, 5, 13)),
    (5, 2, (1, 1, 5, 5, 17)),
    (5, 4, (1, 1, 5, 5, 5)),
)


def sobol_directions() -> np.ndarray:
    """Direction numbers, (DIMENSIONS, DIGITS) uint64, first digit in bit DIGITS - 1."""
    rows = [[1 << (DIGITS - 1 - k) for k in range(DIGITS)]]
    for degree, coefficients, initial in _JOE_KUO:
        m = list(initial)
        for k in range(degree, DIGITS):
            value = m[k - degree] ^ (m[k - degree] << degree)
            for j in range(1, degree):
                if coefficients >> (degree - 1 - j) & 1:
                    value ^= m[k - j] << j
            m.append(value)
        rows.append([m[k] << (DIGITS - 1 - k) for k in range(DIGITS)])
    return np.array(rows, dtype=np.uint64)


SOBOL_DIRECTIONS = sobol_directions()


@scalar
def mix(x):
    """Scramble 64 bits: a bijection in which every input bit moves every output bit."""
    x = uint64(x)
    x = (x ^ (x >> uint64(30))) * uint64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> uint64(27))) * uint64(0x94D049BB133111EB)
    return x ^ (x >> uint64(31))


@scalar
def unit(x):
    """64 bits to a float64 in [0, 1): the upper 53 bits."""
    return float(x >> uint64(11)) * (1.0 / 9007199254740992.0)


@scalar
def batch_key(seed, source_key, batch):
    """Key of a batch, uint64."""
    k = mix(uint64(seed) + GOLDEN)
    k = mix(k ^ (uint64(source_key) + uint64(1)) * GOLDEN)
    return mix(k ^ (uint64(batch) + uint64(1)) * GOLDEN)


@scalar
def photon_key(key, photon):
    """Key of one photon's hashed numbers, uint64."""
    return mix(key ^ mix(uint64(photon) + uint64(0x5851F42D4C957F2D)))


@scalar
def event_number(key, event, dimension):
    """Uniform number in [0, 1) of one dimension of one event of a photon: FREE_PATH, CHOICE, COSINE, ..."""
    return unit(mix(key + (uint64(event) * uint64(DIMENSIONS_OF_AN_EVENT) + uint64(dimension) + uint64(1)) * GOLDEN))


@scalar
def choice_number(key, event, u):
    """What decides between the ways at a surface: of the first events a low-discrepancy number of u, later ones hashed."""
    return u[FIRST_CHOICE + event - 1] if event <= CHOICES else event_number(key, event, CHOICE)


@njit(cache=True, error_model="numpy")
def scrambled_directions(key, columns):
    """A batch's scrambled direction numbers into columns (DIMENSIONS, DIGITS) uint64, in the upper 32 of 64 bits.

    The scramble is a lower triangular matrix of bits with a unit diagonal, random below it: digit c of a point goes to digit c
    and, at random, to later ones.
    """
    spread = np.empty(DIGITS, np.uint64)
    for d in range(DIMENSIONS):
        for c in range(DIGITS):
            bits = mix(key + uint64(_SCRAMBLE + DIGITS * d + c) * GOLDEN)
            top = uint64(1) << uint64(DIGITS - 1 - c)
            spread[c] = top | (bits & (top - uint64(1)))
        for k in range(DIGITS):
            value = uint64(0)
            for c in range(DIGITS):
                if SOBOL_DIRECTIONS[d, k] >> uint64(DIGITS - 1 - c) & uint64(1):
                    value ^= spread[c]
            columns[d, k] = value << uint64(32)


@scalar
def first_point(key, columns, photon, point):
    """Shifted Sobol point of a photon into point (DIMENSIONS,) uint64: that of the Gray code of its index."""
    gray = uint64(photon) ^ (uint64(photon) >> uint64(1))
    for d in range(DIMENSIONS):
        value = mix(key + uint64(d + 1) * GOLDEN)
        k = 0
        rest = gray
        while rest:
            if rest & uint64(1):
                value ^= columns[d, k]
            rest >>= uint64(1)
            k += 1
        point[d] = value


@scalar
def next_point(columns, photon, point):
    """From the point of a photon to that of the next: one direction number a dimension (Gray code)."""
    k = 0
    following = uint64(photon) + uint64(1)
    while not following & uint64(1):
        following >>= uint64(1)
        k += 1
    for d in range(DIMENSIONS):
        point[d] ^= columns[d, k]
