"""The walk of photon packets through the tables: random numbers, emission, events, tallies. Numba kernels."""

from underlit import kernel_cache

kernel_cache.use()
