"""Plantings of very many leaves as instances of a few plants: as much leaf, in the same place, for little memory."""

import copy
import time

import numpy as np
import pytest
import shapely

import underlit
from underlit.lowering.scene import lower
from underlit.lowering.shapes import place, wood
from underlit.lowering.shapes.plants.carpets import carpet
from underlit.lowering.shapes.plants.epiphytes import epiphytes
from underlit.lowering.shapes.plants.grower import Wanted
from underlit.lowering.shapes.plants.instances import TEMPLATES, Beyond
from underlit.lowering.shapes.plants.rosettes import rosettes
from underlit.lowering.shapes.plants.stems import stems
from underlit.lowering.shapes.shape import face_areas
from underlit.scene.aquascape.growth import Form
from underlit.scene.aquascape.plants import FORMS, PlantKind

ZONE = np.array([[0.0, 0.0], [0.6, 0.0], [0.6, 0.3], [0.0, 0.3]])
CORNER = np.array([[0.1, 0.05], [0.5, 0.05], [0.5, 0.15], [0.25, 0.15], [0.25, 0.35], [0.1, 0.35]])
WOOD = place(wood.driftwood(5, 0.45, 0.28, 7), (0.3, 0.15, 0.05))
HEIGHT = {carpet: 0.03, stems: 0.12, rosettes: 0.06}
MAKERS = [
    *((carpet, form) for form in FORMS[PlantKind.CARPET]),
    *((stems, form) for form in FORMS[PlantKind.STEMS]),
    *((rosettes, form) for form in FORMS[PlantKind.ROSETTES]),
]


def slope(x, y):
    return 0.04 + 0.1 * y + 0.004 * np.sin(20 * x)


def instanced(maker, form, outline, index=3.0, seed=1):
    """A planting with a small budget, so that it must be made of instances; a few thousand triangles remain for the edge."""
    wanted = Wanted(HEIGHT[maker], index, triangle_budget=6000, beyond=Beyond.INSTANCES)
    return maker(seed, outline, slope, form, wanted)


def every_leaf(planting):
    """Vertices and faces of the leaf blades, instances written out by their own arithmetic here."""
    parts = [planting.shape.vertices[planting.shape.faces[: planting.leaf_faces]]]
    for c in planting.instances:
        corners = c.template.shape.vertices[c.template.shape.faces[: c.template.leaf_faces]]
        for rotation, scale, origin in zip(c.rotations, c.scales, c.origins, strict=True):
            parts.append(corners @ rotation.T * scale + origin)
    triangles = np.concatenate(parts)
    return triangles.reshape(-1, 3), np.arange(3 * len(triangles)).reshape(-1, 3)


@pytest.mark.parametrize(("maker", "form"), MAKERS, ids=[str(form) for _, form in MAKERS])
@pytest.mark.parametrize("outline", [ZONE, CORNER], ids=["zone", "corner"])
def test_copies_have_the_leaf_area_asked_for_inside_the_outline_and_above_the_ground(maker, form, outline):
    planting = instanced(maker, form, outline)
    vertices, faces = every_leaf(planting)
    area = face_areas(vertices, faces).sum()
    assert planting.leaf_area_m2 == pytest.approx(area, rel=1e-6)
    assert area / shapely.Polygon(outline).area == pytest.approx(3.0, rel=0.06)
    within = shapely.contains_xy(shapely.Polygon(outline).buffer(0.003), vertices[:, 0], vertices[:, 1])
    assert within.all()
    assert (vertices[:, 2] > slope(vertices[:, 0], vertices[:, 1]) - 0.002).all()
    assert len(planting.instances) <= TEMPLATES
    assert len(planting.shape.faces) <= 1.03 * 6000


@pytest.mark.parametrize("form", FORMS[PlantKind.CARPET])
def test_a_carpet_laid_of_patches_is_even(form):
    """Each of eighteen parts of the zone holds its share of the leaf area within a third, at the edge and inside."""
    planting = instanced(carpet, form, ZONE)
    vertices, faces = every_leaf(planting)
    middles, areas = vertices[faces].mean(axis=1), face_areas(vertices, faces)
    shares = np.histogram2d(middles[:, 0], middles[:, 1], [6, 3], [[0, 0.6], [0, 0.3]], weights=areas)[0] / areas.sum()
    assert shares.min() > 0.67 / 18
    assert shares.max() < 1.33 / 18


@pytest.mark.parametrize("form", FORMS[PlantKind.EPIPHYTES])
def test_copies_of_epiphytes_stand_on_the_wood(form):
    planting = epiphytes(1, WOOD, form, Wanted(0.02, 2.0, triangle_budget=1000, beyond=Beyond.INSTANCES), from_z=0.1)
    assert len(planting.instances) > 1
    vertices, faces = every_leaf(planting)
    assert face_areas(vertices, faces).sum() / planting.outline_area_m2 == pytest.approx(2.0, rel=1e-6)
    low, high = WOOD.bounds
    assert (vertices > low - 0.03).all()
    assert (vertices < high + 0.03).all()
    assert vertices[:, 2].min() > 0.09


def test_the_same_seed_gives_the_same_copies():
    first, again = instanced(carpet, Form.ROUND, ZONE), instanced(carpet, Form.ROUND, ZONE)
    for one, two in zip(first.instances, again.instances, strict=True):
        assert one.origins.tobytes() == two.origins.tobytes()
        assert one.rotations.tobytes() == two.rotations.tobytes()
    assert (
        instanced(carpet, Form.ROUND, ZONE, seed=2).instances[0].origins.tobytes()
        != first.instances[0].origins.tobytes()
    )


def test_copies_that_would_reach_through_the_glass_are_cut_there():
    """Moss on wood that touches the pane: no leaf lies in the glass, and the leaf area left is what is told."""
    scene = underlit.scene_from_dict(
        {
            "tank": {"inside_size": ["30 cm", "20 cm", "25 cm"], "glass_thickness": "5 mm"},
            "fixture": [
                {"name": "bar", "size": ["20 cm", "6 cm", "1 cm"], "leds": {"rows": 1, "columns": 4},
                 "output": {"ppf": "9 umol/s"}, "above_rim": "5 cm"}
            ],
            "substrate": {"depth": "2 cm"},
            "wood": [{"name": "root", "shape": "branching", "size": ["30 cm", "20 cm", "18 cm"], "at": ["22 cm", "14 cm"]}],
            "plants": [
                {"name": "moss", "kind": "epiphytes", "form": "moss", "on": "root", "leaf_area": 14.0, "height": "8 mm"}
            ],
        }
    )  # fmt: skip
    lowered = lower(scene)
    moss = lowered.plantings[0]
    assert len(moss.instances) > 1
    vertices = moss.shape.vertices[np.unique(moss.shape.faces)]
    assert vertices.min() > 0
    assert (vertices < scene.tank.inside_m).all()
    assert moss.leaf_area == pytest.approx(moss.shape.area_m2, rel=1e-6)


def test_a_million_leaf_triangles_build_in_seconds_with_little_memory_and_trace():
    """A dense lawn of 1.2 by .6 m: three quarters of a million triangles, kept as a few thousand."""
    lawn = {"name": "lawn", "kind": "carpet", "height": "3 cm", "leaf_area": 5.0,
            "rectangle": [["0 cm", "0 cm"], ["120 cm", "60 cm"]]}  # fmt: skip
    data = {
        "tank": {"inside_size": ["120 cm", "60 cm", "40 cm"], "glass_thickness": "10 mm"},
        "fixture": [
            {"name": "bar", "size": ["110 cm", "20 cm", "2 cm"], "leds": {"rows": 4, "columns": 30},
             "output": {"ppf": "100 umol/s"}, "above_rim": "8 cm"}
        ],
        "plants": [lawn],
    }  # fmt: skip
    started = time.process_time()  # of this process only: others may be at work beside it
    lowered = lower(underlit.scene_from_dict(copy.deepcopy(data)))
    seconds = time.process_time() - started
    grown = lowered.plantings[0]
    assert grown.leaf_area_index == pytest.approx(5.0, rel=0.03)
    assert sum(c.triangles for c in grown.instances) > 750_000
    tables = lowered.compiled.tables
    assert sum(np.asarray(t).nbytes for t in tables) < 60e6
    assert seconds < 30, "a machine may be slow; the benchmark says what it takes"
    found = underlit.trace(lowered, photons=1 << 16, seed=1)
    assert found.result.ledger_gap() == 0
