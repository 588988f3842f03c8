"""What a scene says of its plants is what grows: form, leaf sizes, spacing, place on the wood, age, trimming."""

import copy

import numpy as np
import pytest

import underlit
from underlit.lowering.aquascape.plants import Grown
from underlit.lowering.scene import lower
from underlit.scene.aquascape.growth import GROWTH, Form
from underlit.scene.aquascape.plants import FORMS, PlantKind
from underlit.scene.reader.errors import SceneError

PLACE = {"rectangle": [["6 cm", "4 cm"], ["26 cm", "16 cm"]]}
HEIGHTS = {
    Form.ROUND: "2 cm", Form.GRASS: "4 cm", Form.CLOVER: "3 cm", Form.OPPOSITE: "15 cm", Form.WHORL: "15 cm",
    Form.FINE: "15 cm", Form.LOW: "4 cm", Form.BROAD: "10 cm", Form.RIBBON: "20 cm",
}  # fmt: skip
TANK = {
    "added_co2": True,
    "tank": {"inside_size": ["45 cm", "25 cm", "30 cm"], "glass_thickness": "6 mm"},
    "substrate": {"front_depth": "3 cm", "back_depth": "5 cm"},
    "fixture": [{"name": "bar", "size": ["40 cm", "8 cm", "2 cm"], "leds": {"rows": 1, "columns": 8},
         "output": {"ppf": "40 umol/s"}, "above_rim": "8 cm"}],
    "wood": [
        {
            "name": "root", "shape": "branching", "size": ["26 cm", "12 cm", "14 cm"], "at": ["22 cm", "13 cm"],
            "seed": 3,
        }
    ],
}  # fmt: skip
ALL_FORMS = [(kind, form) for kind, forms in FORMS.items() for form in forms]


def group(kind: PlantKind, form: Form, **keys: object) -> Grown:
    """One planting of a scene, lowered."""
    plants: dict[str, object] = {"name": "group", "kind": str(kind), "form": str(form), "seed": 4, **keys}
    if kind is PlantKind.EPIPHYTES:
        plants["on"] = "root"
    elif "rectangle" not in plants:
        plants |= PLACE
    if form in HEIGHTS:
        plants.setdefault("height", HEIGHTS[form])
    scene = underlit.scene_from_dict({**copy.deepcopy(TANK), "plants": [plants]})
    return lower(scene).plantings[0]


def blades(grown: Grown, per_leaf: int) -> np.ndarray:
    """(n, f, 3, 3) [m]: triangles of each leaf, stalks left out."""
    assert grown.own is not None
    faces = grown.own.faces[: grown.leaves * per_leaf]
    return grown.own.vertices[faces].reshape(-1, per_leaf, 3, 3)


@pytest.mark.parametrize(("kind", "form"), ALL_FORMS, ids=[form for _, form in ALL_FORMS])
def test_every_form_grows_and_forms_of_a_kind_differ(kind, form):
    grown = group(kind, form)
    assert grown.leaf_area > 0
    other = next(f for f in FORMS[kind] if f is not form)
    assert group(kind, other).leaves != grown.leaves


@pytest.mark.parametrize(
    ("kind", "form"), [p for p in ALL_FORMS if p[0] is not PlantKind.FLOATING], ids=lambda value: str(value)
)
@pytest.mark.parametrize("asked", [1.0, 2.5])
def test_leaf_area_index_is_measured_on_the_mesh_and_as_asked(kind, form, asked):
    """Measured anew here: all triangles but the stalks', over the area of the rectangle, 20 by 12 cm."""
    grown = group(kind, form, leaf_area=asked)
    assert grown.leaf_area_index == pytest.approx(asked, rel=0.04)
    area = grown.area_m2 if kind is PlantKind.EPIPHYTES else 0.2 * 0.12
    assert grown.leaf_area == pytest.approx(grown.leaf_area_index * area, rel=1e-6)
    all_leaves = grown.shape.area_m2
    assert grown.leaf_area <= all_leaves * (1 + 1e-9)
    if kind in (PlantKind.CARPET, PlantKind.ROSETTES):
        assert grown.leaf_area == pytest.approx(all_leaves, rel=1e-9)


def test_leaf_area_that_cannot_be_grown_is_told():
    """Stems taller than the tank are cut off at the lid: their leaf area is missing, and a note says so."""
    plants = {"name": "tall", "kind": "stems", "height": "40 cm", "leaf_area": 3.0, **PLACE}
    lowered = lower(underlit.scene_from_dict({**copy.deepcopy(TANK), "lid": {}, "plants": [plants]}))
    found = lowered.plantings[0].leaf_area_index
    assert found < 2.7
    assert any("leaf area index" in note and f"{found:.2f}" in note for note in lowered.compiled.notes)


def test_leaf_sizes_of_stems():
    """Length and width of leaves from their corners; grown leaves are the size asked for, those at the tip smaller."""
    for length, width in (("2 cm", "6 mm"), ("5 cm", "12 mm")):
        grown = group(PlantKind.STEMS, Form.WHORL, leaf_length=length, leaf_width=width, leaf_area=1.5)
        leaf = blades(grown, 4)
        corners = leaf.reshape(len(leaf), -1, 3)
        extent = np.linalg.norm(corners[:, :, None] - corners[:, None], axis=3).max(axis=(1, 2))
        assert np.quantile(extent, 0.9) == pytest.approx(float(length.split()[0]) / 100, rel=0.2)


@pytest.mark.parametrize("form", [Form.LOW, Form.BROAD, Form.RIBBON])
def test_long_leaves_of_rosettes_spread_and_keep_the_height(form):
    short = group(PlantKind.ROSETTES, form, height="8 cm", spacing="9 cm", leaf_length="8 cm")
    long = group(PlantKind.ROSETTES, form, height="8 cm", spacing="9 cm", leaf_length="14 cm")
    bed = 0.03 + 0.02 * 16 / 25
    assert short.top - bed < 0.1
    assert long.top - bed < 0.1
    assert long.leaf_area > 1.3 * short.leaf_area


def test_spacing_sets_the_number_of_plants():
    assert group(PlantKind.STEMS, Form.OPPOSITE, spacing="2 cm").plants == 60
    assert group(PlantKind.ROSETTES, Form.LOW, spacing="4 cm").plants == 15
    near, far = (group(PlantKind.EPIPHYTES, Form.MOSS, spacing=s) for s in ("4 mm", "8 mm"))
    assert near.plants == pytest.approx(4 * far.plants, rel=0.05)


def test_floating_leaves_have_the_diameter_asked_for():
    small, large = (group(PlantKind.FLOATING, Form.PADS, cover=0.4, leaf_length=d) for d in ("1 cm", "3 cm"))
    assert small.leaves == pytest.approx(9 * large.leaves, rel=0.25)
    assert small.cover == pytest.approx(0.4, rel=0.05)


def test_epiphytes_are_tied_where_asked():
    low = group(PlantKind.EPIPHYTES, Form.THICK_LEAVES, tied_below="9 cm", height="3 cm")
    high = group(PlantKind.EPIPHYTES, Form.THICK_LEAVES, tied_above="11 cm", height="3 cm")
    assert low.shape.vertices[:, 2].max() < 0.09 + 0.045
    assert high.shape.vertices[:, 2].min() > 0.11 - 0.02
    left = group(PlantKind.EPIPHYTES, Form.MOSS, rectangle=[["5 cm", "2 cm"], ["20 cm", "24 cm"]])
    assert left.shape.vertices[:, 0].max() < 0.20 + 0.015


def test_stems_drift_under_the_surface():
    grown = group(PlantKind.STEMS, Form.WHORL, floats=True, leaf_area=1.0, height="10 cm")
    level = underlit.scene_from_dict(copy.deepcopy(TANK)).water_level_m
    assert grown.top < level
    assert grown.shape.vertices[:, 2].min() > level - 0.07
    assert grown.leaf_area_index == pytest.approx(1.0, rel=0.15)


@pytest.mark.parametrize("form", [Form.OPPOSITE, Form.WHORL])
def test_six_weeks_on_stems_are_taller_by_the_stated_rate_with_leaf_area_in_proportion(form):
    before = group(PlantKind.STEMS, form, height="8 cm", leaf_area=1.0)
    after = group(PlantKind.STEMS, form, height="8 cm", leaf_area=1.0, grown="3 weeks", grows_per_week="2 cm")
    assert after.height == pytest.approx(0.14)
    assert after.leaf_area_index == pytest.approx(before.leaf_area_index * 14 / 8, rel=0.03)
    cut = group(PlantKind.STEMS, form, height="14 cm", leaf_area=1.75, trimmed_to="8 cm")
    assert cut.leaf_area_index == pytest.approx(1.0, rel=0.03)


def test_growing_stops_at_the_surface_and_cover_at_its_fullest():
    stems = group(PlantKind.STEMS, Form.OPPOSITE, height="8 cm", leaf_area=0.5, grown="52 weeks")
    water = underlit.scene_from_dict(copy.deepcopy(TANK)).water_level_m
    assert stems.height == pytest.approx(water - 0.03)
    cover = group(PlantKind.FLOATING, Form.DUCKWEED, cover=0.1, grown="5 days", doubles_in="5 days")
    assert cover.cover == pytest.approx(0.2, rel=0.03)
    full = group(PlantKind.FLOATING, Form.DUCKWEED, cover=0.1, grown="10 weeks")
    assert full.cover == pytest.approx(GROWTH[Form.DUCKWEED].fullest, rel=0.03)


def test_without_added_co2_growth_is_half():
    keys = {"name": "moss", "kind": "carpet", "height": "2 cm", "leaf_area": 0.5, "grown": "3 weeks", **PLACE}
    found = []
    for co2 in (True, False):
        scene = underlit.scene_from_dict({**copy.deepcopy(TANK), "added_co2": co2, "plants": [keys]})
        found.append(lower(scene).plantings[0].leaf_area_index)
    assert found[0] == pytest.approx(1.0, rel=0.03)
    assert found[1] == pytest.approx(0.5 * 2**0.5, rel=0.03)


@pytest.mark.parametrize(
    ("keys", "word"),
    [
        ({"kind": "carpet", "form": "ribbon", "height": "2 cm"}, '"round" or "grass" or "clover"'),
        ({"kind": "carpet", "height": "2 cm", "spacing": "2 cm"}, "give density"),
        (
            {"kind": "stems", "height": "9 cm", "spacing": "2 cm", "leaf_area": 1.0},
            r"given twice \(leaf_area, spacing\): remove one",
        ),
        ({"kind": "stems", "height": "9 cm", "tied_above": "2 cm"}, "only epiphytes"),
        ({"kind": "stems", "height": "9 cm", "doubles_in": "2 weeks"}, "give grows_per_week"),
        ({"kind": "rosettes", "height": "9 cm", "leaf_length": "4 cm"}, "at least as long"),
        ({"kind": "floating", "height": "9 cm"}, "no height"),
        ({"kind": "floating", "trimmed_to": "9 cm"}, "thinned by cover"),
        ({"kind": "carpet", "form": "grass", "height": "4 cm", "leaf_length": "4 cm"}, "as long as the carpet"),
        ({"kind": "carpet", "height": "2 cm", "grown": "6 months"}, "weeks"),
        ({"kind": "carpet", "height": "2 cm", "floats": True}, "only stems can float"),
        ({"kind": "carpet", "height": "2 cm", "band": [40, 20]}, "low less than high"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(keys, word):
    with pytest.raises(SceneError, match=word):
        underlit.scene_from_dict({**copy.deepcopy(TANK), "plants": [{"name": "group", **PLACE, **keys}]})
