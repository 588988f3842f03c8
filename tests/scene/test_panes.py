"""One rule for panes of which the scene says nothing: overgrown in a settled, planted tank, else clean; and it says so."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from underlit.planning.chart import tanks
from underlit.planning.cleaning_states import PLANTED_FILMED, PLANTED_WIPED, cleaning_pair
from underlit.planning.plant_map import cleared_bed
from underlit.scene import Scene, SceneError, assumptions, scene_from_dict
from underlit.scene.tank.outline import UPRIGHT_SIDES

CLEAN, OVERGROWN = 0.9, 0.25
PLACE = {"name": "bed", "rectangle": [["1 cm", "1 cm"], ["20 cm", "15 cm"]]}
LAWN = {"name": "lawn", "kind": "carpet", "rectangle": PLACE["rectangle"], "height": "2 cm"}


def tank(panes: object = None, **tables: Any) -> Scene:
    said = {"inside_size": ["30 cm", "20 cm", "20 cm"]} | ({} if panes is None else {"panes": panes})
    return scene_from_dict({"tank": said | tables.pop("tank", {}), "fixture": [{"length": "20 cm"}], **tables})


def shares(scene: Scene) -> set[float]:
    return {scene.returned_per_reflection(side) for side in UPRIGHT_SIDES}


@pytest.mark.parametrize(
    ("tables", "share", "why"),
    [
        ({}, CLEAN, "nothing in the scene is planted"),
        ({"zone": [{**PLACE, "band": [20, 40]}]}, CLEAN, "nothing in the scene is planted"),
        ({"plants": [LAWN]}, OVERGROWN, 'the tank is planted (plants "lawn")'),
        ({"zone": [{**PLACE, "need": "medium"}]}, OVERGROWN, 'zone "bed" says what its plants need'),
        ({"zone": [{**PLACE, "for": "crypt-like rosettes"}]}, OVERGROWN, 'zone "bed" says what its plants need'),
        ({"plants": [LAWN], "settled": True}, OVERGROWN, "the tank is planted"),
        ({"plants": [LAWN], "settled": False}, CLEAN, "the tank is new (settled = false)"),
    ],
)
def test_the_rule_and_its_line(tables: dict[str, Any], share: float, why: str) -> None:
    scene = tank(**tables)
    assert shares(scene) == {share}
    (line,) = scene.pane_notes
    taken, other = ("overgrown", "clean") if share == OVERGROWN else ("clean", "overgrown")
    assert line.startswith(f"Panes: taken as {taken} ({100 * share:.0f} % returned per reflection), since ")
    assert why in line
    assert f'write panes = "{other}" under [tank]' in line
    assert scene.returned_per_reflection("bottom") == 1


@pytest.mark.parametrize(
    ("panes", "share", "span"),
    [
        ("clean", CLEAN, "0.6-1"),
        ("overgrown", OVERGROWN, "0.1-0.4"),
        ({"returned_per_reflection": 1}, 1.0, None),
        ({"returned_per_reflection": 0}, 0.0, None),
    ],
)
def test_what_the_scene_says_goes_before_the_rule(panes: object, share: float, span: str | None) -> None:
    for tables in ({}, {"plants": [LAWN]}, {"settled": False}):
        scene = tank(panes, **tables)
        assert (shares(scene), scene.pane_notes) == ({share}, [])
        assert [row.range_text for row in assumptions(scene) if row.key == "tank.panes"] == ([span] if span else [])


def test_a_pane_of_its_own_goes_before_all() -> None:
    scene = tank("clean", tank={"left": {"returned_per_reflection": 0.3}})
    assert [scene.returned_per_reflection(side) for side in UPRIGHT_SIDES] == [0.9, 0.9, 0.3, 0.9]
    (line,) = tank(tank={"left": {"returned_per_reflection": 0.3}}).pane_notes
    assert line.startswith("Panes of front, back, right: taken as clean")
    all_four = {side: {"returned_per_reflection": 0.3} for side in UPRIGHT_SIDES}
    assert tank(tank=all_four, plants=[LAWN]).pane_notes == []


def test_words_that_are_none_are_refused_in_one_line() -> None:
    with pytest.raises(SceneError, match=r"tank\.panes\.name: not a known word; known: clean, overgrown") as refused:
        tank("dirty")
    assert len(refused.value.problems) == 1


def test_a_copy_without_its_zones_keeps_the_panes_of_its_tank() -> None:
    scene = tank(zone=[{**PLACE, "need": "medium"}])
    assert shares(scene.model_copy(update={"zones": (), "spots": ()})) == {OVERGROWN}


def test_each_tank_of_a_rack_has_its_own(tmp_path: Path) -> None:
    (tmp_path / "other.toml").write_text('settled = false\n[tank]\ninside_size = ["30 cm", "20 cm", "20 cm"]\n')
    rack = [{"name": "new one", "file": str(tmp_path / "other.toml"), "at": ["50 cm", "0 cm"]}]
    scene = tank(plants=[LAWN], rack=rack)
    assert [shares(each) for each in scene.tank_scenes] == [{OVERGROWN}, {CLEAN}]
    told = [note.split(" (")[0] for note in scene.pane_notes]
    assert told == ["Panes of this tank: taken as overgrown", "Panes of new one: taken as clean"]
    (tmp_path / "other.toml").write_text('[tank]\ninside_size = ["30 cm", "20 cm", "20 cm"]\n')
    (line,) = tank(rack=rack).pane_notes
    assert line.startswith("Panes of all tanks: taken as clean")


def test_chart_and_plant_map_follow_the_rule(tmp_path: Path) -> None:
    """They are asked where plants are to grow: that is a word for it, and a new tank or a word of the scene still counts."""
    file = tmp_path / "bare.toml"
    text = '[tank]\ninside_size = ["30 cm", "20 cm", "20 cm"]\n'
    file.write_text(text)
    of_file, of_entry = tanks([file, "20 high"])
    assert shares(of_file.scene) == shares(of_entry.scene) == {OVERGROWN}
    assert [shares(spot.scene) for spot in tanks([file, "20 high"], settled=False)] == [{CLEAN}] * 2
    file.write_text(f'settled = false\n{text}panes = "clean"\n')
    assert [shares(tanks([file], settled=settled)[0].scene) for settled in (True, None)] == [{CLEAN}] * 2
    assert shares(cleared_bed(tank())[0]) == {OVERGROWN}
    assert shares(cleared_bed(tank(settled=False))[0]) == {CLEAN}
    assert shares(cleared_bed(tank({"returned_per_reflection": 0.5}))[0]) == {0.5}


@pytest.mark.parametrize(
    ("scene", "expected"),
    [
        (tank(plants=[LAWN]), (PLANTED_WIPED, PLANTED_FILMED)),
        (tank("overgrown"), (PLANTED_WIPED, PLANTED_FILMED)),
        (tank(), (0.9, 0.81)),
        (tank({"returned_per_reflection": 0.5}, plants=[LAWN]), (0.5, 0.45)),
    ],
)
def test_cleaning_starts_from_the_same_rule(scene: Scene, expected: tuple[float, float]) -> None:
    clean, before, _ = cleaning_pair(scene)
    assert (*shares(clean), *shares(before)) == pytest.approx(expected)
