"""`underlit sheet` and `underlit fit`: a sheet, its csv filled in, a corrected scene; and what is refused."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from fitted_tanks import LIGHT, toml

from underlit.cli import main
from underlit.planning.fit.readings import read_readings
from underlit.planning.fit.sheet import Sheet, reading_sheet, template_csv
from underlit.report.decisions.reading_sheet import sheet_page, write_reading_sheet
from underlit.scene import Scene, load_scene
from underlit.viz.overlay import Overlay
from underlit.viz.sheets.reading_sheet import PAGE_IN, Paper, draw_sheet

FEW = ["--photons", "65536"]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the scene file tank.toml, to work in."""
    (tmp_path / "tank.toml").write_text(toml(), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture(scope="module")
def six(tmp_path_factory: pytest.TempPathFactory) -> tuple[Scene, Sheet]:
    """The scene and its sheet of six rows."""
    file = tmp_path_factory.mktemp("sheet") / "tank.toml"
    file.write_text(toml(), encoding="utf-8")
    loaded = load_scene(file)
    return loaded, reading_sheet(loaded, rows=6, photons=1 << 15)


def _filled(sheet_csv: str, factor: float) -> str:
    """The sheet's csv with what it predicts times a factor typed in."""
    lines = sheet_csv.splitlines()
    comments = [line for line in lines if line.startswith("#")]
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({**row, "value": f"{factor * float(row['predicted']):.1f}"})
    return "\n".join(comments) + "\n" + text.getvalue()


def test_a_sheet_filled_in_is_fitted(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Readings that are 30 % under all predictions: the output comes out about 30 % low, and files are whole."""
    assert main(["sheet", "tank.toml", *FEW, "--spots", "6"]) == 0
    assert (folder / "tank-readings.pdf").read_bytes().startswith(b"%PDF")
    filled = _filled((folder / "tank-readings.csv").read_text(), 0.7)
    (folder / "filled.csv").write_text(filled)
    assert main(["fit", "tank.toml", "filled.csv", *FEW, "--tables"]) == 0
    said = capsys.readouterr().out
    for words in (
        "The scene as corrected by the readings",
        "Best next reading",
        "Correlation of the values found",
    ):
        assert words in said
    answer = json.loads((folder / "tank-fitted.json").read_text())
    output = answer["parameters"][0]
    assert output["scene"] == pytest.approx(40)
    assert output["low_95"] < output["found"] < output["high_95"]
    assert output["found"] == pytest.approx(28, rel=0.06)
    assert (folder / "tank-fitted.png").read_bytes().startswith(b"\x89PNG")
    assert load_scene(folder / "tank-fitted.toml").fixtures[0].claimed_ppf == pytest.approx(output["found"], rel=1e-4)


def test_the_light_carried_into_another_tank(folder: Path) -> None:
    (folder / "other.toml").write_text(toml(tank={"inside_size": ["60 cm", "40 cm", "40 cm"]}))
    (folder / "read.csv").write_text("name,value\nmiddle,60\ncorner,30\n")
    assert main(["fit", "tank.toml", "read.csv", "--carry", "other.toml", *FEW]) == 0
    ppf = load_scene(folder / "tank-fitted.toml").fixtures[0].claimed_ppf
    assert load_scene(folder / "other-fitted.toml").fixtures[0].claimed_ppf == pytest.approx(ppf)


@pytest.mark.parametrize("command", ["fit", "sheet"])
def test_help_tells_every_option(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    main([command, "--help"])
    said = " ".join(capsys.readouterr().out.replace("│", " ").split())
    assert "Parameters ------" not in said
    for words in ("The scene file (TOML)", "Seed of the random numbers.", "Worker threads"):
        assert words in said


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["fit", "tank.toml", "none.csv"], "none.csv: cannot be read"),
        (["fit", "tank.toml", "bad.csv"], "bad.csv:2: value: ppfd must be a number"),
        (["fit", "none.toml", "good.csv"], "none.toml: cannot be read"),
        (["fit", "tank.toml", "good.csv", "--out", "tank.toml"], "--out: tank.toml is one of the scenes given"),
        (["fit", "tank.toml", "good.csv", "--out", "."], "--out: . is a folder; name a TOML file"),
        (["fit", "dark.toml", "good.csv"], "dark.toml: the scene has no light: add a [[fixture]]"),
        (["fit", "tank.toml", "good.csv", "--photons", "3"], "--photons: must be a whole number of 32768 or more"),
        (
            ["fit", "stone.toml", "stone.csv", "--photons", "32768"],
            "stone.toml: reading 1 (in it): the model has no light",
        ),
        (
            ["fit", "tank.toml", "good.csv", "--carry", "two.toml"],
            "--carry: two.toml: fixture 'left' is not one of the fitted",
        ),
        (["sheet", "tank.toml", "--out", "sheet.txt"], "--out: must end in .pdf or .png (got 'sheet.txt')"),
        (["sheet", "dark.toml"], "dark.toml: the scene has no light"),
    ],
)
def test_refusals_are_one_line(
    folder: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    (folder / "bad.csv").write_text("name,value\nmiddle,bright\n")
    (folder / "good.csv").write_text("name,value\nmiddle,50\n")
    (folder / "stone.csv").write_text("name,x,y,z,value\nin it,22 cm,15 cm,8 cm,50\n")
    stone = {
        "name": "block",
        "shape": "rounded",
        "seed": 1,
        "size": ["12 cm", "12 cm", "12 cm"],
        "at": ["22 cm", "15 cm"],
    }
    (folder / "stone.toml").write_text(toml(stone=[stone]))
    lights = [{**LIGHT, "name": "left"}, {**LIGHT, "name": "bar", "above_rim": "30 cm", "output": {"ppf": "9 umol/s"}}]
    (folder / "two.toml").write_text(toml(fixture=lights))
    (folder / "dark.toml").write_text(toml(fixture=[]).replace("fixture = []", ""))
    assert main(arguments) == 2
    err = capsys.readouterr().err
    assert err.startswith(said)
    assert err.count("\n") == 1


def test_the_sheet_says_what_to_mind_and_keeps_to_the_paper(six: tuple[Scene, Sheet]) -> None:
    _, sheet = six
    assert [row.number for row in sheet.rows] == [1, 2, 3, 4, 5, 6]
    assert {"middle", "corner"} <= {row.name for row in sheet.rows}
    assert all(row.low < row.ppfd < row.high for row in sheet.rows)
    page = sheet_page(sheet)
    words = " ".join(page.before) + page.cautions
    for needed in (
        "20-30 minutes", "room light off", "curtains", "head level", "height given over the substrate", "Keep your hand",
        "5-10 seconds", "underwater correction", "Electricity over water",
    ):  # fmt: skip
        assert needed in words
    for paper in Paper:
        for figure in draw_sheet(page, Overlay(0.45, 0.3, 0.3), (), paper):
            assert tuple(figure.get_size_inches()) == pytest.approx(PAGE_IN[paper])
            wide, tall = figure.bbox.width, figure.bbox.height
            for text in figure.texts:
                box = text.get_window_extent()
                inside = box.x0 > 0 and box.x1 < wide and box.y0 > 0 and box.y1 < tall
                assert inside, text.get_text()


def test_many_spots_go_on_another_page(folder: Path) -> None:
    loaded = load_scene(folder / "tank.toml")
    sheet = reading_sheet(loaded, rows=20, photons=1 << 15)
    files = write_reading_sheet(sheet, folder / "many.png", Paper.LETTER)
    assert [file.name for file in files] == ["many.png", "many-2.png", "many.csv"]


def test_the_template_reads_back_as_the_same_places(folder: Path, six: tuple[Scene, Sheet]) -> None:
    loaded, sheet = six
    (folder / "t.csv").write_text(_filled(template_csv(loaded, sheet.rows), 1.0))
    read = read_readings(folder / "t.csv", loaded)
    assert len(read) == 6
    for reading, row in zip(read, sheet.rows, strict=True):
        assert reading.at == pytest.approx(row.at, abs=1e-4)
        assert reading.setting.lid is row.lid


def test_a_rack_with_a_light_on_each_tank(folder: Path) -> None:
    """Both lights are of one make: the readings in one tank correct both, each in its own file."""
    (folder / "second.toml").write_text(toml(fixture=[{**LIGHT, "name": "second"}]))
    rack = '\n[[rack]]\nname = "second"\nfile = "second.toml"\nat = ["60 cm", "0 cm"]\n'
    (folder / "rack.toml").write_text(toml() + rack)
    loaded = load_scene(folder / "rack.toml")
    assert main(["fit", "rack.toml", str(_readings(folder)), *FEW]) == 0
    again = load_scene(folder / "rack-fitted.toml")
    assert again.rack[0].file.name == "rack-fitted-second.toml"
    outputs = [each.fixtures[0].claimed_ppf for each in again.tank_scenes]
    assert outputs == pytest.approx([outputs[0]] * 2)
    assert outputs[0] != pytest.approx(40, rel=0.02)
    assert again.tank_scenes[1].lid == loaded.tank_scenes[1].lid, "the other tank was not read"
    assert again.lid != loaded.lid


def _readings(folder: Path) -> Path:
    file = folder / "read.csv"
    file.write_text("name,value\nmiddle,50\n")
    return file


def test_the_water_goes_along_only_if_asked(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    readings = str(_readings(folder))
    (folder / "other.toml").write_text(toml(water={"tannin": {"a440_per_m": 0.2}}))
    asked = ["fit", "tank.toml", readings, *FEW, "--carry", "other.toml"]
    for flags, kinds in (([], 2), (["--same-water"], 3)):
        assert main([*asked, *flags]) == 0
        carried = load_scene(folder / "other-fitted.toml")
        assert carried.measured is not None
        assert len(carried.measured.parameters) == kinds
        assert (carried.water.tannin.absorption_440_per_m == 0.2) is (kinds == 2)
    capsys.readouterr()
    assert main(["fit", "tank.toml", readings, "--same-water"]) == 2
    assert "--same-water: says what --carry takes along" in capsys.readouterr().err


def test_readings_that_are_in_the_scene_are_refused_in_one_line(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    readings = str(_readings(folder))
    assert main(["fit", "tank.toml", readings, *FEW]) == 0
    capsys.readouterr()
    assert main(["fit", "tank-fitted.toml", readings, *FEW]) == 2
    said = capsys.readouterr().err
    assert "corrected by these readings already" in said
    assert said.count("\n") == 1
