"""Light under random black leaves: exp(-LAI) for level ones, 2 E3(LAI / 2) for those turned as the faces of a ball.

Leaves independent of each other and evenly random let a beam through with probability exp(-G(theta) LAI / cos theta), where G is
the mean projection of a unit of leaf area: cos theta for level leaves, 1/2 for spherically turned ones (Monsi and Saeki, Japanese
Journal of Botany 14:22, 1953; Campbell and Norman, An Introduction to Environmental Biophysics, 2nd ed. 1998, ch. 15; both from
memory). Light as diffuse as under an even sky weighs directions by 2 cos theta sin theta: the mean is exp(-LAI) and
2 E3(LAI / 2), with E3 the exponential integral.

The canopy is a box with mirrors for walls, under a source as large as the box. One draw of leaves is not their mean: with
leaves of 4 mm in a box of 40 cm the share of gaps departs from it by less than a per cent, which each check allows for.
"""

from __future__ import annotations

import numpy as np
import pytest

from checking import agree, flux_in_zone, reject, trace
from poisson_canopy import LeafAngles, random_leaves
from underlit.lowering.shapes.shape import Shape
from underlit.lowering.world import World, box, rectangle

SIDE, DEEP, LEAF = 0.4, 0.1, 0.004
FLOOR, LID = -0.02, DEEP + 0.02
DRAW = 0.008
"""Relative: how far one draw of leaves may lie from the mean of all."""


def canopy(index: float, angles: LeafAngles, seed: int = 1) -> Shape:
    """Random leaves in the box."""
    return random_leaves(
        seed, (0, 0, 0), (SIDE, SIDE, DEEP), leaf_area_index=index, angles=angles, leaf_size=LEAF
    ).shape


def through(leaves: Shape):
    """Share of diffuse light from above that reaches the floor under black leaves between mirrors."""
    world = World()
    mirror = world.opaque("mirror", 1.0, specular=1.0)
    vertices, faces = box((0, 0, FLOOR), (SIDE, SIDE, LID), inward=True)
    upright = np.ptp(vertices[faces][:, :, 2], axis=1) > 0
    world.add_mesh("walls", vertices, faces[upright], mirror)
    world.add_mesh("floor", *rectangle((0, 0, FLOOR), (SIDE, 0, 0), (0, SIDE, 0)), world.opaque("floor", 0.0))
    world.add_surface_zone("floor", "floor", area=SIDE**2)
    world.add_mesh("leaves", leaves.vertices, leaves.faces, world.leaf("leaves", 0.0, 0.0))
    world.add_source("sky", [(SIDE / 2, SIDE / 2, LID - 1e-4)], ppf=1.0, half_size=(SIDE / 2, SIDE / 2))
    return flux_in_zone(trace(world, photons_log2=18), "floor")


def textbook(index: float, angles: LeafAngles) -> float:
    """Share of diffuse light that passes."""
    from scipy.special import expn

    return float(np.exp(-index) if angles is LeafAngles.HORIZONTAL else 2 * expn(3, index / 2))


@pytest.mark.parametrize("angles", list(LeafAngles))
@pytest.mark.parametrize("index", [0.5, 1.0, 2.0, 4.0])
def test_black_random_leaves_let_through_what_the_textbook_says(angles, index):
    exact = textbook(index, angles)
    slack = DRAW * (1 + index) * exact
    agree(through(canopy(index, angles)), exact, resolves=0.15, what=f"{angles.value}, LAI {index}", slack=slack)


@pytest.mark.parametrize("angles", list(LeafAngles))
def test_the_check_sees_clumped_leaves_and_a_wrong_leaf_area(angles):
    """The same leaves drawn together into three quarters of the ground, and a tenth of them missing, are both seen."""
    index = 2.0
    leaves, exact = canopy(index, angles), textbook(index, angles)
    corners = leaves.vertices[leaves.faces]
    middle = corners.mean(axis=1)
    shift = np.zeros_like(middle)
    shift[:, 0] = np.where(middle[:, 0] < 0.75 * SIDE, 0.0, -0.25 * SIDE)
    clumped = Shape((corners + shift[:, None]).reshape(-1, 3), np.arange(3 * len(corners)), False)
    reject(through(clumped), exact * (1 + DRAW * (1 + index)), what="clumped")
    thinned = Shape(leaves.vertices, leaves.faces[np.random.default_rng(1).random(len(leaves.faces)) > 0.1], False)
    reject(through(thinned), exact * (1 + DRAW * (1 + index)), what="a tenth missing")


def test_the_two_leaf_angles_are_told_apart():
    reject(through(canopy(1.0, LeafAngles.SPHERICAL)), textbook(1.0, LeafAngles.HORIZONTAL), what="leaf angles")
