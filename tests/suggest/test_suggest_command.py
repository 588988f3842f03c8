"""`underlit suggest`: what it prints and writes, and what it refuses."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from underlit.cli import main
from underlit.planning.ends import DIM_ENDS
from underlit.scene import load_scene

SCENE = """\
title = "a small box"
[tank]
inside_size = ["30 cm", "20 cm", "20 cm"]
glass_thickness = "4 mm"
[water]
above_bottom = "17 cm"
[substrate]
material = "gravel"
depth = "2 cm"
[[fixture]]
name = "clip"
size = ["12 cm", "4 cm", "1 cm"]
leds = { rows = 1, columns = 4 }
output = { ppf = "6 umol/s", watts = "3 W" }
above_rim = "5 cm"
[[zone]]
name = "bed"
rectangle = [["5 cm", "5 cm"], ["25 cm", "15 cm"]]
band = [15, 35]
"""


@pytest.fixture
def scene(tmp_path: Path) -> str:
    """A scene file."""
    path = tmp_path / "box.toml"
    path.write_text(SCENE, encoding="utf-8")
    return str(path)


def test_prints_and_writes(scene, tmp_path, capsys):
    """Table, words, sheet and picture; the sheet's first line is the tank as it is."""
    out = tmp_path / "out"
    arguments = ["--most", "1", "--above-rim", "5 cm", "5 cm", "--photons", "65536", "--out", str(out)]
    assert main(["suggest", scene, *arguments]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "It meets the zone" in said
    with open(out / "suggestions.csv", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["rank"] for row in rows[:2]] == ["now", "1"]
    assert rows[0]["what_to_hang"] == "as it is"
    assert 15 <= float(rows[1]["bed: ppfd_umol_m2_s"]) <= 35
    assert float(rows[1]["highest_share_of_full_power"]) <= 0.7
    # as it is and the first one are always shown; a margin keeps clear of the simulation error
    shares = [float(row["ends_over_middle"]) for row in rows]
    assert said.count("at each end get") >= sum(share < DIM_ENDS - 0.05 for share in shares[:2])
    assert said.count("at each end get") <= sum(share < DIM_ENDS + 0.05 for share in shares)
    assert (out / "suggestions.png").read_bytes()[:4] == b"\x89PNG"
    # the scene file of the best says just what was suggested
    again = load_scene(out / "suggestion-1.toml")
    fixture = again.fixtures[0]
    assert fixture.level_of(fixture.channels[0]) == pytest.approx(float(rows[1]["highest_share_of_full_power"]))
    assert fixture.above_rim == pytest.approx(0.05)
    assert [zone.name for zone in again.zones] == ["bed"]


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--most", "9"], r"--most: must be a whole number from 1 to 3"),
        (["--above-rim", "5", "9"], r"--above-rim: "),
        (["--above-rim", "50 cm", "9 cm"], r"the lower height over the rim"),
        (["--price", "clip"], r"--price: give a fixture and its price"),
        (["--price", "clop=3"], r"not one of the fixtures: clip"),
        (["--lights", "no.toml"], r"no\.toml"),
        (["--lights", "no such light"], r"the catalogue has no fixture of that name"),
        (["--order", "zones", "zones"], r"the order must name each item once"),
        (["--show", "0"], r"--show"),
    ],
)
def test_refuses_in_one_line(scene, tmp_path, capsys, more, says):
    """One clear line, status 2, nothing written."""
    assert main(["suggest", scene, "--out", str(tmp_path / "out"), *more]) == 2
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 1
    assert re.search(says, said[0])
    assert not (tmp_path / "out").exists()


def test_refuses_a_scene_without_bands(tmp_path, capsys):
    """Nothing to meet: one line says what to add."""
    path = tmp_path / "box.toml"
    path.write_text(SCENE.replace("band = [15, 35]\n", ""), encoding="utf-8")
    assert main(["suggest", str(path)]) == 2
    assert capsys.readouterr().err.strip() == "no zone has a target: give zones a need or a band"
