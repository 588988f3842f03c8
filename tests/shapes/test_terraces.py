"""Terraces: where their soil lies, that no light gets under it, and that what is planted or set there follows."""

import copy

import numpy as np
import pytest
import trimesh
from shapely import MultiPoint, Polygon, contains_xy

import underlit
from underlit.lowering.records import Role
from underlit.lowering.scene import lower
from underlit.lowering.shapes.shape import face_areas
from underlit.scene.reader.errors import SceneError

LEVEL = 0.09
TERRACE = {"outline": [["20 cm", "25 cm"], ["20 cm", "14 cm"], ["30 cm", "9 cm"], ["45 cm", "9 cm"], ["45 cm", "25 cm"]],
           "height": "9 cm", "edge": "1 cm", "edge_above": "5 mm"}  # fmt: skip
OUTLINE = [(0.20, 0.25), (0.20, 0.14), (0.30, 0.09), (0.45, 0.09), (0.45, 0.25)]
TANK = {
    "tank": {"inside_size": ["45 cm", "25 cm", "30 cm"], "glass_thickness": "6 mm"},
    "substrate": {
        "heights": {"unit": "cm", "rows": np.linspace(3, 5, 26)[:, None].repeat(46, axis=1).tolist()},
        "terrace": [TERRACE],
    },
    "fixture": [
        {
            "name": "bar", "size": ["40 cm", "8 cm", "2 cm"], "leds": {"rows": 2, "columns": 12},
            "output": {"ppf": "40 umol/s"}, "above_rim": "6 cm",
        }
    ],
    "stone": [
        {
            "name": "rock", "shape": "rounded", "size": ["6 cm", "5 cm", "5 cm"], "at": ["38 cm", "18 cm"],
            "sunk": "1 cm",
        }
    ],
    "plants": [
        {"name": "lawn", "kind": "carpet", "rectangle": [["25 cm", "16 cm"], ["33 cm", "23 cm"]], "height": "2 cm"}
    ],
    "zone": [
        {"name": "up", "rectangle": [["31 cm", "10 cm"], ["44 cm", "14 cm"]]},
        {"name": "all of it", "outline": TERRACE["outline"]},
    ],
    "spot": [{"name": "over it", "at": ["40 cm", "12 cm"], "above_substrate": "3 cm"}],
}  # fmt: skip


def scene(**changes: object):
    return underlit.scene_from_dict({**copy.deepcopy(TANK), **changes})


@pytest.fixture(scope="module")
def traced():
    return underlit.trace(scene(), photons=1 << 19, seed=1)


def test_what_stands_on_a_terrace_follows_it():
    made = scene()
    assert made.spot_centre_m(made.spots[0])[2] == pytest.approx(LEVEL + 0.03)
    assert float(made.bed_heights_m(np.array(0.1), np.array(0.2))) < 0.05
    lowered = lower(made)
    lawn = lowered.plantings[0]
    assert lawn.shape.vertices[:, 2].min() > LEVEL
    assert lawn.top < LEVEL + 0.03
    rock = next(m for m in lowered.compiled.meshes if m.name == "rock")
    assert rock.vertices[:, 2].min() == pytest.approx(LEVEL - 0.01, abs=1e-9)


def test_the_edge_runs_along_the_outline_but_not_along_panes_and_holds_the_soil():
    lowered = lower(scene())
    edge = next(m for m in lowered.compiled.meshes if m.name.startswith("edge of terrace"))
    low, high = edge.vertices.min(axis=0), edge.vertices.max(axis=0)
    assert high[2] == pytest.approx(LEVEL + 0.005)
    assert low[2] < 1e-3
    assert low[0] == pytest.approx(0.195, abs=1e-3)
    assert high[:2] == pytest.approx([0.45, 0.25], abs=1e-3)
    along_back = (edge.vertices[:, 1] > 0.249).sum() and edge.vertices[edge.vertices[:, 1] > 0.249, 0].max()
    assert along_back < 0.21


def test_open_area_is_the_soil_without_its_edge(traced):
    """The outline has 25 by 16 cm less a corner of 10 by 5 cm halved; half the edge's thickness lies inside it."""
    areas = {z.name: z.area for z in traced.result.compiled.zones}
    assert areas["up"] == pytest.approx(0.13 * 0.04, rel=0.06)
    whole = 0.25 * 0.16 - 0.5 * 0.10 * 0.05
    inner = 0.005 * (0.15 + np.hypot(0.10, 0.05) + 0.11)
    rock = next(m for m in traced.result.compiled.meshes if m.name == "rock")
    in_the_soil = trimesh.Trimesh(rock.vertices, rock.faces, process=False).section([0, 0, 1], [0, 0, LEVEL])
    assert areas["all of it"] == pytest.approx(
        whole - inner - MultiPoint(in_the_soil.vertices).convex_hull.area, rel=0.02
    )


def test_no_soil_lies_under_a_terrace_to_be_lit_through_the_panes(traced):
    result = traced.result
    bed = next(m for m in result.compiled.meshes if m.name == "substrate")
    middle, area = bed.vertices[bed.faces].mean(axis=1), face_areas(bed.vertices, bed.faces)
    covered = Polygon(OUTLINE).area
    assert area.sum() == pytest.approx((0.45 * 0.25 - covered) * np.hypot(1, 0.02 / 0.25), rel=0.03)
    under = contains_xy(Polygon(OUTLINE).buffer(-0.003), middle[:, 0], middle[:, 1])
    assert area[under].sum() < 1e-6
    assert result.faces("substrate").value[~under, 0].min() >= 0
    assert result.ledger_gap() == 0


def test_the_terrace_is_nearer_to_the_light(traced):
    flat = copy.deepcopy(TANK)
    del flat["substrate"]["terrace"]
    below = underlit.trace(underlit.scene_from_dict(flat), photons=1 << 18, seed=1)
    up, down = (t.result.zones()["up"] for t in (traced, below))
    assert up.value > 1.1 * down.value
    assert traced.result.bed().value[12, 40] == pytest.approx(up.value, rel=0.35)


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"outline": None}, "outline, rectangle or circle"),
        ({"height": "31 cm"}, "reaches the rim"),
        ({"edge": "1 mm"}, "2 mm"),
    ],
)
def test_terraces_that_cannot_be(changes, word):
    terrace = {k: v for k, v in {**TERRACE, **changes}.items() if v is not None}
    with pytest.raises(SceneError, match=word):
        scene(substrate={"depth": "3 cm", "terrace": [terrace]})


def test_terraces_of_another_tank_of_the_rack_are_not_drawn_by_the_map_of_this_one(tmp_path):
    (tmp_path / "beside.toml").write_text(
        """[tank]
inside_size = ["45 cm", "25 cm", "30 cm"]
glass_thickness = "6 mm"
[substrate]
depth = "3 cm"
[[substrate.terrace]]
rectangle = [["20 cm", "10 cm"], ["45 cm", "25 cm"]]
height = "8 cm"
""",
        encoding="utf-8",
    )
    beside = {"name": "beside", "file": str(tmp_path / "beside.toml"), "at": ["60 cm", "0 cm"]}
    compiled = lower(scene(rack=[beside])).compiled
    beds = [m for m in compiled.meshes if m.role is Role.BED]
    assert all(compiled.is_mapped(bed) for bed in beds)
    for tank, before in enumerate(("", "beside: ")):
        names = [bed.name for bed in beds if bed.part.tank == tank]
        assert sorted(names) == [f"{before}substrate", f"{before}substrate, terrace 1"]
