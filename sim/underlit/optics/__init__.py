"""Formulas of light at surfaces and in media: Fresnel, scattering, lenses. Numba kernels."""

from underlit import kernel_cache

kernel_cache.use()
