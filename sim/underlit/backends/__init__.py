"""Who runs the walk: `cpu` (numba), `reference` (plain Python, the oracle)."""
