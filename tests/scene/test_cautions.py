"""What can be traced but is seldom meant is told before anything else, with the figure; what is usual is not."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from underlit.lowering.scene import lower
from underlit.report.summary import cautions_of
from underlit.scene import load_scene, scene_from_dict
from underlit.scene.checks.cautions import cautions

SCENES = Path(__file__).resolve().parents[2] / "scenes"
BAR = {"name": "bar", "size": ["28 cm", "4 cm", "1 cm"], "leds": {"rows": 1, "columns": 4}, "above_rim": "5 cm"}


def tank(**more: Any) -> Any:
    """A 30 x 20 x 20 cm tank of 4 mm glass."""
    said = {"inside_size": ["30 cm", "20 cm", "20 cm"], "glass_thickness": "4 mm"}
    return scene_from_dict({"tank": said, "substrate": {"depth": "2 cm"}, "fixture": [BAR], **more})


@pytest.mark.parametrize("path", sorted(SCENES.glob("*.toml")), ids=lambda path: path.stem)
def test_shipped_scenes_need_none(path: Path) -> None:
    scene = load_scene(path)
    assert cautions(scene) == []
    if scene.fixtures:
        assert cautions_of(lower(scene)) == []


def test_a_light_that_reaches_beyond_the_tank_is_told_with_by_how_much() -> None:
    long = {**BAR, "size": ["45 cm", "4 cm", "1 cm"]}
    (line,) = cautions(tank(fixture=[{**long, "position": ["15 cm", "10 cm"]}]))
    # half of 45 cm from the middle at 15 cm, less 4 mm of glass
    assert line.startswith("bar reaches beyond the tank by 7.1 cm")
    assert line.count("7.1 cm") == 2
    (line,) = cautions(tank(fixture=[{**BAR, "position": ["15 cm", "-1 cm"]}]))
    assert "on the front" in line
    # a light as long as the tank with its glass, and a hair more
    assert cautions(tank(fixture=[{**BAR, "size": ["32 cm", "4 cm", "1 cm"]}])) == []


def test_outlines_beyond_the_glass_are_told_with_their_share() -> None:
    carpet = {"kind": "carpet", "height": "2 cm", "density": "thin", "seed": 1}
    zone = {"need": "medium"}
    made = tank(
        plants=[
            {"name": "out", "rectangle": [["20 cm", "2 cm"], ["40 cm", "8 cm"]], **carpet},
            {"name": "in", "rectangle": [["2 cm", "2 cm"], ["10 cm", "8 cm"]], **carpet},
        ],
        zone=[{"name": "corner", "rectangle": [["20 cm", "10 cm"], ["30 cm", "30 cm"]], **zone}],
    )
    lines = cautions(made)
    assert [line.split(":")[0] for line in lines] == ["out", "corner"]
    assert all("50 % of its outline" in line for line in lines)


def test_a_stone_mostly_cut_off_is_a_caution_and_a_little_is_a_note() -> None:
    stone = {"shape": "jagged", "at": ["15 cm", "10 cm"], "seed": 3}
    much = lower(tank(stone=[{"name": "rock", "size": ["1.5 m", "4 cm", "5 cm"], **stone}]))
    (line,) = cautions_of(much)
    assert line.startswith("rock: ")
    assert "of its surface lay beyond the glass and was cut off: check the size" in line
    assert not [note for note in much.compiled.notes if "cut off" in note], "told once"
    little = lower(tank(stone=[{"name": "rock", "size": ["31 cm", "4 cm", "5 cm"], **stone}]))
    assert cautions_of(little) == []
    assert [note for note in little.compiled.notes if "cut off" in note]
