"""A reading in air below a light, away from the tank: as the light alone gives it, told from the lid, proposed, typed in."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from fitted_tanks import LIGHT, scene

from underlit.planning.fit import ReadingsError, fit, made_reading, read_readings
from underlit.planning.fit.advise import NEAR_M
from underlit.planning.fit.parameters import Kind, exponent_of
from underlit.planning.fit.readings import LidState, Medium, Setting, open_reading
from underlit.planning.fit.sheet import reading_sheet, template_csv
from underlit.scene import Scene

BELOW = 0.30


def _straight(tank: Scene) -> float:
    """PPFD below the middle of the light by its LEDs alone: sum of I(angle) cos(angle) / r^2."""
    (light,) = tank.fixtures
    m = exponent_of(100.0)
    places = light.board.points
    r2 = (places**2).sum(axis=1) + BELOW**2
    cosine = BELOW / np.sqrt(r2)
    return float((light.claimed_ppf / len(places) * (m + 1) / (2 * math.pi) * cosine ** (m + 1) / r2).sum())


def test_the_model_gives_what_the_leds_give_alone() -> None:
    tank = scene()
    reading = open_reading(tank, "bar", BELOW, 130.0)
    (residual,) = fit(tank, [reading], photons=1 << 19, advice=0).fitted.residuals
    assert residual.before == pytest.approx(_straight(tank), rel=0.02)


def test_another_light_is_off_meanwhile() -> None:
    other = {
        **LIGHT,
        "name": "other",
        "output": {"ppf": "80 umol/s"},
        "position": ["22 cm", "15 cm"],
        "above_rim": "20 cm",
    }
    alone, two = scene(), scene(fixture=[LIGHT, other])
    got = [
        fit(tank, [open_reading(tank, "bar", BELOW, 130.0)], photons=1 << 18, advice=0).fitted.residuals[0].before
        for tank in (alone, two)
    ]
    assert got[1] == pytest.approx(got[0], rel=0.04)


def test_it_tells_the_output_from_the_lid() -> None:
    tank = scene(lid={"dirt": 0.75})
    under = [made_reading(tank, f"{x}", (x, 0.15, 0.07), 110.0) for x in (0.15, 0.30)]
    above = open_reading(tank, "bar", BELOW, 130.0)
    sd = [fit(tank, given, photons=1 << 16, advice=0).fitted.sd for given in (under, [*under, above])]
    kinds = [p.kind for p in fit(tank, [above], photons=1 << 16, advice=0).fitted.parameters]
    left = {kind: sd[1][kinds.index(kind)] / sd[0][kinds.index(kind)] for kind in (Kind.OUTPUT, Kind.LID)}
    assert left[Kind.OUTPUT] < 0.85
    assert left[Kind.LID] < 0.85


def test_no_place_is_proposed_that_was_read() -> None:
    tank = scene()
    readings = [made_reading(tank, "middle", (0.225, 0.15, 0.07), 130.0), open_reading(tank, "bar", BELOW, 130.0)]
    found = fit(tank, readings, photons=1 << 16, advice=12)
    proposed = [(n.setting, n.at) for n in found.next]
    assert len(proposed) == 12
    for i, (setting, at) in enumerate(proposed):
        taken = [(r.setting, r.at) for r in readings] + proposed[:i]
        assert all(setting != known or math.dist(at, place) > NEAR_M for known, place in taken)


def test_the_sheet_asks_for_it_and_its_csv_reads_back(tmp_path: Path) -> None:
    tank = scene()
    rows = reading_sheet(tank, rows=8, photons=1 << 16).rows
    (row,) = [row for row in rows if row.setting.under]
    assert (row.medium, row.below_light) == (Medium.AIR, BELOW)
    file = tmp_path / "read.csv"
    head, *lines = [line for line in template_csv(tank, rows).splitlines() if not line.startswith("#")]
    assert "medium" in head.split(",")
    at = head.split(",").index("value")
    filled = [",".join([*cells[:at], "100", *cells[at + 1 :]]) for cells in (line.split(",") for line in lines)]
    file.write_text("\n".join([head, *filled]) + "\n", encoding="utf-8")
    read = read_readings(file, tank)
    assert [r.setting for r in read] == [r.setting for r in rows]
    assert [r.medium for r in read] == [r.medium for r in rows]
    np.testing.assert_allclose([r.at for r in read], [r.at for r in rows], atol=1e-4)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("30 cm,bar,,air,on,20", "a reading in the open (under_light) is without a lid"),
        ("30 cm,bar,,water,,20", "a reading in the open (under_light) is in air"),
        ("30 cm,bar,20 cm,,,20", "has no place in the tank: leave it empty"),
        ("30 cm,lamp,,,,20", "the scene has no such light; name one of bar"),
        ("3 m,bar,,,,20", "the head must be held 5 cm to 2 m below the light"),
        (",bar,20 cm,,,20,10 cm", "is for a reading in the open: give under_light as well"),
    ],
)
def test_what_makes_no_sense_is_said(tmp_path: Path, row: str, said: str) -> None:
    file = tmp_path / "read.csv"
    file.write_text(f"under_light,light,x,medium,lid,value,y\n{row}\n")
    with pytest.raises(ReadingsError) as problem:
        read_readings(file, scene())
    assert said in str(problem.value)


def test_the_only_light_need_not_be_named(tmp_path: Path) -> None:
    file = tmp_path / "read.csv"
    file.write_text("under_light [in],value\n12,140\n")
    (reading,) = read_readings(file, scene())
    assert reading.setting == Setting(LidState.OFF, under="bar")
    assert reading.at[2] == pytest.approx(0.30 + 1.0 - 0.3048)
