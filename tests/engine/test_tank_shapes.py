"""Tanks of every shape, with braces, lids and neighbours: no light leaks, and what has a closed form comes out as it says."""

from __future__ import annotations

import itertools
import math
from copy import deepcopy
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from checking import agree, check_ledger, flux_in_zone, flux_of_cells, flux_of_points, same, scaled, trace
from underlit.lowering.bed import bed_triangles, lower_bed
from underlit.lowering.prisms import curtain_round, flat
from underlit.lowering.scene import lower
from underlit.lowering.shell import lower_shell
from underlit.lowering.world import World
from underlit.run import Aim, trace_plan
from underlit.scene import Scene, SceneError, load_scene, scene_from_dict, tank_outline
from underlit.spectra.media import optical_constants
from underlit.transport.tables import BINS, PACKET, Counter, FaceShape

BOX = {"inside_size": ["60 cm", "30 cm", "36 cm"], "glass_thickness": "6 mm"}
BOW = BOX | {"shape": "bow front", "bow": "6 cm"}
CYLINDER = {"inside_size": ["40 cm", "40 cm", "36 cm"], "shape": "cylinder", "glass_thickness": "6 mm"}
HEXAGON = {"nominal_size": ["48 cm", "42 cm", "40 cm"], "shape": "hexagon"}
CORNER = {"inside_size": ["50 cm", "50 cm", "36 cm"], "shape": "corner", "side_pane": "20 cm"}
BENT = {
    "outline": [["0 cm", "0 cm"], ["60 cm", "0 cm"], ["60 cm", "20 cm"], ["30 cm", "20 cm"], ["30 cm", "45 cm"],
                ["0 cm", "45 cm"]],
    "height": "36 cm",
}  # fmt: skip
GLASS_BRACES = {"euro_brace": {"glass": "clear"}, "brace": [{"at": "20 cm", "glass": "clear"}]}
SHEET = {"behind": "sheet", "colour": "white"}
SHAPES = {
    "bow front": {"tank": BOW},
    "cylinder": {"tank": CYLINDER},
    "hexagon": {"tank": HEXAGON},
    "corner": {"tank": CORNER | {"room_corner": "back right"}},
    "bent outline": {"tank": BENT},
    "framed bow front": {"tank": BOW | {"rim": {}, "back": SHEET, "left": {"behind": "paint", "colour": "black"}}},
    "round with a sheet": {"tank": CYLINDER | {"back": SHEET, "left": SHEET}},
    "glass euro brace": {"tank": CYLINDER | GLASS_BRACES},
    "glass braces in the water": {"tank": BOX | GLASS_BRACES, "water": {"below_rim": "5 mm"}},
    "plastic braces under water": {"tank": BOW | {"euro_brace": {}, "brace": [{"at": "30 cm"}]},
                                   "water": {"below_rim": "0 cm"}},
    "filled to the brim": {"tank": CYLINDER, "water": {"below_rim": "0 cm"}},
    "hardly filled": {"tank": HEXAGON, "water": {"above_bottom": "4 cm"},
                      "substrate": {"front_depth": "2 cm", "back_depth": "7 cm"}},
    "lid on a cylinder": {"tank": CYLINDER, "lid": {}},
    "flap tilted up": {"tank": BOW | {"rim": {}}, "lid": {"hinged": {"at": "15 cm", "opened": "60 deg"}}},
    "flap tilted back": {"tank": BOX, "lid": {"hinged": {"at": "15 cm", "opened": "110 deg"}}},
    "sliding lid": {"tank": CYLINDER, "lid": {"sliding": {"opened": "10 cm"}}},
    "hood over a bow front": {"tank": BOW, "hood": {"height": "30 cm"}},
}  # fmt: skip


def described(**parts: Any) -> dict[str, Any]:
    """A scene with a light 25 cm over the rim."""
    fixture = {"name": "bar", "size": ["24 cm", "6 cm", "1 cm"], "leds": {"rows": 1, "columns": 5},
               "output": {"ppf": "50 umol/s"}, "above_rim": "25 cm"}  # fmt: skip
    plain = {"water": {"below_rim": "3 cm"}, "substrate": {"front_depth": "3 cm", "back_depth": "5 cm"}}
    return {**plain, "fixture": [fixture], **deepcopy(parts)}


def traced(scene: dict[str, Any], photons: int = 1 << 17):
    lowered = lower(scene_from_dict(scene))
    return trace_plan(lowered.plan, aim=Aim(photons=photons, only_budget=True), seed=3)[0]


@pytest.mark.parametrize("name", SHAPES)
def test_no_light_leaks(name):
    """10^5 photons: every quantum has its line in the ledger, no photon is lost, none gets inside a solid."""
    result = traced(described(**SHAPES[name]))
    assert result.ledger_gap() == 0
    assert result.counter(Counter.LOST_PHOTONS) == 0
    assert result.ledger_quanta()["inside_solid"] == 0
    assert result.zones()["whole substrate"].value > 1.0


def shell_of(scene: dict[str, Any]) -> tuple[Scene, World, int]:
    """The tank, its water, lid and substrate without any light: (scene, world, the water's medium)."""
    described_scene = scene_from_dict(scene)
    world = World()
    shell = lower_shell(world, described_scene)
    lower_bed(world, described_scene)
    return described_scene, world, shell.water


@pytest.mark.parametrize("aim", ["edges", "vertices"])
@pytest.mark.parametrize("name", ["cylinder", "bent outline", "glass braces in the water"])
def test_photons_aimed_close_to_edges_and_vertices(name, aim):
    """Paths in the water that pass a thousandth of a micrometre beside the edges and corners of all facets: none lost."""
    scene, world, water = shell_of(described(**SHAPES[name], zone=[]))
    parts = [v[f] for _, _, v, f, _, _ in world._meshes]
    triangles = np.concatenate(parts)
    rng = np.random.default_rng(6)
    n = 1 << 14
    chosen = triangles[rng.integers(0, len(triangles), n)]
    share = rng.uniform(size=(n, 1)) if aim == "edges" else rng.integers(0, 2, (n, 1)).astype(float)
    target = chosen[:, 0] * share + chosen[:, 1] * (1 - share) + 1e-9 * rng.normal(size=(n, 3))
    x, y = np.array(scene.tank.inside_outline.polygon.representative_point().coords[0])
    start = np.array([x, y, 0.2]) + rng.uniform(-0.03, 0.03, (n, 3))
    world.add_source("beams", start, ppf=1.0, axis=target - start, beam_exponent=1e30, medium=water)
    result = trace(world, photons_log2=16)
    assert result.counter(Counter.LOST_PHOTONS) == 0


@pytest.mark.parametrize("shape", [BOW, CYLINDER, HEXAGON, CORNER, BENT], ids=["bow", "round", "six", "five", "bent"])
def test_substrate_and_map_cover_the_outline(shape):
    """Triangles of the bed, and the cells of its map, have the area of the outline; planes only cells wholly inside."""
    scene = scene_from_dict(described(tank=shape, substrate={"depth": "4 cm"}))
    vertices, faces = bed_triangles(scene)
    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    area = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()
    outline = scene.tank.inside_outline
    assert area == pytest.approx(outline.area, rel=1e-9)
    assert set(outline.points) <= {(x, y) for x, y, _ in vertices.tolist()}
    plan = lower(scene).plan
    assert plan.bed_map.open_area.sum() == pytest.approx(outline.area, rel=1e-9)
    planes = plan.planes
    cell = planes.spacing[0] * planes.spacing[1]
    assert set(np.unique(np.round(planes.open_area[-1] / cell, 6))) <= {0.0, 1.0}
    assert 0.7 * outline.area < planes.open_area[-1].sum() < outline.area


def test_a_rectangle_said_as_an_outline_is_the_box():
    """The same tank, said by its corners: the same light on the substrate and at a height."""
    zone = {"name": "half way up", "rectangle": [["5 cm", "5 cm"], ["55 cm", "25 cm"]], "height": "10 cm"}
    corners = [["0 cm", "0 cm"], ["60 cm", "0 cm"], ["60 cm", "30 cm"], ["0 cm", "30 cm"]]
    outline = {"outline": corners, "height": "36 cm", "glass_thickness": "6 mm"}
    box, said = (traced(described(tank=tank, zone=[zone]), 1 << 18).zones() for tank in (BOX, outline))
    for name in ("whole substrate", "half way up"):
        same(said[name], box[name], resolves=0.02, what=f"box said as an outline: {name}")


def test_wood_and_plants_end_at_a_curved_pane():
    """Placed across the panes of a cylinder, everything kept lies inside them, and no light gets into the cut wood."""
    scene = described(tank=CYLINDER)
    scene["stone"] = [{"name": "rock", "shape": "rounded", "size": ["14 cm", "14 cm", "10 cm"], "at": ["8 cm", "8 cm"]}]
    scene["plants"] = [{"name": "stems", "kind": "stems", "rectangle": [["0 cm", "12 cm"], ["12 cm", "40 cm"]],
                        "height": "15 cm", "density": "thin"}]  # fmt: skip
    lowered = lower(scene_from_dict(scene))
    polygon = lowered.scene.tank.inside_outline.polygon
    for mesh in lowered.plan.meshes:
        if mesh.name in ("rock", "stems"):
            assert shapely.contains_xy(polygon, *mesh.vertices[:, :2].T).all(), mesh.name
    assert any("rock" in note and "cut off" in note for note in lowered.plan.notes)
    result = trace_plan(lowered.plan, aim=Aim(photons=1 << 17, only_budget=True), seed=3)[0]
    assert result.counter(Counter.LOST_PHOTONS) == 0
    assert result.ledger_quanta()["inside_solid"] <= 1e-6 * result.photons * PACKET


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
    floor = next(m for m in result.plan.meshes if m.name == "floor")
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
    world.add_mesh("wet", *flat(outline.points, 0.0), white, name="wet floor")
    world.add_mesh("dry", *curtain_round(outline.points[::-1], 0.2, 0.4), white)
    world.add_mesh("dry", *flat(outline.points, 0.4, facing_up=False), white, name="dry ceiling")
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


# -- racks --------------------------------------------------------------------------------------------------------------
def rack_files(folder: Path) -> dict[str, Any]:
    """A tank under a light, and a scene file of a like tank without one, to stand beside it."""
    zone = '[[zone]]\nname = "bed"\nrectangle = [["5 cm", "5 cm"], ["35 cm", "25 cm"]]\nneed = "medium"\n'
    level = '[[zone]]\nname = "half way up"\nrectangle = [["5 cm", "5 cm"], ["35 cm", "25 cm"]]\nheight = "8 cm"\n'
    spot = '[[spot]]\nname = "middle"\nat = ["20 cm", "15 cm"]\nradius = "3 cm"\n'
    tank = '[tank]\ninside_size = ["40 cm", "30 cm", "30 cm"]\nglass_thickness = "5 mm"\n'
    (folder / "other.toml").write_text(tank + '[substrate]\ndepth = "4 cm"\n' + zone + level + spot, encoding="utf-8")
    scene = described(tank={"inside_size": ["40 cm", "30 cm", "30 cm"], "glass_thickness": "5 mm"},
                      substrate={"depth": "4 cm"})  # fmt: skip
    del scene["water"]
    places = [["5 cm", "5 cm"], ["35 cm", "25 cm"]]
    scene["zone"] = [
        {"name": "bed", "rectangle": places},
        {"name": "half way up", "rectangle": places, "height": "8 cm"},
    ]
    return scene


def test_three_tanks_under_one_light(tmp_path):
    """Two like tanks left and right of the one under the middle of the light see the same; nothing is lost anywhere."""
    scene = rack_files(tmp_path)
    scene["rack"] = [
        {"name": "left", "file": "other.toml", "at": ["-45 cm", "0 cm"]},
        {"name": "right", "file": "other.toml", "at": ["45 cm", "0 cm"]},
        {"name": "below", "file": "other.toml", "at": ["0 cm", "3 cm"], "height": "-50 cm"},
    ]
    lowered = lower(scene_from_dict(scene, folder=tmp_path))
    result = trace_plan(lowered.plan, aim=Aim(photons=1 << 19, only_budget=True), seed=3)[0]
    assert result.ledger_gap() == 0
    assert result.counter(Counter.LOST_PHOTONS) == 0
    zones = result.zones()
    names = [f"{tank}{zone}" for tank in ("", "left: ", "right: ", "below: ") for zone in
             ("whole substrate", "bed", "half way up")]  # fmt: skip
    assert list(zones) == names
    for zone in ("whole substrate", "bed", "half way up"):
        same(zones[f"left: {zone}"], zones[f"right: {zone}"], resolves=0.06, what=f"rack: {zone} left and right")
        assert 0 < zones[f"below: {zone}"].value < zones[f"left: {zone}"].value < zones[zone].value
    assert lowered.zone_of(lowered.zones[4]).name == "bed"
    assert result.heads()["left: middle"].value > 0
    assert result.ledger()["left: substrate"] > 0


def test_a_neighbour_is_the_same_wherever_the_frame_is(tmp_path):
    """A lit tank alone, and as the neighbour of a dark one 3 m away: the same light."""
    scene = rack_files(tmp_path)
    lit = lower(scene_from_dict(scene))
    alone = trace_plan(lit.plan, aim=Aim(photons=1 << 18, only_budget=True), seed=3)[0].zones()
    light = ('[[fixture]]\nname = "bar"\nsize = ["24 cm", "6 cm", "1 cm"]\nleds = { rows = 1, columns = 5 }\n'
             'output = { ppf = "50 umol/s" }\nabove_rim = "25 cm"\n')  # fmt: skip
    text = (tmp_path / "other.toml").read_text(encoding="utf-8")
    (tmp_path / "lit.toml").write_text(text + light, encoding="utf-8")
    scene["rack"] = [{"name": "far", "file": "lit.toml", "at": ["3 m", "1 m"], "height": "1 m"}]
    scene["fixture"] = []
    beside = trace_plan(
        lower(scene_from_dict(scene, folder=tmp_path)).plan, aim=Aim(photons=1 << 18, only_budget=True), seed=3
    )[0].zones()
    for zone in ("whole substrate", "bed", "half way up"):
        same(beside[f"far: {zone}"], alone[zone], resolves=0.03, what=f"rack: {zone} of a moved tank")


RACKS = [
    ({"at": ["30 cm", "0 cm"]}, "rack[0].at: stands in the same place as the scene's own tank"),
    ({"at": ["45 cm", "0 cm"], "file": "none.toml"}, "rack[0].file: no such scene file"),
    ({"at": ["0 cm", "0 cm"], "height": "50 cm"}, "the light 'bar' of the scene's own tank cuts into it"),
]


@pytest.mark.parametrize(("place", "message"), RACKS, ids=[m for _, m in RACKS])
def test_racks_that_cannot_be_are_refused(tmp_path, place, message):
    scene = rack_files(tmp_path)
    scene["rack"] = [{"name": "other", "file": "other.toml"} | place]
    with pytest.raises(SceneError) as refused:
        scene_from_dict(scene, folder=tmp_path)
    assert message in str(refused.value)


def test_a_rack_in_a_rack_is_refused(tmp_path):
    """Also one that leads back to itself."""
    rack_files(tmp_path)
    text = (tmp_path / "other.toml").read_text(encoding="utf-8")
    own = '[[rack]]\nname = "again"\nfile = "itself.toml"\nat = ["50 cm", "0 cm"]\n'
    (tmp_path / "itself.toml").write_text(text + own, encoding="utf-8")
    with pytest.raises(SceneError, match="a scene with a rack of its own cannot stand in a rack"):
        load_scene(tmp_path / "itself.toml")
