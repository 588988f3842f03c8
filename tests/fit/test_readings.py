"""The reader of meter readings: what it takes, and that it says all that is wrong, in which line and column."""

from __future__ import annotations

from pathlib import Path

import pytest
from fitted_tanks import scene

from underlit.planning.fit.readings import Correction, LidState, Medium, Reading, ReadingsError, Setting, read_readings

SCENE = scene()


def _read(tmp_path: Path, text: str) -> list[Reading]:
    file = tmp_path / "readings.csv"
    file.write_text(text, encoding="utf-8")
    return read_readings(file, SCENE)


def _problems(tmp_path: Path, text: str, of: object = SCENE) -> list[str]:
    file = tmp_path / "readings.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(ReadingsError) as caught:
        read_readings(file, of)  # type: ignore[arg-type]
    return [line.removeprefix(f"{file}:") for line in str(caught.value).splitlines()]


def test_a_spot_of_the_scene_by_its_name(tmp_path: Path) -> None:
    (reading,) = _read(tmp_path, "name,value\nmiddle,61\n")
    assert reading.at == pytest.approx((0.22, 0.15, 0.07))
    assert reading.ppfd == 61
    assert reading.setting == Setting(LidState.ON)
    assert reading.medium is Medium.WATER
    assert reading.dimming is None
    assert reading.line == 2


def test_places_with_units_in_cells_or_in_the_head(tmp_path: Path) -> None:
    first, second = _read(
        tmp_path, 'x [in],y (cm),above_substrate,value\n10,15,3 cm,50\n"10 in",15 cm,1 in,51 umol/m2/s\n'
    )
    assert first.at == pytest.approx((0.254, 0.15, 0.07))
    assert second.at == pytest.approx((0.254, 0.15, 0.0654))
    assert second.ppfd == 51


def test_how_the_tank_was_set_up(tmp_path: Path) -> None:
    rows = _read(tmp_path, "name,value,lid,dimming,above_rim\nmiddle,50,off,50 %,10 in\nmiddle,50,ON,0.25,\n")
    assert rows[0].setting == Setting(LidState.OFF, pytest.approx(0.254))
    assert [r.dimming for r in rows] == [0.5, 0.25]
    assert rows[1].setting == Setting(LidState.ON)


def test_the_underwater_correction_is_made_once(tmp_path: Path) -> None:
    """Uncorrected values under water are multiplied by the factor; corrected ones and those in air are not."""
    head = "name,x,y,z,value,corrected,immersion_factor\n"
    rows = _read(tmp_path, head + "middle,,,,50,no,1.2\nmiddle,,,,50,yes,1.2\nair,10 cm,10 cm,29 cm,50,no,1.2\n")
    assert [r.ppfd for r in rows] == [pytest.approx(60), 50, 50]
    assert rows[2].medium is Medium.AIR
    assert [r.correction for r in rows] == [Correction.MADE_HERE, Correction.IN_VALUE, Correction.NOT_NEEDED]
    (unsaid,) = _read(tmp_path, "name,value\nmiddle,50\n")
    assert unsaid.correction is Correction.TAKEN_AS_IN_VALUE


def test_semicolons_decimal_commas_comments_and_empty_boxes(tmp_path: Path) -> None:
    rows = _read(tmp_path, "\ufeff# by hand\nname;value;note\nmiddle;61,5;steady\ncorner;;not read\n\n")
    assert [r.ppfd for r in rows] == [61.5]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "name,vlaue\nmiddle,3\n",
            ['1: there is no such column; did you mean "value"? (got \'vlaue\')', "1: value: the column is missing"],
        ),
        ("value\n50\n", ["1: name: location missing"]),
        ("name,value\nmidle,50\n", ['2: name: the scene has no such spot; did you mean "middle"? (got \'midle\')']),
        ("name,value\nmiddle,bright\n", ["2: value: ppfd must be a number with its unit"]),
        ("name,value\nmiddle,0\n", ["2: value: must be above 0"]),
        ("x,y,value\n10,10 cm,50\n", ["2: x: no unit; a length is written like"]),
        ("x,y,value\n50 cm,10 cm,50\n", ["2: x: must lie inside the tank, 0 to 45.0 cm (got '50.0 cm')"]),
        ("x,y,z,value\n5 cm,5 cm,1 cm,50\n", ["2: z: the head must lie between the substrate (4.0 cm here)"]),
        ("x,y,z,above_substrate,value\n5 cm,5 cm,9 cm,3 cm,50\n", ["2: z: the height is given twice"]),
        ("name,value,lid\nmiddle,50,half\n", ["2: lid: must be on or off (got 'half')"]),
        ("name,value,dimming\nmiddle,50,60\n", ["2: dimming: must be a share of full power, 0.5 or 50 % (got '60')"]),
        ("name,value,medium\nmiddle,50,air\n", ["2: medium: its place lies 19.8 cm under the water surface"]),
        ("name,value,immersion_factor\nmiddle,50,1.2\n", ["2: corrected: give yes if the value includes"]),
        ("name,value,corrected\nmiddle,50,no\n", ["2: immersion_factor: is missing"]),
        ("name,value,immersion_factor,corrected\nmiddle,50,12,no\n", ["2: immersion_factor: must be a factor"]),
        ("name,value [lx]\nmiddle,50\n", ["1: value: unknown unit 'lx'"]),
        ("name,value\nmiddle,\n", ["1: value: holds no reading"]),
        ("", ["1: is empty; the first row must name the columns"]),
        ("name,value\nmiddle,5,7\n", ["2: has 3 cells under 2 columns"]),
    ],
)  # fmt: skip
def test_refusals_name_line_and_column(tmp_path: Path, text: str, said: list[str]) -> None:
    found = _problems(tmp_path, text)
    assert len(found) == len(said)
    for line, beginning in zip(found, said, strict=True):
        assert line.startswith(beginning), line


def test_all_problems_at_once(tmp_path: Path) -> None:
    text = "name,value,lid,dimming\nnowhere,50,on,1\nmiddle,-3,maybe,1\ncorner,40,on,\nmiddle,50,off,200 %\n"
    assert [line.split(":")[0] for line in _problems(tmp_path, text)] == ["2", "3", "3", "5"]


def test_a_lid_that_is_not_there(tmp_path: Path) -> None:
    found = _problems(tmp_path, "name,value,lid\nmiddle,50,on\n", scene(lid=None))
    assert found == ["2: lid: the scene has no lid; add one to the scene (got 'on')"]


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(ReadingsError, match=r"readings\.csv: cannot be read"):
        read_readings(tmp_path / "readings.csv", SCENE)
