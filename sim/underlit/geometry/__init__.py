"""Rays and triangles: the tree, the watertight hit, the inside of solids. Numba kernels."""

from underlit import kernel_cache

kernel_cache.use()
