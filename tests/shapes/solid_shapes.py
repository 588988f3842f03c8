"""Solids with closed-form areas and volumes for these tests."""

import numpy as np

from underlit.lowering.shapes import Shape


def box(low, high):
    corners = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=float)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = np.array([face for a, b, c, d in quads for face in ((a, b, c), (a, c, d))])
    low, high = np.array(low, dtype=float), np.array(high, dtype=float)
    return Shape(low + corners * (high - low), faces, True)
