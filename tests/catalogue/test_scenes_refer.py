"""A scene refers to an entry and overrides any key; zones take their band from the plant they are for."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlit.catalogue import FOLDER_VARIABLE, Kind, load_catalogue
from underlit.scene import SceneError, json_schema, load_scene, scene_from_dict
from underlit.scene.assumptions.scene import assumptions
from underlit.scene.common import Part
from underlit.scene.keys import models
from underlit.text.problem import Problem

SCENE = """\
title = "from the catalogue"
added_co2 = false
settled = true

[tank]
from = "40 breeder"
glass = "low-iron"

[lid]
from = "glass top"

[substrate]
from = "dark soil"
depth = "6 cm"

[[fixture]]
from = "bar 36 W, 90 cm"
above_rim = "8 cm"

[[wood]]
from = "branching driftwood"
at = ["40 cm", "20 cm"]

[[stone]]
from = "dark lava"
name = "lava left"
at = ["15 cm", "20 cm"]

[[plants]]
from = "moss on wood"
on = "branching driftwood"

[[plants]]
from = "hairgrass"
rectangle = [["50 cm", "2 cm"], ["80 cm", "15 cm"]]
height = "4 cm"

[[zone]]
name = "lawn"
rectangle = [["50 cm", "2 cm"], ["80 cm", "15 cm"]]
for = "hairgrass"

[[zone]]
name = "moss"
plants = "moss on wood"
for = { from = "moss on wood", need = "medium" }
"""


@pytest.fixture(autouse=True)
def _no_own_entries(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "own").mkdir()
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "own"))


def problems(text: str, folder: Path) -> list[str]:
    file = folder / "tank.toml"
    file.write_text(text, "utf-8")
    with pytest.raises(SceneError) as caught:
        load_scene(file)
    return [line.removeprefix(str(folder) + "/") for line in str(caught.value).splitlines()]


def test_entries_fill_what_a_scene_does_not_say(tmp_path: Path) -> None:
    file = tmp_path / "tank.toml"
    file.write_text(SCENE, "utf-8")
    scene = load_scene(file)
    assert scene.tank.nominal_size == pytest.approx((36 * 0.0254, 18 * 0.0254, 16 * 0.0254))
    assert (scene.tank.glass, scene.tank.rim is not None) == ("low-iron", True)
    assert (scene.substrate.material, scene.substrate.depth) == ("dark soil", 0.06)
    assert (scene.fixtures[0].name, scene.fixtures[0].ppf) == ("bar 36 W, 90 cm", pytest.approx(36 * 1.7))
    assert [piece.name for piece in (*scene.wood, *scene.stone)] == ["branching driftwood", "lava left"]
    assert [group.height for group in scene.plants] == [None, 0.04]
    assert {(used.kind, used.own) for used in scene.entries} == {
        (kind, False) for kind in ("tank", "lid", "substrate", "fixture", "wood", "stone", "plants")
    }
    # What the entry leaves open is still told as taken, what it states is not.
    keys = [row.key for row in assumptions(scene)]
    assert "tank.glass_thickness" in keys
    assert "tank.rim.covers" in keys
    assert "lid.thickness" not in keys


@pytest.mark.parametrize(
    ("co2", "settled", "band", "told"),
    [
        (True, True, (40, 70), "for hairgrass"),
        (False, True, (40, 50), "for hairgrass; 40-70 in a settled tank with added CO2; without added CO2 the risk of"),
        (True, False, (20, 42), "new tank: 50-60 % of the light of a settled one, 6 h a day, for about four weeks"),
        (False, False, (20, 30), "without added CO2"),
    ],
)
def test_a_band_follows_from_three_questions(
    co2: bool, settled: bool, band: tuple[float, float], told: str, tmp_path: Path
) -> None:
    """Which plant, added CO2, settled tank: common practice, no source."""
    answers = f"added_co2 = {json.dumps(co2)}\nsettled = {json.dumps(settled)}"
    file = tmp_path / "tank.toml"
    file.write_text(SCENE.replace("added_co2 = false\nsettled = true", answers), "utf-8")
    scene = load_scene(file)
    found = scene.zones[0].wanted(added_co2=scene.has_added_co2, settled=scene.is_settled)
    assert found is not None
    assert (found.low, found.high) == pytest.approx(band)
    assert told in found.note
    assert "common practice" in found.source


def test_what_the_scene_leaves_of_the_questions_is_told(tmp_path: Path) -> None:
    file = tmp_path / "tank.toml"
    file.write_text(SCENE.replace("added_co2 = false\nsettled = true", ""), "utf-8")
    rows = {row.key: row.value_text for row in assumptions(load_scene(file))}
    assert (rows["added_co2"], rows["settled"]) == ("no", "yes")


def test_plants_of_the_catalogue_bring_their_need_to_the_zone_that_is_them(tmp_path: Path) -> None:
    file = tmp_path / "tank.toml"
    text = SCENE.replace('for = { from = "moss on wood", need = "medium" }', "")
    file.write_text(text, "utf-8")
    scene = load_scene(file)
    band = scene.band_of(scene.zones[1])
    assert band is not None
    assert (band.low, band.high, band.note) == (15, 35, "for moss on wood")
    assert scene.plants[1].wanted(added_co2=True) == scene.zones[0].wanted(added_co2=True)
    file.write_text(text.replace('on = "branching driftwood"', 'on = "branching driftwood"\nband = [5, 9]'), "utf-8")
    scene = load_scene(file)
    band = scene.band_of(scene.zones[1])
    assert band is not None
    assert (band.low, band.high) == (5, 9)


def test_a_zone_overrides_a_need_and_answers_for_itself(tmp_path: Path) -> None:
    own = 'for = { from = "hairgrass", band = [30, 45] }\nadded_co2 = true\nsettled = false'
    file = tmp_path / "tank.toml"
    file.write_text(SCENE.replace('for = "hairgrass"', own), "utf-8")
    lawn, moss = load_scene(file).zones
    assert lawn.wanted(added_co2=False, settled=True) == lawn.wanted(added_co2=True, settled=False)
    band = lawn.wanted(added_co2=False, settled=True)
    assert band is not None
    assert (band.low, band.high) == pytest.approx((15, 27))
    band = moss.wanted(added_co2=True, settled=True)
    assert band is not None
    assert (band.low, band.high) == (35, 70)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            '"40 breeder"',
            '"40 breader"',
            'tank.toml:6: tank.from: the catalogue has no tank of that name; did you mean "40 bre',
        ),
        ('"40 breeder"', '"xyzzy"', "; `underlit catalogue tank` lists them (got 'xyzzy')"),
        ('"40 breeder"', "3", "tank.toml:6: tank.from: must be the name of an entry of the catalogue (got 3)"),
        (
            'for = "hairgrass"',
            'for = "hairgras"',
            'zone[0].for: the catalogue has no plants of that name; did you mean "hairgrass"',
        ),
        ('for = "hairgrass"', "for = 3", "zone[0].for: must be the name of an entry of the catalogue (got 3)"),
        ('need = "medium"', 'ned = "medium"', 'zone[1].for.ned: unknown key; did you mean "need"?'),
        ('from = "40 breeder"', 'form = "40 breeder"', 'tank.toml:6: tank.form: unknown key; did you mean "from"?'),
        ('depth = "6 cm"', 'depth = "6"', "tank.toml:14: substrate.depth: no unit"),
        ('above_rim = "8 cm"', 'above_rim = "8 cm"\nabove_water = "8 cm"', "fixture[0].above_water: the height of the"),
        (
            'above_rim = "8 cm"',
            'above_rim = "8 cm"\nsize = ["9 cm", "6 cm", "2 cm"]',
            "tank.toml:17: fixture[0].leds: the",
        ),
        ('for = "hairgrass"', 'for = "hairgrass"\nband = [3, 9]', "the target is given twice (band, for): remove one"),
    ],
)
def test_problems_stand_where_the_scene_says_it(old: str, new: str, expected: str, tmp_path: Path) -> None:
    lines = problems(SCENE.replace(old, new, 1), tmp_path)
    assert [line for line in lines if expected in line]
    assert all(line.startswith("tank.toml:") for line in lines)


def test_what_does_not_fit_names_the_entry_it_comes_from(tmp_path: Path) -> None:
    text = SCENE.replace('above_rim = "8 cm"', 'above_rim = "8 cm"\nleds = { columns = 500 }')
    (line,) = problems(text, tmp_path)
    assert line.startswith("tank.toml:19: fixture[0].leds: the columns of LEDs are")
    text = SCENE.replace('above_rim = "8 cm"', 'above_rim = "8 cm"\nsize = ["9 cm", "6 cm", "2 cm"]')
    (line,) = problems(text, tmp_path)
    assert line.endswith("this comes from 'bar 36 W, 90 cm' of the catalogue")


TRIANGLE = [["0 cm", "0 cm"], ["60 cm", "0 cm"], ["0 cm", "60 cm"]]


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"tank": {"from": "55 gallon", "inside_size": ["1 m", "40 cm", "40 cm"]}}, ("tank", "inside_size")),
        ({"tank": {"from": "46 bow front", "shape": "box"}}, ("tank", "nominal_size")),
        ({"tank": {"from": "46 bow front", "outline": TRIANGLE, "height": "40 cm"}}, ("tank", "outline")),
        ({"lid": {"from": "sliding glass top", "hinged": {"at": "20 cm"}}}, ("lid", "hinged")),
        ({"fixture": [{"from": "puck 15 W", "length": "20 cm"}]}, None),
        ({"fixture": [{"from": "clip-on 9 W", "position": ["20 cm", "10 cm"], "leds": {"rings": 1}}]}, None),
        ({"substrate": {"from": "dark soil slope", "depth": "5 cm"}}, ("substrate", "depth")),
        ({"fixture": [{"from": "puck 15 W", "above_water": "9 cm", "output": {"ppf": "20 umol/s"}}]}, None),
        ({"fixture": [{"from": "puck 15 W", "above_rim": "9 cm", "lens": "lambertian"}]}, None),
    ],
)
def test_another_way_to_say_it_replaces_the_entrys(table: dict[str, Any], said: tuple[str, str] | None) -> None:
    scene = scene_from_dict({"tank": {"from": "75 gallon"}} | table)
    if said is not None:
        part = getattr(scene, said[0])
        assert getattr(part, said[1]) is not None


@pytest.mark.parametrize("model", models(), ids=lambda model: model.__name__)
def test_relations_between_keys_name_keys_that_the_part_has(model: type[Part]) -> None:
    known = set(model.scene_fields())
    assert {key for choice in model.one_of for way in choice.ways for key in way} <= known
    assert {key for pair in model.together for key in pair} <= known
    assert {key for said, keys in model.displaces.items() for key in (said, *keys)} <= known
    assert set(model.renamed.values()) <= known
    assert not set(model.renamed) & known


def test_a_file_refers_to_another_entry_than_its_base(tmp_path: Path) -> None:
    base = SCENE.replace(
        'glass = "low-iron"', 'glass = "low-iron"\nglass_thickness = "9 mm"\n[tank.rim]\nheight = "3 cm"'
    )
    (tmp_path / "base.toml").write_text(base, "utf-8")
    child = tmp_path / "child.toml"
    child.write_text('base = "base.toml"\n[tank]\nfrom = "rimless 120"\nglass = "clear"\n', "utf-8")
    tank = load_scene(child).tank
    # Of the base stays what it says itself; what its entry said is gone.
    assert tank.nominal_size == (1.2, 0.45, 0.45)
    assert (tank.glass, tank.glass_thickness) == ("clear", pytest.approx(0.009))
    assert tank.rim is not None
    assert tank.rim.height == pytest.approx(0.03)
    third = tmp_path / "third.toml"
    third.write_text('base = "child.toml"\n[tank]\nfrom = "55 gallon"\n[tank.back]\nbehind = "open air"\n', "utf-8")
    tank = load_scene(third).tank
    assert len(tank.braces) == 1
    assert tank.nominal_size == pytest.approx((48 * 0.0254, 13 * 0.0254, 21 * 0.0254))


def test_a_base_without_an_entry_gives_way_to_one(tmp_path: Path) -> None:
    (tmp_path / "base.toml").write_text('[tank]\ninside_size = ["1 m", "40 cm", "40 cm"]\n', "utf-8")
    child = tmp_path / "child.toml"
    child.write_text('base = "base.toml"\n[tank]\nfrom = "55 gallon"\n', "utf-8")
    assert load_scene(child).tank.nominal_size is not None
    tables = {"base": "base.toml", "tank": {"from": "55 gallon"}}
    assert scene_from_dict(tables, folder=tmp_path).tank.nominal_size is not None


def test_a_name_that_is_missing_tells_of_broken_own_files(tmp_path: Path) -> None:
    broken = tmp_path / "own" / "broken.toml"
    broken.write_text('[[tank]]\nname = "mine"\nabout = 3\n', "utf-8")
    lines = problems('[tank]\nfrom = "mine"\n', tmp_path)
    assert [line.split(": ")[0] for line in lines] == ["tank.toml:2", "own/broken.toml:3"]
    # A scene that has no use for it is not stopped.
    assert scene_from_dict({"tank": {"from": "55 gallon"}}).tank.rim is not None


def test_a_result_keeps_the_own_entries_it_was_made_with(tmp_path: Path) -> None:
    from underlit.report.files import scene_texts

    mine = tmp_path / "own" / "mine.toml"
    mine.write_text('[[tank]]\nname = "mine"\nabout = "Mine."\nsource = "own"\nsets.from = "55 gallon"\n', "utf-8")
    file = tmp_path / "tank.toml"
    file.write_text('[tank]\nfrom = "mine"\n[lid]\nfrom = "glass top"\n', "utf-8")
    assert list(scene_texts(load_scene(file))) == [str(file), str(mine)]


def test_the_schema_lets_an_entry_say_what_is_required() -> None:
    schema = json_schema()
    for kind in Kind:
        table = schema["$defs"][kind.capitalize()]
        assert table["properties"]["from"]["type"] == "string"
        assert "required" not in table
    assert {"type": "string"} in schema["$defs"]["Zone"]["properties"]["for"]["anyOf"]


NAMES = [name for kind in Kind for name in load_catalogue().names(kind)]


@settings(max_examples=100, deadline=None)
@given(
    st.sampled_from(["tank", "lid", "substrate", "fixture", "wood", "stone", "plants", "zone"]),
    st.sampled_from(NAMES)
    | st.text(max_size=20)
    | st.none()
    | st.integers()
    | st.lists(st.text(max_size=3), max_size=2),
    st.dictionaries(st.sampled_from(["name", "for", "from", "rim", "sets", "at"]), st.text(max_size=5), max_size=2),
)
def test_any_name_is_a_scene_or_lines_for_people(kind: str, name: Any, more: dict[str, Any]) -> None:
    table = {"for" if kind == "zone" else "from": name} | more
    data = {"tank": {"from": "75 gallon"}}
    data |= {kind: table if kind in ("tank", "lid", "substrate") else [table]}
    problems: tuple[Problem, ...] = ()
    text = ""
    try:
        scene_from_dict(data)
    except SceneError as error:
        problems, text = error.problems, str(error)
    assert len(text.splitlines()) == len(problems)
