"""A fixture from the little that its owner knows: each thing alone is enough, all routes lead to the same light."""

from __future__ import annotations

import math

import pytest
from one_fixture import fixture_of, refusal, scene_under

from underlit.photometry.lens import lambertian
from underlit.photometry.point import Head
from underlit.scene import SceneError, scene_from_dict, tank_uncertainty
from underlit.scene.assumptions.lights import of_fixtures
from underlit.scene.assumptions.scene import assumptions
from underlit.scene.lights.flux import per_flux
from underlit.scene.tank.water import Water
from underlit.spectra import channels

TANK = {"inside_size": ["60 cm", "30 cm", "36 cm"], "glass_thickness": "6 mm"}


def open_keys(**keys):
    return {row.key: row for row in of_fixtures((fixture_of(**keys),))}


ALONE = {
    "length": ({"length": "50 cm"}, 0.5 * 40 * 2.0, {"fixture.output.watts", "fixture.size"}),
    "size": ({"size": ["50 cm", "8 cm", "2 cm"]}, 0.5 * 40 * 2.0, {"fixture.output.watts"}),
    "watts": ({"output": {"watts": "30 W"}}, 60.0, {"fixture.output.efficacy", "fixture.length"}),
    "ppf": ({"output": {"ppf": "44 umol/s"}}, 44.0, {"fixture.output", "fixture.length"}),
    "lumens": (
        {"output": {"lumens": "3000 lm"}},
        3000 / channels.illuminant("LED-B4").lumens_per_umol,
        {"fixture.output", "fixture.length"},
    ),
    "watts and length": ({"output": {"watts": "30 W"}, "length": "90 cm"}, 60.0, {"fixture.output.efficacy"}),
    "a puck's watts": ({"form": "puck", "output": {"watts": "10 W"}}, 20.0, {"fixture.size"}),
    "a spot's lumens": (
        {"form": "spot", "output": {"lumens": "700 lm"}},
        700 / channels.illuminant("LED-B4").lumens_per_umol,
        {"fixture.size", "fixture.lens"},
    ),
}


@pytest.mark.parametrize("known", ALONE)
def test_one_thing_is_enough_and_the_rest_is_named(known):
    keys, ppf, named = ALONE[known]
    scene = scene_under(**keys)
    assert scene.fixtures[0].claimed_ppf == pytest.approx(ppf, rel=1e-9)
    rows = {row.key: row for row in assumptions(scene)}
    assert named | {"fixture.lens", "fixture.leds", "fixture.above_rim", "fixture.channel"} <= set(rows)
    assert all(row.range_text and row.value_text for row in rows.values())
    assert 0.1 < tank_uncertainty(scene) < 0.6


@pytest.mark.parametrize(
    ("output", "length_m"),
    [({"watts": "30 W"}, 0.75), ({"ppf": "60 umol/s"}, 0.75), ({"watts": "1 W"}, 0.10), ({"watts": "500 W"}, 1.80),
     ({"watts": "30 W", "efficacy": "2.5 umol/J"}, 0.75)],
)  # fmt: skip
def test_a_bar_is_as_long_as_bars_of_its_watts(output, length_m):
    # Common practice, no source: .4 W per cm.
    assert fixture_of(output=output).size[0] == pytest.approx(length_m)


def test_leds_spread_a_usual_pitch_apart():
    bar = fixture_of(length="60 cm", output={"watts": "20 W"})
    assert bar.leds.shape == (2, 24)
    assert fixture_of(form="puck", output={"watts": "9 W"}).leds.rings == 3
    spot = fixture_of(form="spot", output={"watts": "9 W"})
    assert len(spot.board) == 1
    assert math.degrees(spot.lens_shape(spot.channels[0]).beam_angle) == pytest.approx(45)


def reads(place, ppf=50.0, **keys):
    """A reading that a fixture of that PPF would give at a place of heads."""
    known = fixture_of(output={"ppf": f"{ppf} umol/s"}, **keys)
    head = Head(place["below"], place.get("along", 0.0), place.get("across", 0.0), place.get("under_water", 0.0))
    value = ppf * float(per_flux(known.emitters, [head], lambertian(), Water().optical_constants())[0])
    return {"reads": f"{value} umol/m2/s", **{key: f"{metres} m" for key, metres in place.items()}}


PLACES = {
    "in air": {"below": 0.3},
    "in air, far": {"below": 1.0},
    "in air, aside": {"below": 0.3, "along": 0.2, "across": -0.15},
    "in water": {"below": 0.4, "under_water": 0.3},
    "in water, aside": {"below": 0.4, "under_water": 0.3, "across": 0.1},
}
BAR = {"length": "60 cm", "lens": "lambertian", "channel": [{"spectrum": "LED-B3"}]}


@pytest.mark.parametrize("place", PLACES)
def test_all_routes_lead_to_the_same_fixture(place):
    """Watts at the usual efficacy, PPF, lumens by spectrum, and readings of any place: 50 umol/s."""
    lumens = 50 * channels.illuminant("LED-B3").lumens_per_umol
    spread = list(PLACES.values())
    for output in (
        {"watts": "25 W"}, {"watts": "20 W", "efficacy": "2.5 umol/J"}, {"ppf": "50 umol/s"}, {"lumens": f"{lumens} lm"},
        {"reading": [reads(PLACES[place], **BAR)]}, {"reading": [reads(one, **BAR) for one in spread]},
    ):  # fmt: skip
        assert fixture_of(output=output, **BAR).claimed_ppf == pytest.approx(50.0, rel=1e-6)


def test_one_reading_is_written_short_or_long():
    one = reads(PLACES["in water"], **BAR)
    assert fixture_of(output=one, **BAR).claimed_ppf == pytest.approx(50.0, rel=1e-6)
    assert fixture_of(output={"reading": [one]}, **BAR).claimed_ppf == pytest.approx(50.0, rel=1e-6)


def test_a_reading_in_air_is_inverse_squares_with_cosines():
    """A single Lambertian LED: PPF = E pi h^2 / cos^4, straight below and aside."""
    board = {"size": ["4 cm", "4 cm", "2 cm"], "leds": {"rows": 1, "columns": 1}, "lens": "lambertian"}
    for aside in (0.0, 0.3):
        cosine = 0.4 / math.hypot(0.4, aside)
        output = {"reading": [{"reads": "80 umol/m2/s", "below": "40 cm", "across": f"{aside} m"}]}
        expected = 80 * math.pi * 0.16 / cosine**4
        assert fixture_of(output=output, **board).claimed_ppf == pytest.approx(expected, rel=1e-12)


def test_readings_at_different_places_tell_the_beam():
    narrow = BAR | {"lens": {"beam_angle": "80 deg"}}
    told = [reads(place, **narrow) for place in (PLACES["in air"], {"below": 0.3, "across": 0.2}, {"below": 0.6})]
    bar = {key: value for key, value in BAR.items() if key != "lens"}
    fitted = fixture_of(output={"reading": told}, **bar)
    assert math.degrees(fitted.flux.beam.beam_rad) == pytest.approx(80, abs=0.1)
    assert fitted.claimed_ppf == pytest.approx(50.0, rel=2e-3)
    assert math.degrees(fitted.lens_shape(fitted.channels[0]).beam_angle) == pytest.approx(80, abs=0.1)
    rows = open_keys(output={"reading": told}, **bar)
    assert rows["fixture.lens"].value_text == "80 deg, from readings"
    assert "fixture.output" not in rows
    assert rows["fixture.output.reading"].value_text.startswith("3 readings, scatter 0 %")


def test_a_stated_lens_is_not_fitted_and_one_place_tells_no_beam():
    apart = [reads(PLACES["in air"], **BAR), reads(PLACES["in air, far"], **BAR)]
    assert fixture_of(output={"reading": apart}, **BAR).flux.beam is None
    bar = {key: value for key, value in BAR.items() if key != "lens"}
    same = fixture_of(output={"reading": [apart[0], apart[0]]}, **bar)
    assert same.flux.beam is None
    assert same.claimed_ppf == pytest.approx(50.0, rel=1e-6)


def test_ranges_count_by_the_fixtures_share_of_the_light():
    known = fixture_of(name="a", length="60 cm", output={"ppf": "75 umol/s"})
    guessed = fixture_of(name="b", length="60 cm", output={"watts": "12.5 W"})
    rows = {row.key: row for row in of_fixtures((known, guessed))}
    assert rows["fixture.output"].relative_high == pytest.approx(0.15 * 0.75)
    assert rows["fixture.output.efficacy"].relative_low == pytest.approx(-0.30 * 0.25)


def test_a_reading_is_taken_through_the_water_of_the_scene():
    """Tea takes more than ordinary water: the same reading under it means more light. In air the water does not matter."""
    wet, dry = ({"reads": "60 umol/m2/s", "below": "40 cm", **more} for more in ({"under_water": "30 cm"}, {}))
    ppf = {
        (name, "wet" if output is wet else "dry"): scene_from_dict(
            {"tank": TANK, "water": {"tannin": name}, "fixture": [{**BAR, "output": output}]}
        ).fixtures[0].claimed_ppf
        for name in ("none", "ordinary", "tea")
        for output in (wet, dry)
    }  # fmt: skip
    assert ppf["none", "wet"] < 0.99 * ppf["ordinary", "wet"]
    assert ppf["ordinary", "wet"] < 0.95 * ppf["tea", "wet"]
    assert len({ppf[name, "dry"] for name in ("none", "ordinary", "tea")}) == 1
    assert fixture_of(output=wet, **BAR).claimed_ppf == ppf["ordinary", "wet"]


def test_a_fault_of_the_water_hides_no_fault_of_the_light():
    tables = {"tank": TANK, "water": {"tannin": "mud"}, "fixture": [{**BAR, "output": {"ppf": "0 umol/s"}}]}
    with pytest.raises(SceneError) as refused:
        scene_from_dict(tables)
    assert sorted(problem.key[0] for problem in refused.value.problems) == ["fixture", "water"]


@pytest.mark.parametrize(
    ("keys", "line"),
    [
        ({}, "fixture[0]: the light is missing: give the output"),
        ({"form": "spot"}, "fixture[0].output: a spot needs its light output"),
        ({"form": "lamp", "length": "9 cm"}, "fixture[0].form: not a known word; known: bar, puck, spot (got 'lamp')"),
        ({"length": "50 cm", "size": ["50 cm", "5 cm", "2 cm"]}, "the size of the fixture is given twice (length, size)"),
        ({"length": "50 cm", "output": {}}, "fixture[0].output: the light output is missing: give watts"),
        ({"output": {"watts": "9 W", "ppf": "9 umol/s", "lumens": "900 lm"}}, "given twice (ppf, lumens)"),
        ({"output": {"watts": "9 W", "ppf": "90 umol/s"}}, "fixture[0].output: 90 umol/s from 9 W is more light"),
        ({"output": {"reads": "60 umol/m2/s"}}, "fixture[0].output.reads: needs below as well"),
        ({"output": {"reads": "60 umol/m2/s", "below": "30 cm", "under_water": "30 cm"}},
         "fixture[0].output.under_water: must be less than below, or the LEDs would hang in the water (got '30 cm')"),
        ({"output": {"watts": "9 W", "under_water": "30 cm"}}, "fixture[0].output.under_water: only a reading"),
        ({"output": {"reading": []}}, "fixture[0].output.reading: needs at least one reading"),
        ({"output": {"reading": [{"reads": "60 umol/m2/s"}]}}, "fixture[0].output.reading[0].below: is missing"),
        ({"output": {"reading": [{"reads": "60", "below": "1 m"}]}}, "fixture[0].output.reading[0].reads: "),
        ({"output": {"reading": [{"reads": "9 umol/m2/s", "below": "1 m", "beside": "1 m"}]}}, "reading[0].beside: unknown"),
        ({"name": 3, "length": "50 cm"}, "fixture[0].name: must be a text (got 3)"),
        ({"output": {"reads": "6 umol/m2/s", "below": "20 cm"}, "reflector": {"depth": "2 cm"}}, "under a reflector"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_said_in_one_line(keys, line):
    assert line in refusal(**keys)


def test_a_reading_beside_a_tight_beam_gives_no_ppf():
    """No light would reach the head: refused, not infinite."""
    said = {"reads": "6 umol/m2/s", "below": "20 cm", "along": "2 m"}
    line = refusal(lens={"cone": "40 deg"}, length="10 cm", output={"reading": [said]})
    assert "must be a finite PPF" in line
