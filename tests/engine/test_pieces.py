"""Parts of a scene answer with pieces, without a world; a world holds them where their tank stands, under its records."""

from __future__ import annotations

import numpy as np
import pytest
from shaped_tanks import described

from underlit.lowering.assemble import KEYS_OF_ONE_TANK, put
from underlit.lowering.fixtures import dimming, lights
from underlit.lowering.pieces import MeshPiece, Note, SourcePiece
from underlit.lowering.records import Face, Frame, Part, Role, Source
from underlit.lowering.scene import build, lower
from underlit.lowering.tank.lid import lid
from underlit.lowering.tank.shell import shell
from underlit.lowering.world import World
from underlit.scene import scene_from_dict

TANK = {"inside_size": ["50 cm", "30 cm", "40 cm"], "glass_thickness": "8 mm", "bottom_thickness": "10 mm"}


def test_the_panes_are_one_body_of_glass():
    """Inner faces, outer faces and the top edge close around the glass: their volume is outside less inside."""
    scene = scene_from_dict(described(tank=TANK))
    panes = [p for p in shell(scene) if isinstance(p, MeshPiece) and p.part.role is Role.SHELL]
    corners = np.concatenate([p.vertices[p.faces] for p in panes])
    volume = float(np.einsum("ni,ni->n", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum()) / 6
    assert volume == pytest.approx(0.516 * 0.316 * 0.41 - 0.5 * 0.3 * 0.4, rel=1e-9)


@pytest.mark.parametrize(
    ("said", "rim", "low", "top"),
    [
        ({}, False, 0.4003, 0.4043),
        ({"above_rim": "1 cm", "thickness": "6 mm"}, True, 0.4113, 0.4173),
        ({"sliding": {}}, False, 0.4003, 0.4103),
        ({"strip": [{"corners": [["0 cm", "25 cm"], ["50 cm", "30 cm"]]}]}, False, 0.4003, 0.4046),
    ],
    ids=["flat", "on a rim", "sliding", "with a strip"],
)
def test_the_lid_lies_where_the_scene_says(said, rim, low, top):
    """Its lowest and highest face, as the scene tells everybody, are those of its pieces."""
    tank = TANK | ({"rim": {"height": "2 cm", "covers": "1 cm"}} if rim else {})
    scene = scene_from_dict(described(tank=tank, lid=said, fixture=[]))
    z = np.concatenate([p.vertices[:, 2] for p in lid(scene) if isinstance(p, MeshPiece)])
    assert (scene.lid_underside_m, scene.lid_top_m) == pytest.approx((low, top), abs=1e-12)
    assert (z.min(), z.max()) == (scene.lid_underside_m, scene.lid_top_m)


def test_a_fixture_is_laid_on_the_lid_without_a_world():
    scene = scene_from_dict(described(tank=TANK, lid={}, fixture=[
        {"name": "bar", "size": ["24 cm", "6 cm", "1 cm"], "leds": {"rows": 1, "columns": 5},
         "output": {"ppf": "50 umol/s"}, "above_rim": "4 mm"},
    ]))  # fmt: skip
    pieces = list(lights(scene))
    assert [p.text for p in pieces if isinstance(p, Note)] == [
        "bar: raised 0.6 mm to lie on the lid or rim instead of in it"
    ]
    (body,) = (p for p in pieces if isinstance(p, MeshPiece))
    assert body.vertices[:, 2].min() == pytest.approx(scene.lid_top_m + 3e-4)
    assert {p.source for p in pieces if isinstance(p, SourcePiece)} == set(dimming(scene)) == {Source("bar", "white")}


def test_the_same_pieces_stand_in_two_frames():
    """Two tanks from one list of pieces differ by their records, their place and their random numbers alone."""
    scene = scene_from_dict(described(tank=TANK))
    pieces, _ = build(scene)
    world, beside = World(), Frame(1, "beside", (0.7, -0.1, 0.25))
    put(world, pieces)
    put(world, pieces, beside)
    compiled = world.compile()
    half = len(compiled.plain_meshes) // 2
    for one, two in zip(compiled.plain_meshes[:half], compiled.plain_meshes[half:], strict=True):
        assert two.part == one.part.moved_to(beside)
        assert two.name == f"beside: {one.name}"
        np.testing.assert_array_equal(two.vertices, one.vertices + beside.offset)
    first, second = compiled.tables.sources["key"]
    assert second - first == KEYS_OF_ONE_TANK
    view, alone = compiled.of_tank(1), lower(scene).compiled
    assert [m.name for m in view.plain_meshes] == [m.name for m in alone.plain_meshes]
    assert [z.name for z in view.zones] == [z.name for z in alone.zones]
    np.testing.assert_allclose(view.bed_map.origin, alone.bed_map.origin, atol=1e-12)
    np.testing.assert_array_equal(view.planes.open_area, alone.planes.open_area)


def test_alike_names_are_not_one_thing():
    """A part is told by its record: tank, role and face count, and what a name looks like does not."""
    world = World()
    black = world.opaque("black", 0.0)
    square = (np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], float), np.array([[0, 1, 2], [0, 2, 3]]))
    parts = [
        Part("a", Role.WOOD), Part("a", Role.STONE), Part("a", Role.WOOD, Face.TOP), Part("a: b", Role.WOOD),
        Part("b", Role.WOOD, tank=1, tank_name="a"),
    ]  # fmt: skip
    for part in parts:
        world.add_mesh(part, *square, black)
    world.add_source("lamp", [(0.5, 0.5, 1)], ppf=1.0)
    compiled = world.compile()
    assert compiled.plain_meshes[3].name == compiled.plain_meshes[4].name
    assert [len(compiled.faces_of(part)) for part in parts] == [2, 1, 2, 1, 1]
    assert len(world.contents.parts) == 4


def test_a_zone_on_a_part_that_is_not_there_is_refused():
    world = World()
    world.add_mesh("floor", np.eye(3), np.array([[0, 1, 2]]), world.opaque("floor", 0.0))
    world.add_source("lamp", [(0.5, 0.5, 2)], ppf=1.0)
    world.add_surface_zone("all", "flor", area=1.0)
    with pytest.raises(ValueError, match="zone 'all': there is no mesh of 'flor' to count on"):
        world.compile()
