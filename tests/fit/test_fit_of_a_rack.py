"""Sheet and fit of one tank of a rack: places in its frame, its parameters and the shared light, the right files corrected."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from underlit.cli import main
from underlit.lowering.scene import lower
from underlit.planning.fit import fit, made_reading
from underlit.planning.fit.belief import belief
from underlit.planning.fit.corrected import carried_text, corrected_files, corrected_text, why_not_carried
from underlit.planning.fit.fitting import Found, scene_parameters
from underlit.planning.fit.light import Place, dimming_of, lowered_for
from underlit.planning.fit.parameters import Kind
from underlit.planning.fit.readings import LidState, Reading, Setting
from underlit.planning.fit.sheet import reading_sheet
from underlit.planning.zones import zone_reports
from underlit.report.decisions.reading_sheet import before_reading
from underlit.run import Traced, trace
from underlit.scene import Scene, load_scene

RACK = Path(__file__).resolve().parents[2] / "scenes" / "rack-of-three.toml"
TEA = 2
"""Number in the rack of the tank that is read here."""
OUTPUT, TINT = 0.7, 4.0
"""Planted: the shared light gives this share of its claim, the water has this many times its tint."""


@lru_cache
def seen() -> Scene:
    rack = load_scene(RACK)
    return rack.seen_from(TEA)


def places() -> list[Place]:
    """Six heads in the tank, at two depths, in its own frame [m]."""
    return [(x, y, z) for z in (0.06, 0.2) for x, y in ((0.06, 0.15), (0.15, 0.08), (0.2, 0.22))]


def planted_readings() -> list[Reading]:
    """What meters show in the rack with the planted changes, traced as scenes and not by the fit's own weights."""
    scene = seen()
    more = TINT * scene.water.tannin.absorption_440_per_m
    tint = scene.water.tannin.model_copy(update={"name": None, "a440_per_m": more})
    water = scene.water.model_copy(update={"tannin": tint})
    changed = lowered_for(scene.model_copy(update={"water": water}), Setting(LidState.OFF), places())
    traced = trace(changed, photons=1 << 22, seed=77)
    assert isinstance(traced, Traced)
    heads = traced.tanks[""].result.head_estimates()
    return [
        made_reading(scene, f"reading {i}", place, OUTPUT * head.value)
        for i, (place, head) in enumerate(zip(places(), heads, strict=True))
    ]


@lru_cache
def found() -> Found:
    return fit(seen(), planted_readings(), photons=1 << 20, advice=2)


def test_parameters_are_those_of_the_tank_and_of_the_light_that_reaches_it() -> None:
    parameters = {p.kind: p for p in scene_parameters(seen())}
    assert parameters[Kind.OUTPUT].of == ("rack-of-three: shelf light",)
    assert parameters[Kind.TINT].start == seen().water.tannin.absorption_440_per_m
    assert parameters[Kind.TINT].start > 3 * load_scene(RACK).water.tannin.absorption_440_per_m


def test_simulated_readings_in_a_tank_of_the_rack_recover_what_was_planted() -> None:
    fitted = found().fitted
    kinds = [p.kind for p in fitted.parameters]
    output, tint = kinds.index(Kind.OUTPUT), kinds.index(Kind.TINT)
    low, high = fitted.interval(output)
    assert low < OUTPUT < high
    assert high < 1, "the claim is ruled out"
    low, high = fitted.interval(tint)
    assert low < TINT * fitted.parameters[tint].start < high
    assert fitted.value(tint) > 2 * fitted.parameters[tint].start
    assert all(abs(r.departure) < 0.05 for r in fitted.residuals)


def test_next_readings_lie_in_the_tank() -> None:
    length, depth, _ = seen().tank.inside_m
    assert found().next
    in_tank = [one for one in found().next if not one.setting.under]
    assert in_tank
    for one in in_tank:
        assert 0 < one.at[0] < length
        assert 0 < one.at[1] < depth


def test_each_file_that_changes_is_corrected(tmp_path: Path) -> None:
    """The tank's file gets its water, the rack's file the light; the other tanks stay as they are."""
    rack, out = load_scene(RACK), tmp_path / "out.toml"
    for path, text in corrected_files(found().fitted, rack, TEA, out).items():
        path.write_text(text, encoding="utf-8")
    assert {path.name for path in tmp_path.iterdir()} == {"out.toml", "out-right-tea-stained.toml"}
    again = load_scene(out)
    value = {p.kind: found().fitted.value(k) for k, p in enumerate(found().fitted.parameters)}
    assert again.fixtures[0].claimed_ppf == pytest.approx(value[Kind.OUTPUT] * rack.fixtures[0].claimed_ppf, rel=1e-4)
    tints = [each.water.tannin.absorption_440_per_m for each in again.tank_scenes]
    before = [each.water.tannin.absorption_440_per_m for each in rack.tank_scenes]
    assert tints == [before[0], before[1], pytest.approx(value[Kind.TINT], rel=1e-4)]
    assert [(tank.name, tank.at) for tank in again.rack] == [(tank.name, tank.at) for tank in rack.rack]
    assert again.notes == rack.notes
    own, *_, tea = (each.measured for each in again.tank_scenes)
    assert own is not None
    assert tea is not None
    assert {str(p.what) for p in own.parameters} <= {"output", "beam angle"}
    assert "tannin tint" in {str(p.what) for p in tea.parameters}
    assert (own.taken, len(tea.taken)) == ((), len(found().fitted.residuals))
    seen_again = again.seen_from(TEA)
    assert belief(seen_again, scene_parameters(seen_again)).measured.all()
    with pytest.raises(ValueError, match="several scene files"):
        corrected_text(found().fitted, out)


OTHER = """\
title = "a tank of its own"
[tank]
inside_size = ["80 cm", "35 cm", "40 cm"]
[lid]
[[plants]]
name = "moss"
kind = "carpet"
rectangle = [["4 cm", "3 cm"], ["26 cm", "12 cm"]]
height = "2 cm"
[[fixture]]
name = "{name}"
size = ["90 cm", "8 cm", "2 cm"]
leds = {{ rows = 2, columns = 60, face = "3 mm" }}
output = {{ ppf = "30 umol/s", watts = "13 W" }}
above_rim = "20 cm"
[[fixture.channel]]
name = "white"
spectrum = "LED-B4"
[[zone]]
name = "bed"
rectangle = [["5 cm", "5 cm"], ["75 cm", "30 cm"]]
need = "undemanding"
"""


def test_what_a_rack_told_of_its_light_goes_with_the_light(tmp_path: Path) -> None:
    """Carried over a single tank: the light is known there as in the rack, and the tank stays as it was said to be."""
    (tmp_path / "own.toml").write_text(OTHER.format(name="over the sideboard"), encoding="utf-8")
    other, out = load_scene(tmp_path / "own.toml"), tmp_path / "carried.toml"
    out.write_text(carried_text(found().fitted, other, out), encoding="utf-8")
    carried = load_scene(out)
    value = {p.kind: found().fitted.value(k) for k, p in enumerate(found().fitted.parameters)}
    (light,) = carried.fixtures
    assert light.claimed_ppf == pytest.approx(value[Kind.OUTPUT] * 30, rel=1e-4)
    assert (light.name, light.above_rim, light.output.watts) == ("over the sideboard", 0.2, 13)
    untouched = {"fixtures", "base", "measured"}
    assert carried.model_dump(exclude=untouched) == other.model_dump(exclude=untouched)
    assert carried.measured is not None
    assert {p.what for p in carried.measured.parameters} == {Kind.OUTPUT, Kind.BEAM} & set(value)
    assert all(p.of == ("over the sideboard",) for p in carried.measured.parameters)
    # the truth is known: the light gives its share of the claim over this tank too
    lit = []
    for scene in (carried, other):
        traced = trace(lower(scene), photons=1 << 18, seed=5)
        assert isinstance(traced, Traced)
        lit.append(next(r.ppfd.value for r in zone_reports(traced.lowered, traced.result) if r.name == "bed"))
    error = _known_output(carried)
    assert error < 0.7 * _known_output(other)
    assert abs(np.log(lit[0] / (OUTPUT * lit[1]))) < 2 * error


def _known_output(scene: Scene) -> float:
    """How well the output is known before any reading in a scene, relative."""
    parameters = scene_parameters(scene)
    return float(belief(scene, parameters).sd[[p.kind for p in parameters].index(Kind.OUTPUT)])


def test_lights_of_two_tanks_that_cannot_be_told_apart_are_not_carried(tmp_path: Path) -> None:
    """Where a rack has two makes and two lights of one name, the other tank's light must be told apart by its name."""
    rack = seen()
    strange = rack.rack[0].scene.fixtures[0]
    again = strange.model_copy(update={"body_reflectance": 0.3})
    lit = rack.rack[1].with_scene(rack.rack[1].scene.model_copy(update={"fixtures": (again,)}))
    two = rack.model_copy(update={"rack": (rack.rack[0], lit)})
    (tmp_path / "own.toml").write_text(OTHER.format(name="shelf light"), encoding="utf-8")
    said = why_not_carried(two, load_scene(tmp_path / "own.toml"))
    assert "several tanks of the rack have a fixture 'shelf light'; give them different names" in said


def test_the_command_carries_from_a_rack(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "own.toml").write_text(OTHER.format(name="shelf light"), encoding="utf-8")
    (tmp_path / "read.csv").write_text("name,value\nmiddle,9\n", encoding="utf-8")
    asked = ["--tank", "right, tea-stained", "--carry", "own.toml", "--photons", "65536"]
    assert main(["fit", str(RACK), "read.csv", *asked]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "own-fitted.toml" in said
    carried, corrected = load_scene(tmp_path / "own-fitted.toml"), load_scene(tmp_path / "rack-of-three-fitted.toml")
    assert carried.fixtures[0].claimed_ppf == pytest.approx(corrected.fixtures[0].claimed_ppf)
    assert carried.fixtures[0].claimed_ppf < 30
    assert carried.title == "a tank of its own"


def test_a_reading_dims_the_light_of_its_tank_wherever_it_stands() -> None:
    sources = lower(seen()).compiled.sources
    assert dimming_of(seen(), sources, 0.5).tolist() == pytest.approx([0.5])
    hung = lowered_for(seen(), Setting(LidState.OFF, 0.2), []).rack[1].scene
    assert hung.fixture_centre_m(hung.fixtures[0])[2] == pytest.approx(seen().tank.inside_m[2] + 0.2)


def test_spots_of_a_sheet_lie_in_the_tank() -> None:
    rack = load_scene(RACK)
    round_tank = rack.seen_from(1)
    sheet = reading_sheet(round_tank, rows=5, photons=1 << 16)
    assert len(sheet.rows) == 5
    assert "at full power, 12 cm" in before_reading(sheet.lowered.scene)[0], "the light of the rack's own tank"
    assert "middle" in [row.name for row in sheet.rows]
    for row in sheet.rows:
        assert np.hypot(row.at[0] - 0.15, row.at[1] - 0.15) < 0.15, "inside the cylinder, in its own frame"
        assert row.low < row.ppfd < row.high
    assert {mesh.part.tank for mesh in sheet.lowered.compiled.meshes} == {0}


def test_the_commands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(tmp_path)
    few = ["--photons", "65536"]
    assert main(["sheet", str(RACK), "--tank", "left, round", "--spots", "3", *few]) == 0
    assert (tmp_path / "rack-of-three-left-round-readings.csv").is_file()
    (tmp_path / "read.csv").write_text("name,value\nmiddle,20\n")
    assert main(["fit", str(RACK), "read.csv", "--tank", "left, round", *few]) == 0
    said = " ".join(capsys.readouterr().out.split())
    corrected = "rack-of-three-fitted-left-round.toml"
    assert f"{corrected} corrects the tank 'left, round'; rack-of-three-fitted.toml is the rack with it" in said
    assert "To trace the corrected rack: underlit trace rack-of-three-fitted.toml" in said
    assert json.loads((tmp_path / "rack-of-three-fitted.json").read_text())["title"] == "30 cm round tank"
    assert load_scene(tmp_path / "rack-of-three-fitted.toml").rack[0].file.name == corrected


@pytest.mark.parametrize("command", [["sheet"], ["fit", "read.csv"]])
def test_a_tank_that_is_not_there_is_refused(command: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command[0], str(RACK), *command[1:], "--tank", "attic"]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("--tank: no tank of the rack has that name; there are: 'left, round'")
