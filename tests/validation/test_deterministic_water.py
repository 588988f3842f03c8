"""The deterministic sides of the under-water checks, against closed forms of their own."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from .bare_boxes import LAMPED_BOX
from .flat_water import Drop, strip_irradiance
from .image_source import Box, Polarisation, Walls, cell_means, irradiance, wall_factors
from .underwater import DROP, INTENSITY, TABLE


@pytest.mark.parametrize("power", [0, 1])
def test_point_source_table(power):
    """The table to its digits, and on the axis E = I T0 / (h + d/n)^2 in closed form."""
    for radius, printed in TABLE.items():
        assert INTENSITY * float(DROP.irradiance(np.array(radius), power)) == pytest.approx(printed[power], rel=2e-5)
    n = DROP.index
    axis = (1 - ((n - 1) / (n + 1)) ** 2) / (DROP.height + DROP.depth / n) ** 2
    assert float(DROP.irradiance(np.array(0.0))) == pytest.approx(axis, rel=1e-6)


def test_strip_in_air_is_the_narrow_strip():
    """Without refraction (n = 1) the strip is the closed form of a narrow one, 4.284661 for L w = 1, .6 m at .3 m."""
    width = 1e-4
    value = strip_irradiance(Drop(0.1, 0.2, 1.0), (0.6, width), (0.0, 0.0), 1e-5)
    assert value * math.pi / width == pytest.approx(4.284661, rel=1e-5)


def upright_flux(box: Box) -> float:
    """Share of the lamps' light that goes through the surface inside the footprint, by midpoints over the surface."""
    n = 600
    x = (np.arange(n) + 0.5) / n
    at_x, at_y = np.meshgrid(x * box.length, x * box.width)
    total = 0.0
    for lamp_x, lamp_y in box.lamps:
        square = (at_x - lamp_x) ** 2 + (at_y - lamp_y) ** 2 + box.lamp_height**2
        cosine = box.lamp_height / np.sqrt(square)
        passed = np.mean(box.drop.transmitted(np.arccos(cosine)), axis=0)
        total += float((cosine**2 / square * passed).mean()) * box.length * box.width / np.pi
    return total / len(box.lamps)


@pytest.mark.parametrize("walls", list(Walls))
def test_walls_that_reflect_all_lose_nothing(walls):
    """Behind the walls an index so low that every hit is total: all light that entered reaches the floor."""
    box = replace(LAMPED_BOX, outside=1e-9)
    share = float(cell_means(box, (6, 4), walls, lattice=2).mean()) * box.length * box.width
    assert share == pytest.approx(upright_flux(box), rel=1e-4)


def test_walls_that_reflect_nothing_leave_the_direct_light():
    """Water behind the walls: E is that of unbounded water where the path enters inside the footprint."""
    box = replace(LAMPED_BOX, outside=LAMPED_BOX.water, lamps=((0.15, 0.10),))
    x, y = np.array([0.16, 0.2, 0.05]), np.array([0.11, 0.12, 0.08])
    direct = box.drop.irradiance(np.hypot(x - 0.15, y - 0.10), 1.0) / np.pi
    assert irradiance(box, x, y, Walls.WATER_TO_AIR) == pytest.approx(direct, rel=1e-9)


def test_thin_glass_reflects_as_a_slab_between_water_and_air():
    """ss and pp: the incoherent slab R + (1-R)^2 Ro / (1 - R Ro); total beyond the critical angle of water to air."""
    box = LAMPED_BOX
    cosine = np.array([1.0, 0.9, 0.75])
    ss, pp, _ = wall_factors(box, Walls.THIN_GLASS, cosine, Polarisation.CARRIED)
    inner, outer = ((1.52 - 1.333) / (1.52 + 1.333)) ** 2, (0.52 / 2.52) ** 2
    assert ss[0] == pytest.approx(inner + (1 - inner) ** 2 * outer / (1 - inner * outer), rel=1e-12)
    assert pp[0] == pytest.approx(ss[0], rel=1e-12)
    grazing = np.array([0.9 * math.sqrt(1 - 1 / 1.333**2)])
    for kind in Polarisation:
        assert wall_factors(box, Walls.THIN_GLASS, grazing, kind)[0] == pytest.approx(1.0, rel=1e-12)


def test_polarisation_and_phases_are_told_apart():
    """The three treatments differ where walls reflect in part and in total, so the carried one is really carried."""
    box = replace(LAMPED_BOX, outside=1.2)
    carried, phases, forgotten = (cell_means(box, (6, 4), Walls.THIN_GLASS, kind, lattice=0) for kind in Polarisation)
    assert np.abs(forgotten / carried - 1).max() > 1e-3
    assert 1e-6 < np.abs(phases / carried - 1).max() < 1e-4
