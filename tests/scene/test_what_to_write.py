"""Mistakes that people make again and again: each is one line that says what to write, or it is no mistake at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from underlit.app.document import Document, DocumentError
from underlit.scene import SceneError, json_schema, load_scene, scene_from_dict

SCENE = """\
title = "a tank"
[tank]
inside_size = ["30 cm", "20 cm", "20 cm"]
panes = "clean"
[lid]
dirt = 0.8
[[fixture]]
length = "20 cm"
dimming = 0.45
"""


def line(folder: Path, old: str, new: str) -> str:
    """The one line that the scene above is refused with once a text in it is replaced."""
    assert old in SCENE
    file = folder / "tank.toml"
    file.write_text(SCENE.replace(old, new), "utf-8")
    with pytest.raises(SceneError) as refused:
        load_scene(file)
    (found,) = str(refused.value).splitlines()
    return found.removeprefix(f"{folder}/")


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('"a tank"', "“a tank”", '1: not valid TOML: curly quotes: write straight ones, "a tank"'),
        ('"20 cm"\nd', "„20 cm“\nd", '8: not valid TOML: curly quotes: write straight ones, "20 cm"'),
        ('"clean"', "‘clean’", '4: not valid TOML: curly quotes: write straight ones, "clean"'),
        ("= 0.45", "= 0,45", "9: not valid TOML: a number has a point, not a comma: write 0.45"),
        ('"20 cm"\nd', "20 cm\nd", '8: not valid TOML: a number with a unit stands in quotes: write "20 cm"'),
        ('"20 cm"\nd', "20,5cm\nd", '8: not valid TOML: a number with a unit stands in quotes: write "20.5 cm"'),
        ('["30 cm", "20 cm",', '["30 cm", 20 cm,', '3: not valid TOML: a number with a unit stands in quotes: write "20 cm"'),
        ("= 0.45", "= 45 %", '9: not valid TOML: a number with a unit stands in quotes: write "45 %"'),
        ('"clean"', "clean", '4: not valid TOML: a text stands in quotes: write "clean"'),
        ('"a tank"', '"a tank"\nsettled = yes', "2: not valid TOML: write true"),
        ('"a tank"', '"a tank"\nsettled = False', "2: not valid TOML: write false"),
        ('"20 cm"\nd', '"20,5 cm"\nd', "8: fixture[0].length: a number has a point, not a comma: write \"20.5 cm\" (got"),
        ('"20 cm"\nd', '"1,200 mm"\nd', '8: fixture[0].length: a number has a point, not a comma: write "1.200 mm" or "1200 mm"'),
        ("= 0.45", "= 45", '9: fixture[0].dimming: must be at most 1: write 0.45 or "45 %" (got 45)'),
        ("dirt = 0.8", "dirt = 92.5", '6: lid.dirt: must be at most 1: write 0.925 or "92.5 %" (got 92.5)'),
        ("= 0.45", "= 1.5", "9: fixture[0].dimming: must be at most 1 (got 1.5)"),
        ("= 0.45", '= "145 %"', "9: fixture[0].dimming: must be at most 1"),
        ("= 0.45", '= "45,5 %"', '9: fixture[0].dimming: a number has a point, not a comma: write "45.5 %"'),
        ("= 0.45", '= "half"', '9: fixture[0].dimming: must be a number from 0 to 1, or per cent in quotes, such as "45 %"'),
        ("dimming = 0.45", 'schedule = [["9:00", 45]]', "not 45: write 0.45"),
        ("dimming = 0.45", 'schedule = [["9:00", "45 %"]]', "must be a number: write 0.45 (got '45 %')"),
        ("dimming = 0.45", 'step = "2,5"', "9: fixture[0].step: must be a number: write 2.5, without quotes (got '2,5')"),
        ('"clean"', "0.4", "4: tank.panes: must be clean, overgrown, or a table: { returned_per_reflection = 0.4 } (got 0.4)"),
    ],
)  # fmt: skip
def test_the_line_says_what_to_write(old: str, new: str, expected: str, tmp_path: Path) -> None:
    found = line(tmp_path, old, new)
    assert found.startswith("tank.toml:")
    assert expected in found


@pytest.mark.parametrize(
    ("text", "share"), [("45 %", 0.45), ("45%", 0.45), (" 12.5 % ", 0.125), ("0 %", 0), ("100 %", 1)]
)
def test_per_cent_is_taken_as_a_share(text: str, share: float, tmp_path: Path) -> None:
    file = tmp_path / "tank.toml"
    file.write_text(SCENE.replace("0.45", f'"{text}"').replace("0.8", f'"{text}"'), "utf-8")
    scene = load_scene(file)
    assert scene.fixtures[0].dimming == share
    assert scene.lid is not None
    assert scene.lid.dirt == share


def test_a_byte_order_mark_is_skipped(tmp_path: Path) -> None:
    file, bed = tmp_path / "tank.toml", tmp_path / "bed.csv"
    file.write_text(SCENE + '[substrate]\nheights = { unit = "cm", file = "bed.csv" }\n', "utf-8-sig")
    bed.write_text("3,3\n5,5\n", "utf-8-sig")
    scene = load_scene(file)
    assert (scene.title, scene.substrate.grid_m[0, 0]) == ("a tank", 0.03)
    file.write_text(SCENE.replace("0.45", "45"), "utf-8-sig")
    with pytest.raises(SceneError, match=r"tank\.toml:9: "):
        load_scene(file)


def test_a_text_that_is_pasted_into_the_app_is_read_alike() -> None:
    assert Document("\ufeff" + SCENE).get("title") == "a tank"
    with pytest.raises(DocumentError, match='line 1: not valid TOML: curly quotes: write straight ones, "a tank"'):
        Document(SCENE.replace('"a tank"', "“a tank”"))


def test_the_schema_lets_editors_take_per_cent() -> None:
    dimming = json_schema()["$defs"]["Fixture"]["properties"]["dimming"]
    assert {kind["type"] for kind in dimming["anyOf"]} == {"number", "string"}
    assert scene_from_dict({"tank": {"inside_size": ["30 cm"] * 3}, "lid": {"dirt": "80 %"}}).lid.dirt == 0.8
