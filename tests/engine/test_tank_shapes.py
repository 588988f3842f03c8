"""Tanks of every shape, with braces and lids: no light leaks, and substrate, map, wood and plants end at the panes."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shaped_tanks import BENT, BOW, BOX, CORNER, CYLINDER, HEXAGON, described, shell_of, traced

from checking import same, trace
from underlit.lowering.aquascape.bed import bed_triangles
from underlit.lowering.scene import lower
from underlit.run import StoppingRule, trace_compiled
from underlit.scene import SceneError, scene_from_dict
from underlit.transport.tables import PACKET, Counter

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


@pytest.mark.parametrize("name", SHAPES)
def test_no_light_leaks(name):
    """10^5 photons: every quantum has its line in the ledger, no photon is lost, none gets inside a solid."""
    result = traced(described(**SHAPES[name]))
    assert result.ledger_gap() == 0
    assert result.counter(Counter.LOST_PHOTONS) == 0
    assert result.ledger_quanta()["inside_solid"] == 0
    assert result.zones()["whole substrate"].value > 1.0


@pytest.mark.parametrize("aim", ["edges", "vertices"])
@pytest.mark.parametrize("name", ["cylinder", "bent outline", "glass braces in the water"])
def test_photons_aimed_close_to_edges_and_vertices(name, aim):
    """Paths in the water that pass a thousandth of a micrometre beside the edges and corners of all facets: none lost."""
    scene, world, water = shell_of(described(**SHAPES[name], zone=[]))
    parts = [mesh.vertices[mesh.faces] for mesh in world.contents.meshes]
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
    compiled = lower(scene).compiled
    assert compiled.bed_map.open_area.sum() == pytest.approx(outline.area, rel=1e-9)
    planes = compiled.planes
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
    for mesh in lowered.compiled.meshes:
        if mesh.name in ("rock", "stems"):
            assert shapely.contains_xy(polygon, *mesh.vertices[:, :2].T).all(), mesh.name
    assert any("rock" in said and "cut off" in said for said in lowered.compiled.cautions)
    result = trace_compiled(lowered.compiled, rule=StoppingRule(photons=1 << 17, only_budget=True), seed=3)[0]
    assert result.counter(Counter.LOST_PHOTONS) == 0
    assert result.ledger_quanta()["inside_solid"] <= 1e-6 * result.photons * PACKET


def test_a_light_across_a_round_rim_lies_on_it():
    """Said to hang at the rim's height, it is raised to lie on the glass instead of in its plane."""
    scene = described(tank=CYLINDER)
    scene["fixture"][0] |= {"size": ["30 cm", "35 cm", "1 cm"], "above_rim": "0 cm"}
    lowered = lower(scene_from_dict(scene))
    assert any("raised 2.0 mm" in note for note in lowered.compiled.notes)
    body = next(m for m in lowered.compiled.meshes if m.name == "bar")
    assert body.vertices[:, 2].min() == pytest.approx(0.362)


@st.composite
def outlines(draw: st.DrawFn) -> list[list[str]]:
    """Corners round a middle at random distances: star-shaped, mostly not convex."""
    count = draw(st.integers(3, 12))
    turns = 2 * np.pi * (np.arange(count) + np.array([draw(st.floats(0.0, 0.6)) for _ in range(count)])) / count
    reach = np.array([draw(st.floats(0.12, 0.3)) for _ in range(count)])
    points = np.column_stack([reach * np.cos(turns), reach * np.sin(turns)])
    points -= points.min(axis=0)
    return [[f"{100 * x:.3f} cm", f"{100 * y:.3f} cm"] for x, y in points]


@settings(max_examples=12, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck), database=None)
@given(outlines(), st.booleans(), st.floats(1.0, 20.0))
def test_no_light_leaks_from_any_outline(corners, braced, below_rim):
    """Random outlines, some with a glass strip round the top, filled to any height: all light is accounted for."""
    tank = {"outline": corners, "height": "30 cm", "glass_thickness": "4 mm"}
    if braced:
        tank["euro_brace"] = {"glass": "clear", "width": "1 cm", "thickness": "4 cm"}
    try:
        result = traced(described(tank=tank, water={"below_rim": f"{below_rim:.2f} cm"}), photons=1 << 16)
    except SceneError as refused:
        assert "thicker" in str(refused) or "too sharp" in str(refused) or "covers the whole" in str(refused)  # noqa: PT017
        return
    assert result.ledger_gap() == 0
    assert result.counter(Counter.LOST_PHOTONS) == 0
