"""From a world to the kernels' tables."""
