"""Tanks of other shapes than a box: outlines against plane geometry, what a file may say, what is refused."""

from __future__ import annotations

import math
from copy import deepcopy
from typing import Any

import numpy as np
import pytest

from underlit.scene import SceneError, json_schema, scene_from_dict
from underlit.scene.common import HAIR
from underlit.scene.tank import outline as tank_outline
from underlit.scene.tank.tank import Tank

FIXTURE = {
    "name": "bar",
    "size": ["20 cm", "6 cm", "1 cm"],
    "leds": {"rows": 1, "columns": 4},
    "output": {"ppf": "40 umol/s"},
    "above_rim": "30 cm",
}
BOW = {"inside_size": ["60 cm", "30 cm", "36 cm"], "shape": "bow front", "bow": "6 cm"}
CYLINDER = {"inside_size": ["40 cm", "40 cm", "36 cm"], "shape": "cylinder"}
HEXAGON = {"inside_size": ["46 cm", "40 cm", "36 cm"], "shape": "hexagon"}
CORNER = {"inside_size": ["50 cm", "45 cm", "36 cm"], "shape": "corner", "side_pane": "20 cm"}
BENT = {
    "outline": [["0 cm", "0 cm"], ["60 cm", "0 cm"], ["60 cm", "20 cm"], ["25 cm", "20 cm"], ["25 cm", "45 cm"],
                ["0 cm", "45 cm"]],
    "height": "36 cm",
}  # fmt: skip
SLOTTED = BENT | {
    "outline": [["0 cm", "0 cm"], ["40 cm", "0 cm"], ["40 cm", "30 cm"], ["21 cm", "30 cm"], ["21 cm", "10 cm"],
                ["20 cm", "10 cm"], ["20 cm", "30 cm"], ["0 cm", "30 cm"]],
    "glass_thickness": "6 mm",
}  # fmt: skip


def scene_with(tank: dict[str, Any], **parts: Any) -> dict[str, Any]:
    return {"tank": deepcopy(tank), "water": {"below_rim": "3 cm"}, "fixture": [deepcopy(FIXTURE)], **parts}


def outline_of(tank: dict[str, Any]) -> tank_outline.TankOutline:
    return scene_from_dict(scene_with(tank)).tank.inside_outline


def test_a_cylinder_holds_the_area_of_its_circle() -> None:
    """Facets lie inside the circle, at most .01 mm off it: less than .01 % of the area is missing."""
    outline = outline_of(CYLINDER)
    circle = math.pi * 0.2**2
    assert 0.9999 * circle < outline.area < circle
    assert outline.size == (0.4, 0.4)
    assert [len(outline.edges(side)) for side in tank_outline.UPRIGHT_SIDES] == [len(outline.points) // 4] * 4


@pytest.mark.parametrize("radius", [0.05, 0.2, 1.0, 4.0])
def test_facets_lie_within_a_hundredth_of_a_millimetre_of_the_arc(radius: float) -> None:
    """Sagitta of a chord, R (1 - cos(half its angle)); one facet less would be too few."""
    count = tank_outline.facets_for(radius, 2 * math.pi)
    sagitta = [radius * (1 - math.cos(math.pi / n)) for n in (count, count - 1)]
    assert sagitta[0] <= tank_outline.SAGITTA_M * (1 + 1e-9) < sagitta[1]


def test_a_bow_front_is_a_box_and_a_circular_segment() -> None:
    """Area of the segment R^2 (a - sin a cos a), its height the bow, its chord the length."""
    outline = outline_of(BOW)
    radius = 0.6**2 / (8 * 0.06) + 0.06 / 2
    half = math.asin(0.3 / radius)
    segment = radius**2 * (half - math.sin(half) * math.cos(half))
    assert outline.area == pytest.approx(0.6 * 0.24 + segment, rel=1e-4)
    assert outline.area < 0.6 * 0.24 + segment
    assert min(y for _, y in outline.points) == 0.0
    assert (0.0, 0.06) in outline.points
    assert (0.6, 0.06) in outline.points


def test_hexagon_and_corner_have_their_areas() -> None:
    assert outline_of(HEXAGON).area == pytest.approx(0.75 * 0.46 * 0.40)
    cut = 0.5 * (0.5 - 0.2) * (0.45 - 0.2)
    assert outline_of(CORNER).area == pytest.approx(0.5 * 0.45 - cut)
    mirrored = outline_of(CORNER | {"room_corner": "back right"})
    assert mirrored.area == pytest.approx(outline_of(CORNER).area)
    assert mirrored.holds(0.49, 0.01)
    assert not mirrored.holds(0.01, 0.01)


@pytest.mark.parametrize("tank", [BOW, CYLINDER, HEXAGON, CORNER, BENT])
def test_every_pane_looks_out_and_has_its_thickness(tank: dict[str, Any]) -> None:
    """Counter-clockwise, and each outer edge lies a glass thickness beyond its inner one."""
    made = scene_from_dict(scene_with(tank | {"glass_thickness": "8 mm"})).tank
    inside, outside = made.inside_outline, made.outside_outline
    assert inside.area > 0
    for i, (x, y) in enumerate(inside.points):
        nx, ny = inside.normal(i)
        ox, oy = outside.points[i]
        assert (ox - x) * nx + (oy - y) * ny == pytest.approx(0.008, abs=1e-12)
        side = {"front": (0, -1), "back": (0, 1), "left": (-1, 0), "right": (1, 0)}[inside.sides[i]]
        assert nx * side[0] + ny * side[1] > 0


def test_a_nominal_hexagon_is_smaller_inside_by_its_glass() -> None:
    """A regular one stays regular: the panes move in by their thickness, the corners by 2/sqrt 3 of it."""
    tank = {"nominal_size": ["48 cm", "41.569219 cm", "40 cm"], "shape": "hexagon", "glass_thickness": "6 mm"}
    outline = outline_of(tank)
    length, depth = outline.size
    assert depth == pytest.approx(0.41569219 - 0.012)
    assert depth / length == pytest.approx(math.sqrt(3) / 2, rel=1e-6)


def test_a_strip_taken_off_a_bow_front_leaves_parallel_sides() -> None:
    """Wider than its end facets, so that those vanish; what is left lies the strip's width off every pane."""
    outline = outline_of(BOW)
    left = outline.inset(0.05)
    assert outline.polygon.exterior.distance(left) == pytest.approx(0.05, abs=1e-9)
    corners = np.asarray(left.exterior.coords)
    assert corners[:, 0].min() == pytest.approx(0.05)
    assert corners[:, 1].max() == pytest.approx(0.25)
    assert outline_of(CYLINDER).inset(0.2).is_empty


def test_an_outline_may_run_either_way_round() -> None:
    """The same tank clockwise; the panes keep their sides."""
    turned = BENT | {"outline": BENT["outline"][::-1]}
    assert outline_of(turned).area == pytest.approx(outline_of(BENT).area)
    assert sorted(outline_of(turned).sides) == sorted(outline_of(BENT).sides)


REFUSED = [
    (BOW | {"bow": "40 cm"}, "tank.bow: a bow can be at most half"),
    ({k: v for k, v in BOW.items() if k != "bow"}, "tank.bow: the bow is missing"),
    (BOW | {"shape": "box"}, 'only shape = "bow front" has this key'),
    (CYLINDER | {"inside_size": ["40 cm", "41 cm", "36 cm"]}, "give its diameter for both"),
    (CORNER | {"side_pane": "46 cm"}, "tank.side_pane: the short panes must be narrower than the long ones"),
    (BENT | {"shape": "hexagon"}, "tank.shape: the shape of the tank is given twice"),
    ({"outline": BENT["outline"]}, "tank.outline: needs height as well"),
    (BENT | {"outline": BENT["outline"][:2]}, "at least three points"),
    (BENT | {"outline": [["0 cm", "0 cm"], ["9 cm", "9 cm"], ["9 cm", "0 cm"], ["0 cm", "9 cm"]]}, "crosses or touches itself"),
    (BENT | {"outline": [["1 cm", "0 cm"], ["9 cm", "0 cm"], ["9 cm", "9 cm"]]}, "must begin at 0"),
    (BENT | {"outline": [["0 cm", "0 cm"], ["9 cm", "0 cm"], ["9 cm", "0 cm"], ["0 cm", "9 cm"]]}, "each corner only once"),
    (SLOTTED, "tank.glass_thickness: the panes are too thick: thicker than one of them is wide"),
    (HEXAGON | {"shape": "hexagonal"}, "hexagon"),
    (CYLINDER | {"euro_brace": {"width": "20 cm"}}, "tank.euro_brace.width: the brace covers the whole tank"),
    (CYLINDER | {"rim": {"covers": "20 cm"}}, "tank.rim.covers: the rim covers the whole tank"),
]  # fmt: skip


@pytest.mark.parametrize(("tank", "message"), REFUSED, ids=[m for _, m in REFUSED])
def test_tanks_that_cannot_be_are_refused_in_one_line(tank: dict[str, Any], message: str) -> None:
    with pytest.raises(SceneError) as refused:
        scene_from_dict(scene_with(tank))
    lines = str(refused.value).splitlines()
    assert len(lines) == 1
    assert message in lines[0]


PLACES = [
    ({"spot": [{"name": "s", "at": ["2 cm", "2 cm"]}]}, "spot[0].at: lies completely outside the tank"),
    ({"zone": [{"name": "z", "rectangle": [["0 cm", "0 cm"], ["3 cm", "3 cm"]]}]}, "zone[0].rectangle: lies completely outside"),
    ({"stone": [{"name": "r", "shape": "rounded", "size": ["3 cm"] * 3, "at": ["1 cm", "1 cm"]}]},
     "stone[0].at: stands completely outside"),
    ({"fixture": [FIXTURE | {"above_rim": "-2 cm", "position": ["6 cm", "20 cm"]}]}, "cuts through a pane"),
    ({"lid": {"sliding": {"opened": "25 cm"}}}, "lid.sliding.opened: must be at most 19.0 cm"),
    ({"lid": {"hinged": {"at": "50 cm"}}}, "lid.hinged.at: the hinge lies outside"),
    ({"lid": {"hinged": {"at": "15 cm", "opened": "130 deg"}}}, "lid.hinged.opened: must be at most"),
    ({"lid": {"sliding": {}, "hinged": {"at": "15 cm"}}}, "given twice (sliding, hinged)"),
    ({"lid": {"hinged": {"at": "15 cm", "opened": "60 deg"}},
      "fixture": [FIXTURE | {"above_rim": "5 cm", "position": ["20 cm", "10 cm"]}]}, "the opened flap of the lid touches"),
    ({"water": {"above_bottom": "6 cm"}, "substrate": {"depth": "6 cm"}}, "ends exactly on the level substrate"),
]  # fmt: skip


@pytest.mark.parametrize(("parts", "message"), PLACES, ids=[m for _, m in PLACES])
def test_places_outside_a_round_tank_are_refused(parts: dict[str, Any], message: str) -> None:
    """Inside the rectangle round the cylinder, but outside its panes; and lids that cannot be opened so."""
    with pytest.raises(SceneError) as refused:
        scene_from_dict(scene_with(CYLINDER) | parts)
    assert message in str(refused.value)


def test_the_schema_describes_the_shape_keys() -> None:
    """Editors show what each key is."""
    tank = json_schema()["$defs"][Tank.__name__]["properties"]
    for key in ("shape", "bow", "side_pane", "room_corner", "outline", "height", "inside", "outside", "euro_brace"):
        assert tank[key].get("description"), key


def test_a_flap_turns_about_its_hinge() -> None:
    """Opened by 60 deg, the front edge of a flap of width w rises by w sin 60 and comes back by w (1 - cos 60)."""
    scene = scene_from_dict(
        scene_with(CYLINDER | {"glass_thickness": "6 mm"}, lid={"hinged": {"at": "15 cm", "opened": "60 deg"}})
    )
    corners = np.array(scene.flap_corners_m())
    width, top = 0.15 + 0.006, 0.36 + HAIR + 0.004
    far = corners[np.argmax(corners[:, 2])]
    assert far[2] == pytest.approx(top + width * math.sin(math.pi / 3), abs=1e-5)
    assert far[1] == pytest.approx(0.15 - width * math.cos(math.pi / 3), abs=1e-5)
