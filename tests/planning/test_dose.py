"""Days and years: DLI of a schedule, energy, ageing, dimming steps, cards, refusals."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest
from boxes import BARE_BOX, box, light

from underlit.cli import main
from underlit.lowering.scene import lower
from underlit.planning.dose import AGES, as_decided, dose, energy, left_after, light_of_a_day
from underlit.planning.zones import Verdict
from underlit.report.decisions.dose import dose_csv, energy_words, hours_words, settings_card
from underlit.run import trace
from underlit.scene import Need
from underlit.viz.sheets.reading_sheet import PAGE_IN, Paper
from underlit.viz.sheets.settings_card import draw_cards

PHOTONS = 1 << 16


def answered(scene, **options):
    """The days and years of a scene."""
    traced = trace(lower(scene), photons=PHOTONS)
    return dose(traced.lowered, traced.result, **options)


@pytest.fixture(scope="module")
def bare():
    """Of the bare box."""
    return answered(box(), price=0.30)


def test_light_of_a_day_is_ppfd_times_seconds():
    """100 umol/m2/s for 10 h are 3.6 mol/m2: 100 x 36000 / 10^6."""
    assert light_of_a_day(100, 10) == pytest.approx(3.6)


def test_a_settled_day_and_a_new_one(bare):
    """8 h at the scene's light; 6 h at half to six tenths of it."""
    zone = bare.zones[1]
    value = zone.report.ppfd.value
    assert zone.dli == pytest.approx(value * 8 * 3600 / 1e6)
    assert zone.new_ppfd == pytest.approx((0.5 * value, 0.6 * value))
    assert zone.new_dli == pytest.approx((0.5 * value * 6 * 3600 / 1e6, 0.6 * value * 6 * 3600 / 1e6))


def test_ramps_are_integrated():
    """A triangle of six hours is three hours at its peak, in light and in energy."""
    ramps = light(schedule=[["9:00", 0], ["12:00", 1], ["15:00", 0]])
    del ramps["photoperiod"]
    scene = box(fixture=[ramps])
    zone = answered(scene).zones[1]
    assert zone.dli == pytest.approx(light_of_a_day(zone.report.ppfd.value, 3))
    assert energy(scene).settled_kwh == pytest.approx(1.3 * 3 * 365.25 / 1000)
    assert hours_words(scene.fixtures[0]) == "6 h a day with ramps, equal to 3.0 h"


def test_energy_and_cost(bare):
    """A settled year, and a first one of which four weeks run 6 h at 55 %."""
    a_day = 1.3 * 8 / 1000
    assert bare.energy.settled_kwh == pytest.approx(a_day * 365.25)
    assert bare.energy.first_year_kwh == pytest.approx(a_day * (365.25 - 28) + 1.3 * 0.55 * 6 * 28 / 1000)
    assert bare.energy.cost(bare.energy.settled_kwh) == pytest.approx(0.3 * a_day * 365.25)
    silent = answered(box(fixture=[light(output={"ppf": "2.6 umol/s"})]))
    assert silent.energy.settled_kwh is None
    assert "unknown" in energy_words(silent)


def test_ageing(bare):
    """2 to 8 % a year of what is left."""
    assert left_after(1) == pytest.approx((0.92, 0.98))
    assert left_after(3) == pytest.approx((0.92**3, 0.98**3))
    zone = bare.zones[1]
    assert len(zone.aged) == len(AGES)
    soon, late = zone.years_in_band
    value, low = zone.report.ppfd.value, zone.band.low
    assert value * 0.92**soon == pytest.approx(low)
    assert value * 0.98**late == pytest.approx(low)


def test_bands_of_a_new_tank(bare):
    """A need's band shrinks with the light; so does one that the scene states outright."""
    need = bare.zones[1]
    assert (need.new_band.low, need.new_band.high) == pytest.approx((7.5, 21.0))
    own = {"name": "own", "rectangle": [["0 cm", "0 cm"], ["30 cm", "20 cm"]], "band": [20, 40]}
    stated = answered(box(zone=[own])).zones[1]
    assert (stated.band.low, stated.band.high) == (20, 40)
    assert (stated.new_band.low, stated.new_band.high) == pytest.approx((10, 24))
    assert stated.new_verdict is Verdict.RIGHT


def test_the_card_is_set_as_decided():
    """Too bright by twice: the card says about half the light, and its zones are those of a second trace at that dimming."""
    band = {"name": "own", "rectangle": [["0 cm", "0 cm"], ["30 cm", "20 cm"]], "band": [9, 20]}
    made = answered(box(zone=[band], fixture=[light()]))
    assert made.zones[1].verdict is Verdict.TOO_BRIGHT
    assert made.decision is not None
    level = made.decision.level
    card = settings_card(made)
    assert card.lead.startswith(f"Set the clip light to {100 * level:.0f} % (")
    assert card.lights[0].dial == f"{100 * level:.0f} %"
    assert card.zones[0].verdict == "right"
    dimmed = answered(box(zone=[band], fixture=[light(dimming=level)]))
    assert dimmed.decision is not None
    assert dimmed.decision.is_set
    assert as_decided(made).zones[1].report.ppfd.value == pytest.approx(dimmed.zones[1].report.ppfd.value)
    assert as_decided(made).energy.settled_kwh == pytest.approx(dimmed.energy.settled_kwh)
    assert settings_card(dimmed).zones == card.zones


def test_a_card_says_the_step_of_a_controller_and_where_the_light_hangs():
    """A measured curve: 4 of 10 steps give half the light; schedules are dimmed as a whole."""
    band = {"name": "own", "rectangle": [["0 cm", "0 cm"], ["30 cm", "20 cm"]], "band": [9, 20]}
    curve = [[0, 0.0], [4, 0.5], [10, 1.0]]
    made = answered(box(zone=[band], fixture=[light(dimming_curve=curve, step=10, position=["15 cm", "8 cm"])]))
    (shown,) = settings_card(made).lights
    level = made.decision.level
    assert shown.dial == f"step {4 * level / 0.5 if level < 0.5 else 4 + 6 * (level - 0.5) / 0.5:g}"
    assert "middle 8.0 cm (3.15 in) from the front, 15.0 cm (5.91 in) from the left" in shown.place
    rows = light(schedule=[["9:00", 0], ["12:00", 0.8], ["15:00", 0]])
    del rows["photoperiod"]
    ramped = as_decided(answered(box(zone=[band], fixture=[rows])))
    assert max(ramped.result.dimming.values()) == pytest.approx(level, abs=0.011)
    assert ramped.zones[1].verdict is Verdict.RIGHT


def test_shares_of_the_substrate(bare):
    """The bare box is lit evenly, about 28: all of it suits undemanding plants."""
    assert bare.suits[Need.UNDEMANDING] > 0.9
    assert bare.suits[Need.DEMANDING] == 0.0


@pytest.mark.parametrize("paper", list(Paper))
def test_cards_fill_pages_of_the_paper(bare, paper):
    """Two cards a page, and no word of them outside it or over the other card."""
    figures = draw_cards([settings_card(bare)] * 3, paper)
    assert len(figures) == 2
    for figure in figures:
        assert tuple(figure.get_size_inches()) == pytest.approx(PAGE_IN[paper])
        for text in figure.texts:
            place = text.get_window_extent()
            width, height = PAGE_IN[paper][0] * figure.dpi, PAGE_IN[paper][1] * figure.dpi
            assert place.x0 >= 0
            assert place.x1 <= width, text.get_text()
            assert place.y0 >= 0, text.get_text()
            assert not place.y0 < height / 2 < place.y1, text.get_text()


def test_a_card_with_much_on_it_still_fits():
    """Many zones, three lights, a long title: cut and counted, not drawn over the edge."""
    zones = [
        {
            "name": f"zone with quite a long name {i}",
            "rectangle": [[f"{i} cm", "1 cm"], [f"{i + 8} cm", "9 cm"]],
            "need": "medium",
        }
        for i in range(9)
    ]
    lights = [
        light(name=f"light {i}", position=["15 cm", f"{4 + 6 * i} cm"], size=["20 cm", "4 cm", "1 cm"])
        for i in range(3)
    ]
    card = settings_card(answered(box(title="a title that goes on and on " * 4, zone=zones, fixture=lights), price=1.0))
    (figure,) = draw_cards([card, card], Paper.LETTER)
    for text in figure.texts:
        place = text.get_window_extent()
        assert place.y0 >= 0, text.get_text()
        assert place.x1 <= 8.5 * figure.dpi, text.get_text()
    assert any("more zones" in t.get_text() for t in figure.texts)


# -- the command ------------------------------------------------------------------------------------------------------
def test_the_command_prints_and_writes(tmp_path: Path, capsys):
    """Two tanks, cards on one page."""
    out = tmp_path / "out"
    status = main(["dose", str(BARE_BOX), str(BARE_BOX), "--photons", "65536", "--price", "0.3", "--out", str(out)])
    told = " ".join(capsys.readouterr().out.split())
    assert status == 0
    assert "8 h a day" in told
    assert "kWh in a settled year" in told
    assert {p.name for p in out.iterdir()} == {"dose.csv", "cards.pdf", "cards-1.png"}
    assert (out / "cards.pdf").read_bytes().startswith(b"%PDF")
    with open(out / "dose.csv", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == 6
    assert all(math.isfinite(float(r["dli_mol_m2_day"])) for r in rows)


def test_csv_leaves_out_what_is_not_known(bare):
    """No band, no figure."""
    first = next(csv.DictReader(dose_csv([bare]).splitlines()))
    assert first["zone"] == "whole substrate"
    assert first["band_low_umol_m2_s"] == ""


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "needs at least one scene file"),
        (["{box}", "--price", "-2"], "--price"),
        (["{box}", "--paper", "a3"], "paper"),
        (["{box}", "nothing.toml"], "nothing.toml"),
        (["{box}", "--photons", "0"], "--photons"),
        (["{box}", "--out", "{box}"], "--out"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_bad_input_is_refused_in_one_line(arguments, said, capsys):
    """Status 2 and one line."""
    assert main(["dose", *(a.format(box=BARE_BOX) for a in arguments)]) == 2
    told = capsys.readouterr()
    assert len(told.err.splitlines()) == 1, told.err
    assert said in told.err
