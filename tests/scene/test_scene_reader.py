"""The reader: places of problems, bases, paths, suggestions, the schema."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import pytest
import trimesh
from good_scene import good_scene

import underlit
from underlit.scene import SceneError, json_schema, load_scene, scene_from_dict
from underlit.text.locate import key_lines

SCENES = Path(__file__).parents[2] / "scenes"
RACK_TANKS = {
    tank["file"] for file in SCENES.glob("*.toml") for tank in tomllib.loads(file.read_text("utf-8")).get("rack", [])
}

SMALL = """\
title = "small"
[tank]
inside_size = ["30 cm", "20 cm", "20 cm"]

[[fixture]]
size = ["20 cm", "6 cm", "1 cm"]
leds = { rows = 2, columns = 8 }
output = { ppf = "12 umol/s" }
above_rim = "5 cm"
"""


def problems(text: str, folder: Path) -> list[str]:
    file = folder / "tank.toml"
    file.write_text(text, "utf-8")
    with pytest.raises(SceneError) as caught:
        load_scene(file)
    return [line.removeprefix(str(folder) + "/") for line in str(caught.value).splitlines()]


@pytest.mark.parametrize("file", sorted(SCENES.glob("*.toml")), ids=lambda file: file.stem)
def test_shipped_scenes_are_good(file: Path) -> None:
    scene = load_scene(file)
    # A tank that stands in a rack may leave the light to the scene that names it.
    assert scene.ppf > 0 or file.name in RACK_TANKS
    assert scene.zones
    assert scene.path == file
    assert file.read_text("utf-8").startswith("# ")


def test_a_scene_from_tables_and_from_a_file_are_the_same(tmp_path: Path) -> None:
    file = tmp_path / "tank.toml"
    file.write_text(SMALL, "utf-8")
    assert load_scene(file).model_dump() == scene_from_dict(tomllib.loads(SMALL)).model_dump()


def test_everything_that_is_wrong_is_said_at_once_with_its_line(tmp_path: Path) -> None:
    text = (
        SMALL.replace("columns = 8", "colums = 8").replace('"5 cm"', "5").replace('"20 cm", "20 cm"]', '"20", "20 cm"]')
    )
    assert problems(text, tmp_path) == [
        'tank.toml:3: tank.inside_size[1]: no unit; a length is written like "36 in" or "91.4 cm" '
        "(units: nm, um, mm, cm, m, in, inch, inches, \", ″, ft, foot, feet) (got '20')",
        'tank.toml:7: fixture[0].leds.colums: unknown key; did you mean "columns"?',
        'tank.toml:9: fixture[0].above_rim: a length needs its unit, such as "36 in" or "91.4 cm" (got 5)',
    ]


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("[tank]", "[tnk]", 'tnk: unknown key; did you mean "tank"?'),
        ('"12 umol/s"', '"12 lm"', "unknown unit 'lm'"),
        (
            'above_rim = "5 cm"',
            'above_rim = "5 cm"\nabove_water = "9 cm"',
            "given twice (above_rim, above_water): remove one",
        ),
        ("rows = 2", "rows = 2.5", "must be a whole number (got 2.5)"),
        ("rows = 2", "rows = true", "must be a whole number (got true)"),
        ("rows = 2", "rows = 9000", "the rows of LEDs are wider"),
        ('title = "small"', "title = 3", "must be a text (got 3)"),
        ('above_rim = "5 cm"', 'above_rim = "5 cm"\ndimming = nan', "must be finite (got nan)"),
        ('above_rim = "5 cm"', 'above_rim = "5 cm"\ndimming = 1.2', "dimming: must be at most 1 (got 1.2)"),
        ('above_rim = "5 cm"', 'above_rim = "5 cm"\nlens = "lambertain"', "must be lambertian (got 'lambertain')"),
        ('above_rim = "5 cm"', 'above_rim = "5 cm"\n[water]\ntannin = "te"', 'did you mean "tea"?'),
        (
            'above_rim = "5 cm"',
            'above_rim = "5 cm"\n[[fixture.channel]]\nspectrum = "LED-B9"',
            "unknown spectrum 'LED-B9'",
        ),
    ],
)
def test_one_thing_wrong_is_one_line(old: str, new: str, expected: str, tmp_path: Path) -> None:
    found = [line for line in problems(SMALL.replace(old, new, 1), tmp_path) if expected in line]
    assert len(found) == 1
    assert found[0].startswith("tank.toml:")


def test_broken_toml_names_its_line(tmp_path: Path) -> None:
    assert problems(SMALL.replace("columns = 8 }", "columns = 8"), tmp_path)[0].startswith(
        "tank.toml:7: not valid TOML"
    )
    assert problems(SMALL + '\nx = "', tmp_path)[0].startswith("tank.toml:1")
    (tmp_path / "tank.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(SceneError, match="not a text in UTF-8"):
        load_scene(tmp_path / "tank.toml")
    with pytest.raises(SceneError, match="cannot be read"):
        load_scene(tmp_path / "none.toml")
    with pytest.raises(SceneError, match="cannot be read"):
        load_scene(tmp_path)
    assert "nested too deeply" in problems("a = " + "[" * 9000, tmp_path)[0]


def test_a_base_shares_the_rest(tmp_path: Path) -> None:
    (tmp_path / "base.toml").write_text(SMALL + '[water]\nabove_bottom = "15 cm"\ntannin = "none"\n', "utf-8")
    (tmp_path / "deep").mkdir()
    child = tmp_path / "deep" / "child.toml"
    child.write_text('base = "../base.toml"\n[water]\ntannin = "tea"\n', "utf-8")
    scene = load_scene(child)
    assert scene.water.tannin.name == "tea"
    assert scene.water_level_m == pytest.approx(0.15)
    assert scene.fixtures == load_scene(tmp_path / "base.toml").fixtures


def test_arrays_of_tables_replace_those_of_the_base() -> None:
    one, two = load_scene(SCENES / "wide-tank-one.toml"), load_scene(SCENES / "wide-tank-two.toml")
    assert [len(one.fixtures), len(two.fixtures)] == [1, 2]
    own = {"fixtures", "title", "base"}
    assert one.model_dump(exclude=own) == two.model_dump(exclude=own)


def test_problems_in_a_base_are_placed_there_and_others_not(tmp_path: Path) -> None:
    (tmp_path / "base.toml").write_text(SMALL.replace('"5 cm"', "5"), "utf-8")
    found = problems('base = "base.toml"\n\n[water]\nbelow_rim = "30 cm"\ntanin = 3\n', tmp_path)
    assert sorted(line.split(": ")[0] for line in found) == ["base.toml:9", "tank.toml:5"]
    assert problems('base = "tank.toml"', tmp_path) == [
        "tank.toml:1: base: its base refers back to it: name another file"
    ]
    assert problems('base = "no.toml"', tmp_path) == ["tank.toml:1: base: no such scene file (got 'no.toml')"]
    assert problems("base = 3", tmp_path) == ["tank.toml:1: base: must be the name of a scene file"]


def test_paths_are_relative_to_the_file_that_says_them(tmp_path: Path) -> None:
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts" / "bed.csv").write_text("# cm\n3,3\n6,6\n", "utf-8")
    (tmp_path / "parts" / "led.csv").write_text("nm,relative\n400,0\n500,1\n600,0\n", "utf-8")
    bed = '[substrate]\nheights = { unit = "cm", file = "bed.csv" }\n'
    channel = '[[fixture.channel]]\nspectrum = { file = "led.csv", of = "photons" }\n'
    (tmp_path / "parts" / "base.toml").write_text(SMALL + channel + bed, "utf-8")
    child = tmp_path / "child.toml"
    child.write_text('base = "parts/base.toml"', "utf-8")
    scene = load_scene(child)
    assert scene.substrate.grid_m.tolist() == [[0.03, 0.03], [0.06, 0.06]]
    assert scene.fixtures[0].channels[0].spectrum.channel.photons[19:21].sum() == pytest.approx(0.1, abs=5e-3)
    found = problems(SMALL + bed, tmp_path)
    assert len(found) == 1
    assert found[0].startswith("tank.toml:11: substrate.heights.file: ")


def test_a_mesh_must_be_there_and_have_its_unit(tmp_path: Path) -> None:
    wood = '[[wood]]\nname = "w"\nmesh = "w.stl"\nat = ["10 cm", "10 cm"]\n'
    assert problems(SMALL + wood + 'unit = "mm"', tmp_path)[0].startswith(
        "tank.toml:12: wood[0].mesh: no such mesh file"
    )
    trimesh.creation.box((1, 1, 1)).export(tmp_path / "w.stl")
    (found,) = problems(SMALL + wood, tmp_path)
    assert "wood[0].mesh: needs unit as well (the unit of the numbers in the mesh)" in found


def test_files_that_cannot_be_read_are_told_with_the_rest(tmp_path: Path) -> None:
    """With what is wrong inside a part, and with what parts make of each other; each file once, at its own line."""
    (tmp_path / "bad.csv").write_text("1,2\n3\n", "utf-8")
    stone = '[[stone]]\nname = "s"\nmesh = "s.stl"\nunit = "mm"\nat = ["10 cm", "10 cm"]\n'
    spot = '[[spot]]\nname = "outside"\nat = ["9 m", "1 cm"]\n'
    found = problems(SMALL + stone + spot, tmp_path)
    assert len(found) == 2
    assert "stone[0].mesh: no such mesh file" in found[0]
    assert "spot[0]" in found[1]
    beds = '[substrate]\nheights = { unit = "cm", file = "bad.csv" }\n'
    light = '[[fixture]]\nname = "b"\nphotometric_file = "none.ies"\nsize = ["20 cm", "5 cm", "2 cm"]\ndimming = 45\n'
    led = '[[fixture.channel]]\nspectrum = { file = "none.csv", of = "photons" }\n'
    found = problems(SMALL + stone + light + led + beds, tmp_path)
    told = [
        "stone[0].mesh: no such mesh file",
        "fixture[1].photometric_file: none.ies: cannot be read",
        "fixture[1].dimming: must be at most 1",
        "fixture[1].channel[0].spectrum.file: the file cannot be read: No such file or directory",
        "substrate.heights.file: not a height map: the file must have rows of equally many numbers",
    ]
    assert len(found) == len(told)
    assert all(text in line for text, line in zip(told, found, strict=True)), found


@pytest.mark.parametrize("room", ["scene", "lowering"])
def test_only_the_reader_opens_files(room: str) -> None:
    package = Path(underlit.__file__).parent
    opens = re.compile(
        r"\bopen\(|\.read_(text|bytes)\(|trimesh\.load|\bread_(photometry|mesh|number_table|toml)\(|\.is_file\("
    )
    found = [
        f"{path.relative_to(package)}: {line.strip()}"
        for path in (package / room).rglob("*.py")
        if "reader" not in path.relative_to(package).parts
        for line in path.read_text("utf-8").splitlines()
        if opens.search(line)
    ]
    assert found == []
    assert opens.search((package / "scene" / "reader" / "mesh_file.py").read_text("utf-8"))


def test_a_file_that_changed_is_read_again(tmp_path: Path) -> None:
    bed, text = tmp_path / "bed.csv", SMALL + '[substrate]\nheights = { unit = "cm", file = "bed.csv" }\n'
    (tmp_path / "tank.toml").write_text(text, "utf-8")
    for heights in ("3,3\n5,5\n", "4,4\n5,5\n", "14,4\n5,5\n"):
        bed.write_text(heights, "utf-8")
        grid = load_scene(tmp_path / "tank.toml").substrate.grid_m
        assert grid[0, 0] == pytest.approx(float(heights.split(",")[0]) / 100)


def test_lines_of_every_kind_of_key() -> None:
    text = '''
a.b = 1 # = "no"
"c d" = """
x = 2
"""
[t]
list = [ # [
  [1, 2],
  { k = "]" , "q" = 'a' },
]
[[t.many]]
x = 1
[t.many.in]
y = 2020-01-01
[[t.many]]
x = """a"b\\""""
z = 3
'''
    lines = key_lines(text)
    expected = {
        ("a", "b"): 2, ("c d",): 3, ("t",): 6, ("t", "list"): 7, ("t", "list", 0): 8, ("t", "list", 0, 1): 8,
        ("t", "list", 1, "k"): 9, ("t", "list", 1, "q"): 9, ("t", "many", 0): 11, ("t", "many", 0, "x"): 12,
        ("t", "many", 0, "in", "y"): 14, ("t", "many", 1, "x"): 16, ("t", "many", 1, "z"): 17,
    }  # fmt: skip
    assert {key: lines[key] for key in expected} == expected


def test_the_schema_is_json_and_knows_every_top_key() -> None:
    schema = json.loads(json.dumps(json_schema()))
    assert {"tank", "water", "fixture", "zone", "spot", "plants", "wood", "stone", "substrate"} <= set(
        schema["properties"]
    )
    assert schema["additionalProperties"] is False


def test_the_scene_with_everything_is_good() -> None:
    scene = scene_from_dict(good_scene())
    assert scene.tank.inside_m == pytest.approx((0.88, 0.43, 0.44))
    assert [fixture.name for fixture in scene.fixtures] == ["left", "right"]
