"""A user's own entries: read from their folder, checked alike, and a broken one stops nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlit.catalogue import FOLDER_VARIABLE, Kind, Origin, load_catalogue, own_folder
from underlit.scene import SceneError, scene_from_dict
from underlit.scene.reader.entry_check import checked

GOOD = """\
[[tank]]
name = "my tank"
about = "Made to measure."
source = "measured"
sets.inside_size = ["50 cm", "30 cm", "30 cm"]
"""


def said(folder: Path) -> list[str]:
    return [str(problem).removeprefix(f"{folder}/") for problem in checked(load_catalogue(folder)).problems]


def test_own_entries_come_with_the_shipped_ones(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(GOOD, "utf-8")
    (tmp_path / "notes.txt").write_text("not an entry", "utf-8")
    known = load_catalogue(tmp_path)
    mine = known.find(Kind.TANK, "My Tank")
    assert mine is not None
    assert (mine.origin, mine.line, mine.hides_shipped) == (Origin.OWN, 1, False)
    assert known.entries[0] is mine
    assert known.find(Kind.TANK, "40 breeder") is not None
    assert known.problems == ()


def test_one_of_a_shipped_name_wins_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "mine.toml").write_text(GOOD.replace("my tank", "40  Breeder"), "utf-8")
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    found = [entry for entry in load_catalogue().entries if entry.name.casefold().split() == ["40", "breeder"]]
    assert [entry.hides_shipped for entry in found] == [True]
    scene = scene_from_dict({"tank": {"from": "40 breeder"}})
    assert scene.tank.inside_m == pytest.approx((0.5, 0.3, 0.3))
    (note,) = [entry.note for entry in scene.entries]
    assert "your own entry" in note
    assert str(tmp_path / "mine.toml") in note


def test_one_of_another_name_of_a_shipped_one_wins_too(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(GOOD.replace("my tank", "40 gallon breeder"), "utf-8")
    known = load_catalogue(tmp_path)
    mine, shipped = known.find(Kind.TANK, "40 gallon breeder"), known.find(Kind.TANK, "40 breeder")
    assert mine is not None
    assert shipped is not None
    assert (mine.origin, mine.hides_shipped, shipped.origin) == (Origin.OWN, True, Origin.SHIPPED)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("[[tank]]", "[[tnk]]", 'mine.toml:1: tnk: not a kind of entry; did you mean "tank"?'),
        ("[[tank]]", "[tank]", "mine.toml:1: tank: must be a list of tables: write each entry under [[tank]]"),
        ('name = "my tank"', "", "mine.toml:1: tank[0].name: is missing: give the name by which it is found"),
        ('name = "my tank"', "name = 3", "mine.toml:2: tank[0].name: must be one line of text (got 3)"),
        (
            "about",
            "abuot",
            'mine.toml:3: tank[0].abuot: unknown key; did you mean "about"?; keys of a scene go into the table sets',
        ),
        ('source = "measured"', "", "mine.toml:1: tank[0].source: is missing: give where the figures come from"),
        ("sets.inside_size", "sets = 3 #", "mine.toml:5: tank[0].sets: must be a table"),
        (
            "sets.inside_size",
            "sets.inside_sise",
            'mine.toml:5: tank.inside_sise: unknown key; did you mean "inside_size"?',
        ),
        ('"30 cm"]', '"30"]', "mine.toml:5: tank.inside_size[2]: no unit"),
        ('"50 cm"', '"50 m"', "mine.toml:5: tank.inside_size: a side is longer than 20 m"),
        ("]\n", "\n", "mine.toml:"),
        ("sets.inside_size", 'sets.from = "nothing"\nsets.inside_size', "the catalogue has no tank of that name"),
        ("sets.inside_size", 'sets.from = "my tank"\nsets.inside_size', "the entry refers back to itself"),
        ("sets.inside_size", "needs = {}\nsets.inside_size", "tank[0].needs: unknown key"),
    ],
)
def test_a_broken_entry_is_one_line_with_its_place(old: str, new: str, expected: str, tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(GOOD.replace(old, new), "utf-8")
    (tmp_path / "other.toml").write_text(GOOD.replace("my tank", "other tank"), "utf-8")
    lines = said(tmp_path)
    assert [line for line in lines if expected in line]
    assert all(line.startswith("mine.toml:") for line in lines)
    assert len({line.split(": ")[0] for line in lines}) == len(lines)
    known = checked(load_catalogue(tmp_path))
    assert known.find(Kind.TANK, "other tank") is not None
    assert known.find(Kind.TANK, "my tank") is None


def test_two_of_one_name_keep_the_first(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text(GOOD, "utf-8")
    (tmp_path / "b.toml").write_text("\n" + GOOD.replace("my", "My"), "utf-8")
    assert said(tmp_path) == ["b.toml:2: tank: the name is taken by a.toml:1: give another one (got 'My tank')"]


def test_an_entry_may_build_on_another(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = """
[[fixture]]
name = "my bar"
about = "The 24 W bar, dimmed for good, and the lumens of its box."
source = "measured"
sets = { from = "bar 24 W, 60 cm", dimming = 0.6, output = { lumens = "2000 lm" } }
"""
    (tmp_path / "mine.toml").write_text(text, "utf-8")
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    assert said(tmp_path) == []
    tank = {"inside_size": ["80 cm", "30 cm", "30 cm"]}
    scene = scene_from_dict({"tank": tank, "fixture": [{"from": "my bar", "above_rim": "5 cm"}]})
    (fixture,) = scene.fixtures
    assert (fixture.name, fixture.dimming, fixture.leds.columns) == ("my bar", 0.6, 36)
    assert (fixture.output.lumens, fixture.output.watts, fixture.output.efficacy) == (2000, 24, None)


def test_plants_that_build_on_others_want_their_light(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = '[[plants]]\nname = "{}"\nabout = "Mine."\nsource = "own"\nsets = {{ from = "{}", height = "7 cm" }}\n'
    (tmp_path / "mine.toml").write_text(text.format("my lawn", "hairgrass"), "utf-8")
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    place = [["10 cm", "10 cm"], ["20 cm", "20 cm"]]
    zone = {"name": "lawn", "rectangle": place, "for": "my lawn"}
    plants = {"from": "my lawn", "rectangle": place}
    scene = scene_from_dict({"tank": {"from": "55 gallon"}, "zone": [zone], "plants": [plants]})
    band = scene.zones[0].wanted(added_co2=True)
    assert band == scene.plants[0].wanted(added_co2=True)
    assert band is not None
    assert (band.low, band.high, band.note) == (40, 70, "for my lawn")
    (tmp_path / "mine.toml").write_text("# mine\n" + text.format("my lawn", "hairgras"), "utf-8")
    with pytest.raises(
        SceneError, match=r"mine\.toml:6: sets\.from: the catalogue has no plants of that name; did you"
    ):
        scene_from_dict({"tank": {"from": "55 gallon"}, "plants": [plants]})


def test_files_named_by_an_entry_are_looked_for_beside_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = '[[stone]]\nname = "scan"\nabout = "A scanned stone."\nsource = "own scan"\n'
    (tmp_path / "mine.toml").write_text(text + 'sets = { mesh = "scan.stl", unit = "mm" }\n', "utf-8")
    (line,) = said(tmp_path)
    assert line.startswith("mine.toml:5: stone[0].mesh: no such mesh file; give")
    assert f"(got '{str(tmp_path)[:20]}" in line
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    with pytest.raises(SceneError, match=r"mine\.toml:5: .*no such mesh file"):
        scene_from_dict({"tank": {"from": "55 gallon"}, "stone": [{"from": "scan", "at": ["9 cm", "9 cm"]}]})
    # Another entry of the folder is still used.
    assert scene_from_dict({"tank": {"from": "55 gallon"}}).tank.rim is not None


def test_the_folder_is_named_by_the_variable_or_is_the_users_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv(FOLDER_VARIABLE, raising=False)
    assert own_folder().name == "catalogue"
    assert "underlit" in own_folder().parts
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "none"))
    assert [str(problem) for problem in load_catalogue().problems] == [f"{tmp_path / 'none'}: no such folder"]
    (tmp_path / "x.toml").write_bytes(b"\xff\xfe")
    assert said(tmp_path) == ["x.toml:1: is not a text in UTF-8: save it in that encoding"]


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=200))
def test_any_text_in_the_folder_is_lines_for_people(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    folder = tmp_path_factory.mktemp("own")
    (folder / "mine.toml").write_text(text, "utf-8", newline="")
    known = checked(load_catalogue(folder))
    assert all(len(str(problem).splitlines()) == 1 for problem in known.problems)
    assert known.find(Kind.TANK, "40 breeder") is not None
