"""From a scene to the tables of the kernels."""
