"""Light through tanks of other shapes, their braces and lids, against closed forms: Fresnel, Lambert, plane geometry."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from shaped_tanks import BENT, BOX, CYLINDER, described, shell_of

from checking import agree, check_ledger, flux_in_zone, flux_of_cells, flux_of_points, scaled, trace
from underlit.lowering.prisms import curtain_round, flat
from underlit.lowering.world import World
from underlit.scene.tank import outline as tank_outline
from underlit.spectra.media import optical_constants
from underlit.transport.tables import BINS, FaceShape


# -- closed forms -------------------------------------------------------------------------------------------------------
def parallel_light(world: World, corner: tuple[float, float], size: tuple[float, float], z: float, bin_: int) -> float:
    """Light straight down from a level rectangle, of one spectral bin; returns its PPFD [umol/m2/s] for 1 umol/s."""
    spectrum = np.zeros(BINS)
    spectrum[bin_] = 1.0
    (x, y), (a, b) = corner, size
    world.add_source("sky", [(x + a / 2, y + b / 2, z)], ppf=1.0, axis=(0, 0, -1.0), along=(1.0, 0, 0),
                     half_size=(a / 2, b / 2), beam_exponent=1e30, spectrum=spectrum)  # fmt: skip
    return 1.0 / (a * b)


def level_zone(world: World, name: str, x0: float, x1: float, y0: float, y1: float, z: float) -> None:
    """Counts light going down through a level rectangle."""
    outline = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    world.add_height_zone(name, z, area=(x1 - x0) * (y1 - y0), outline=outline)


def normal_reflectance(n1: float, n2: float) -> float:
    return ((n1 - n2) / (n1 + n2)) ** 2


def through_plates(*layers: tuple[float, float, float]) -> float:
    """Transmittance at normal incidence of layers (index, absorption [1/m], thickness [m]) between thick outer ones.

    Intensities add, as thick plates do: each interface and layer is a symmetric mixer of light up and down, and two of
    them together let T1 T2 / (1 - R1 R2) through (Born & Wolf 1.6; Stokes 1862 for piles of plates).
    """
    through, back = 1.0, 0.0
    for (n1, _, _), (n2, a2, d2) in itertools.pairwise(layers):
        r, decay = normal_reflectance(n1, n2), math.exp(-a2 * d2)
        between = 1 / (1 - back * r)
        through, back = through * (1 - r) * between * decay, (r + (1 - r) ** 2 * back * between) * decay * decay
    return through


def test_a_glass_brace_half_under_water():
    """Straight down: air, glass, water against air, water, by Fresnel's normal reflectances and Lambert's law."""
    tank = BOX | {"brace": [{"at": "30 cm", "width": "10 cm", "thickness": "3 cm", "glass": "clear"}]}
    scene, world, _ = shell_of(
        described(
            tank=tank, water={"below_rim": "1 cm", "tannin": "none"}, substrate={"depth": "2 cm", "reflectance": 0.0}
        )
    )
    bin_ = 20
    sent = parallel_light(world, (0.0, 0.0), (0.6, 0.3), 0.4, bin_)
    for name, x in (("under the brace", 0.30), ("beside it", 0.12)):
        level_zone(world, name, x - 0.04, x + 0.04, 0.05, 0.25, 0.2)
    result = trace(world, photons_log2=18)
    (n_g, a_g, _), (n_w, a_w, _) = (
        [values[bin_] for values in constants]
        for constants in (optical_constants("clear"), scene.water.optical_constants())
    )
    air, level = (1.0, 0.0, 0.0), scene.water_level_m
    exact = {
        "under the brace": through_plates(air, (n_g, a_g, 0.03 - 3e-4), (n_w, a_w, 0.33 - 0.2)),
        "beside it": through_plates(air, (n_w, a_w, level - 0.2)),
    }
    assert exact["under the brace"] < 0.97 * exact["beside it"]
    for name, value in result.zones().items():
        agree(value, sent * exact[name], resolves=0.02, what=f"glass brace: {name}")


@pytest.mark.parametrize("shape", [BOX, CYLINDER, BENT], ids=["box", "round", "bent"])
def test_a_euro_brace_shades_exactly_its_area(shape):
    """Parallel light straight down on an opaque strip: what it takes is its share of the area."""
    tank = shape | {"euro_brace": {"width": "4 cm", "reflectance": 0.0}}
    scene, world, _ = shell_of(described(tank=tank))
    inside = scene.tank.inside_outline
    length, depth = inside.size
    sent = parallel_light(world, (0.0, 0.0), (length, depth), 0.4, 30)
    world.add_surface_zone("strip", "euro brace", area=1.0, min_up=0.9)
    result = trace(world, photons_log2=18)
    exact = inside.inset(3e-4).area - inside.inset(0.04).area
    agree(flux_in_zone(result, "strip"), sent * exact, resolves=0.02, slack=1e-9, what="euro brace")
    assert exact == pytest.approx(inside.area - inside.inset(0.04).area, rel=0.02)


def slab_transmittance(n: float, absorption: float, thickness: float, angle: float) -> float:
    """Of a plate in air, unpolarised, all inner reflections (Born & Wolf 1.6.4, incoherent)."""
    inner = math.asin(math.sin(angle) / n)
    decay = math.exp(-absorption * thickness / math.cos(inner))
    total = 0.0
    for r in (
        ((math.cos(angle) - n * math.cos(inner)) / (math.cos(angle) + n * math.cos(inner))) ** 2,
        ((n * math.cos(angle) - math.cos(inner)) / (n * math.cos(angle) + math.cos(inner))) ** 2,
    ):
        total += 0.5 * (1 - r) ** 2 * decay / (1 - (r * decay) ** 2)
    return total


def test_a_tilted_flap_and_sliding_panes():
    """Parallel light through one pane, two panes, a pane at 60 deg, and nothing, by Fresnel's formulas.

    The pane behind the flap is left out: the flap throws what it reflects on to it.
    """
    clean = {"dirt": 1.0, "condensation": 1.0, "thickness": "4 mm"}
    n, a, _ = (values[10] for values in optical_constants("clear"))
    places = {
        "hinged": ({"hinged": {"at": "20 cm", "opened": "60 deg", "strip": "0 cm"}},
                   {"open": (0.1, 0.5, 0.02, 0.08), "flap": (0.1, 0.5, 0.12, 0.18)}),
        "sliding": ({"sliding": {"overlap": "4 cm", "opened": "12 cm"}},
                    {"open": (0.50, 0.59, 0.02, 0.28), "pane": (0.34, 0.45, 0.02, 0.28), "both": (0.18, 0.31, 0.02, 0.28)}),
    }  # fmt: skip
    air, glass = (1.0, 0.0, 0.0), (n, a, 0.004)
    exact = {
        "open": 1.0,
        "pane": slab_transmittance(n, a, 0.004, 0.0),
        "flap": slab_transmittance(n, a, 0.004, math.radians(60)),
        "both": through_plates(air, glass, air, glass, air),
    }
    assert through_plates(air, glass, air) == pytest.approx(exact["pane"])
    for kind, (lid, places_of) in places.items():
        scene = described(tank=BOX, lid=clean | lid, water={"above_bottom": "5 cm"}, substrate={"depth": "2 cm"})
        _, world, _ = shell_of(scene)
        sent = parallel_light(world, (0.0, 0.0), (0.6, 0.3), 0.7, 10)
        for name, place in places_of.items():
            level_zone(world, name, *place, 0.35)
        for name, value in trace(world, photons_log2=19).zones().items():
            # what comes back from the water and the bed meets the lid once more and falls on the zone again
            agree(value, sent * exact[name], resolves=0.02, slack=0.003 * sent, what=f"{kind} lid: {name}")


def test_on_the_axis_of_a_cylinder_of_water():
    """A point source over the middle: E = I T / (h + d/n)^2 at a depth d under a flat surface of lossless water.

    Refraction near the axis brings a depth d up to d/n. The beam is too narrow to meet the walls.
    """
    outline = tank_outline.cylinder(0.4)
    world = World()
    water = world.medium("water", 1.333)
    black = world.opaque("black", 0.0)
    world.add_mesh("walls", *curtain_round(outline.points[::-1], 0.0, 0.4), black)
    world.add_mesh("floor", *flat(outline.points, 0.0), black)
    world.add_mesh("surface", *flat(outline.points, 0.3), world.interface("surface", 0, water))
    half, h, d = math.radians(12.0), 0.25, 0.3
    world.add_source("lamp", [(0.2, 0.2, 0.3 + h)], ppf=1.0, beam_table=([0.0, half], [1.0, 1.0]))
    world.add_head("middle", (0.2, 0.2, 1e-6), radius=0.01)
    intensity = 1.0 / (2 * math.pi * (1 - math.cos(half)))
    exact = intensity * (1 - normal_reflectance(1.0, 1.333)) / (h + d / 1.333) ** 2
    result = trace(world, photons_log2=18)
    # over a disc of 1 cm the irradiance falls by 3 (r / 2 D)^2, a thousandth, and the aberration is smaller still
    agree(result.heads()["middle"], exact, resolves=0.02, slack=1.5e-3 * exact, what="axis of a cylinder")
    agree(flux_in_all(result), 1 - normal_reflectance(1.0, 1.333), resolves=0.01, slack=1e-4, what="all on the floor")


def flux_in_all(result):
    """Share of the light that the floor takes."""
    floor = next(m for m in result.compiled.meshes if m.name == "floor")
    first = 2 * floor.first_slot
    return flux_of_cells(result, slice(first, first + 2 * len(floor.faces)))


def test_coaxial_discs_across_a_black_cylinder():
    """Configuration factor of two coaxial discs (Howell, A Catalog of Radiation Heat Transfer Configuration Factors, C-41)."""
    outline = tank_outline.cylinder(0.4)
    world = World()
    black = world.opaque("black", 0.0)
    world.add_mesh("walls", *curtain_round(outline.points[::-1], 0.0, 0.5), black)
    world.add_mesh("far end", *flat(outline.points, 0.5, facing_up=False), black)
    world.add_source("disc", [(0.2, 0.2, 0.0)], ppf=1.0, axis=(0, 0, 1.0), half_size=(0.12, 0.0), face=FaceShape.DISC)
    world.add_surface_zone("far end", "far end", area=outline.area, min_up=-2.0)
    result = trace(world, photons_log2=19)
    # the facets' end has the area of a slightly smaller circle
    r1, r2 = 0.12 / 0.5, math.sqrt(outline.area / math.pi) / 0.5
    s = 1 + (1 + r2 * r2) / (r1 * r1)
    exact = 0.5 * (s - math.sqrt(s * s - 4 * (r2 / r1) ** 2))
    agree(flux_in_zone(result, "far end"), exact, resolves=0.01, slack=1e-4 * exact, what="coaxial discs")


def test_furnace_in_a_cylinder():
    """A closed cylinder of rho = .98, half full of lossless water: E_water / E_air = n^2, and the walls absorb all.

    Radiance goes with n^2 (Kirchhoff; Born & Wolf 4.8.1), whatever the shape and however many facets.
    """
    rho, n = 0.98, 1.333
    outline = tank_outline.cylinder(0.4)
    world = World()
    water = world.medium("water", n)
    white = world.opaque("white", rho)
    world.add_mesh("wet", *curtain_round(outline.points[::-1], 0.0, 0.2), white)
    world.add_mesh("wet", *flat(outline.points, 0.0), white, face="floor")
    world.add_mesh("dry", *curtain_round(outline.points[::-1], 0.2, 0.4), white)
    world.add_mesh("dry", *flat(outline.points, 0.4, facing_up=False), white, face="ceiling")
    world.add_mesh("surface", *flat(outline.points, 0.2), world.interface("surface", 0, water))
    for part in ("wet", "dry"):
        world.add_surface_zone(part, part, area=1.0, min_up=-2.0)
    world.add_source("lamp", [(0.2, 0.2, 0.3)], ppf=1.0, beam_exponent=0.0)
    result = trace(world, photons_log2=16)
    agree(flux_of_points(result, 0, 1), 1 / (1 - rho), resolves=0.04, what="furnace in a cylinder: energy")
    dry = flux_of_points(result, 1).value
    difference = scaled(flux_of_points(result, 0, 1, signs=(1.0, -(n**2))), 1 / (n**2 * dry))
    assert abs(difference.value) < 0.025 + 2 * difference.standard_error
    assert difference.standard_error < 0.003
    check_ledger(result)
