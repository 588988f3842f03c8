"""Building a fixture: forms, rings, clusters, patterns, lenses and tilts of single LEDs, spectra, clips."""

from __future__ import annotations

import math

import numpy as np
import pytest
from good_scene import good_scene
from one_fixture import fixture_of, refusal, scene_under

from underlit.scene import json_schema, scene_from_dict
from underlit.scene.lights.body import Form
from underlit.scene.lights.fixture import Fixture
from underlit.spectra import channels

OUT = {"output": {"ppf": "40 umol/s"}}
BOARD = {"size": ["40 cm", "12 cm", "2 cm"], **OUT}


def angles_deg(board):
    """Tilt to the front and lean to the right of each LED."""
    x, y, z = board.axis.T
    return np.degrees(np.arcsin(-y)).round(6), np.degrees(np.arctan2(x, -z)).round(6)


# -- where LEDs are -----------------------------------------------------------------------------------------------------
def test_rings_hold_six_more_each():
    puck = fixture_of(form="puck", length="12 cm", leds={"rings": 3, "pitch": "1.5 cm"}, **OUT)
    assert len(puck.board) == 1 + 6 + 12 + 18
    radius = np.hypot(*puck.board.points.T)
    np.testing.assert_allclose(radius, 0.015 * (puck.board.row - 1), atol=1e-15)
    np.testing.assert_array_equal(np.bincount(puck.board.row)[1:], [1, 6, 12, 18])
    np.testing.assert_allclose(puck.board.points.sum(axis=0), 0, atol=1e-15)
    first_of_ring = puck.board.points[(puck.board.row == 3) & (puck.board.column == 1)]
    np.testing.assert_allclose(first_of_ring, [[0.03, 0.0]], atol=1e-15)


def test_clusters_stand_where_they_are_said():
    made = fixture_of(
        cluster=[
            {"at": ["-12 cm", "1 cm"], "rows": 2, "columns": 3, "pitch": "8 mm"},
            {"at": ["12 cm", "0 cm"], "rings": 1, "tilt": "20 deg", "lens": {"beam_angle": "60 deg"}},
        ],
        **BOARD,
    )
    board = made.board
    assert len(board) == 6 + 7
    np.testing.assert_allclose(board.points[board.cluster == 1].mean(axis=0), [-0.12, 0.01])
    np.testing.assert_allclose(board.points[0], [-0.128, 0.006])
    np.testing.assert_allclose(board.points[board.cluster == 2].mean(axis=0), [0.12, 0.0], atol=1e-15)
    tilt, lean = angles_deg(board)
    np.testing.assert_array_equal(tilt, [0] * 6 + [20] * 7)
    np.testing.assert_array_equal(lean, 0)
    plain, narrow = made.led_groups(made.channels[0])
    assert (len(plain.points), plain.stands_out) == (6, False)
    assert (len(narrow.points), narrow.stands_out) == (7, True)
    assert math.degrees(narrow.lens.beam_angle) == pytest.approx(60)


def test_a_pattern_draws_the_board_and_shares_it_among_channels():
    made = fixture_of(
        leds={"pattern": ["WRW-WRW", "BW-W-WB"], "pitch": "4 cm"},
        channel=[{"name": name, "letter": name[0].upper()} for name in ("white", "red", "blue")],
        **BOARD,
    )
    assert len(made.board) == 11
    white, red, blue = (made.board.points[made.leds_of(channel)] for channel in made.channels)
    assert (len(white), len(red), len(blue)) == (7, 2, 2)
    # Row 1 is the front one: across negative. Columns run from the left.
    np.testing.assert_allclose(red, [[-0.08, -0.02], [0.08, -0.02]], atol=1e-15)
    np.testing.assert_allclose(blue, [[-0.12, 0.02], [0.12, 0.02]], atol=1e-15)


def test_single_leds_rows_and_clusters_have_lenses_and_tilts_of_their_own():
    made = fixture_of(
        leds={"rows": 2, "columns": 4},
        optic=[
            {"rows": [1], "tilt": "15 deg"},
            {"rows": [1], "columns": [4], "lens": {"beam_angle": "40 deg"}, "tilt": "15 deg", "lean": "-10 deg"},
            {"columns": [1], "lens": {"cone": "50 deg"}},
        ],
        **BOARD,
    )
    tilt, lean = angles_deg(made.board)
    np.testing.assert_array_equal(tilt, [15, 15, 15, 15, 0, 0, 0, 0])
    np.testing.assert_array_equal(lean, [0, 0, 0, -10, 0, 0, 0, 0])
    found = {
        (round(math.degrees(group.lens.beam_angle or group.lens.cone or 0)), group.stands_out): len(group.points)
        for group in made.led_groups(made.channels[0])
    }
    assert found == {(50, True): 1, (50, False): 1, (0, True): 2, (40, True): 1, (0, False): 3}


def test_tilt_and_lean_throw_where_they_say():
    front = fixture_of(leds={"rows": 1, "columns": 1}, optic=[{"tilt": "30 deg"}], **BOARD).board.axis[0]
    right = fixture_of(leds={"rows": 1, "columns": 1}, optic=[{"lean": "30 deg"}], **BOARD).board.axis[0]
    np.testing.assert_allclose(front, [0, -0.5, -math.sqrt(0.75)], atol=1e-15)
    np.testing.assert_allclose(right, [0.5, 0, -math.sqrt(0.75)], atol=1e-15)


@pytest.mark.parametrize("form", list(Form))
def test_each_form_is_a_whole_fixture(form):
    made = fixture_of(form=form, output={"watts": "12 W"})
    assert len(made.board) >= 1
    assert made.claimed_ppf == pytest.approx(24)
    assert made.height_above_rim_m > 0
    half = np.array(made.size[:2]) / 2
    assert (np.abs(made.board.points) < half).all()


# -- what they shine ----------------------------------------------------------------------------------------------------
def test_spectra_of_every_kind_stand_together_on_one_board(tmp_path):
    """Illuminant, peak, mixture of white and red 660, energy and photon tables, a file: PPF, lumens and bins add up."""
    (tmp_path / "own.csv").write_text("nm, value\n430, 0\n450, 1\n470, 0\n", encoding="utf-8")
    spectra = {
        "white": "LED-B3",
        "red": {"peak": "660 nm", "width": "20 nm"},
        "grow": {"mix": [{"spectrum": "LED-B4", "share": 0.7},
                         {"spectrum": {"peak": "660 nm", "width": "20 nm"}, "share": 0.3}]},
        "energy": {"energy": [[420, 0.0], [450, 1.0], [480, 0.0]]},
        "photons": {"photons": [[500, 0.0], [530, 1.0], [560, 0.0]]},
        "file": {"file": "own.csv", "of": "energy"},
    }  # fmt: skip
    listed = [
        {"name": name, "spectrum": spectrum, "share": 1.0 + i} for i, (name, spectrum) in enumerate(spectra.items())
    ]
    made = fixture_of(tmp_path, size=["40 cm", "12 cm", "2 cm"], channel=listed, output={"lumens": "3000 lm"})
    assert made.shares == pytest.approx([(1 + i) / 21 for i in range(6)])
    lumens = [ppf * c.spectrum.channel.lumens_per_umol for ppf, c in zip(made.channel_ppf, made.channels, strict=True)]
    assert sum(lumens) == pytest.approx(3000)
    for channel in made.channels:
        assert channel.spectrum.channel.photons.sum() == pytest.approx(1)
    grow = made.channels[2].spectrum.channel.photons
    white = channels.illuminant("LED-B4").photons
    red = channels.gaussian(peak_nm=660, fwhm_nm=20).photons
    np.testing.assert_allclose(grow, 0.7 * white + 0.3 * red, atol=1e-12)


# -- where it hangs -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("on", "place", "inwards"),
    [("back", (0.15, 0.22), (0, -1)), ("front", (0.15, 0.08), (0, 1)), ("left", (0.08, 0.15), (1, 0)),
     ("right", (0.52, 0.15), (-1, 0))],
)  # fmt: skip
def test_a_clip_sets_the_place_and_a_tilt_throws_inwards(on, place, inwards):
    scene = scene_under(form="spot", output={"watts": "6 W"}, clip={"on": on, "at": "15 cm"}, tilt="25 deg")
    made = scene.fixtures[0]
    x, y, z = scene.fixture_centre_m(made)
    assert (x, y) == pytest.approx(place)
    assert z == pytest.approx(0.36 + 0.20)
    axis = made.rotation @ made.board.axis[0]
    np.testing.assert_allclose(axis[:2], np.array(inwards) * math.sin(math.radians(25)), atol=1e-12)


def test_a_clip_with_no_place_stands_at_the_middle_of_its_pane():
    scene = scene_under(form="spot", output={"watts": "6 W"}, clip={"on": "left", "reach": "12 cm"})
    assert scene.fixture_centre_m(scene.fixtures[0])[:2] == pytest.approx((0.12, 0.15))


def test_a_reflector_belongs_to_the_body_that_must_fit():
    keys = {"size": ["40 cm", "8 cm", "2 cm"], "above_rim": "5 cm", **OUT}
    corners = fixture_of(reflector={"depth": "4 cm", "flare": "45 deg"}, **keys).corners_m
    np.testing.assert_allclose(corners.min(axis=0), [-0.24, -0.08, -0.04])
    np.testing.assert_allclose(corners.max(axis=0), [0.24, 0.08, 0.02])
    assert "the fixture hangs in the water" in refusal(reflector={"depth": "10 cm"}, **keys)


# -- what cannot be -----------------------------------------------------------------------------------------------------
PATTERN = {"leds": {"pattern": ["WRW", "WBW"], "pitch": "3 cm"}}


@pytest.mark.parametrize(
    ("keys", "line"),
    [
        ({"leds": {"rows": 2}}, "fixture[0].leds.rows: needs columns as well"),
        ({"leds": {"rings": 2, "rows": 2}}, "fixture[0].leds.rings: the LED arrangement is given twice (rows, rings)"),
        ({"leds": {"rings": 61}}, "fixture[0].leds.rings: must be at most 60 (got 61)"),
        ({"leds": {"rows": 1000, "columns": 1000}}, "fixture[0].leds.columns: more than 100,000 LEDs: give fewer (got 1000)"),
        ({"leds": {"pattern": ["WW", "W"]}}, "fixture[0].leds.pattern: the rows of a pattern must be texts of the same length"),
        ({"leds": {"pattern": ["--"]}}, "fixture[0].leds.pattern: the pattern has no LED: put a letter for each (got ['--'])"),
        ({"leds": {"pattern": ["W W"]}}, "fixture[0].leds.pattern: a pattern has no spaces"),
        ({"leds": {"pattern": []}}, "fixture[0].leds: the LED arrangement is missing"),
        ({"leds": {"rows": 1, "columns": 2, "pitch": "50 cm"}}, "fixture[0].leds: the columns of LEDs are longer"),
        ({**PATTERN, "channel": [{"letter": "G"}]}, "channel 'white' has no LED on the board"),
        ({**PATTERN, "channel": [{"letter": "WR"}]}, "fixture[0].channel[0].letter: "),
        ({**PATTERN, "channel": [{"rows": [3]}]}, "uses rows or columns that the board does not have"),
        ({**PATTERN, "optic": [{"rows": [3], "tilt": "9 deg"}]}, "fixture[0].optic: number 1 picks no LED of the board"),
        ({**PATTERN, "optic": [{"tilt": "90 deg"}]}, "fixture[0].optic[0].tilt: must lie between -90 and 90 deg (got '90 deg')"),
        ({**PATTERN, "cluster": [{"rows": 1, "columns": 1}]}, "fixture[0].cluster: the LED arrangement is given twice (leds"),
        ({"cluster": [{"at": ["30 cm", "0 cm"], "rows": 1, "columns": 1}]}, "fixture[0].cluster: some LEDs lie outside"),
        ({"cluster": [{"rings": 9}], "form": "puck"}, "fixture[0].cluster: some LEDs lie outside"),
        ({"clip": {"on": "left", "at": "40 cm"}}, "fixture[0].clip.at: the clip lies beside its pane: give a place from 0"),
        ({"clip": {"on": "top"}}, "fixture[0].clip.on: not a known word; known: front, back, left, right (got 'top')"),
        ({"clip": {"on": "back"}, "position": ["9 cm", "9 cm"]}, "the place of the fixture is given twice (clip, position)"),
        ({"reflector": {"flare": "10 deg"}}, "fixture[0].reflector.depth: is missing"),
        ({"reflector": {"depth": "2 cm", "flare": "85 deg"}}, "fixture[0].reflector.flare: must lie between -80 and 80 deg"),
        ({"reflector": {"depth": "9 cm", "flare": "-40 deg"}}, "fixture[0].reflector: closes before its lower edge"),
        ({"reflector": {"depth": "2 cm", "reflectance": 1.2}}, "reflector.reflectance: must be at most 1 (got 1.2)"),
        ({"above_rim": "5 cm", "above_water": "9 cm"}, "fixture[0].above_water: the height of the fixture is given twice"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_said_in_one_line(keys, line):
    assert line in refusal(**{**BOARD, **keys})


# -- what editors are told ----------------------------------------------------------------------------------------------
@pytest.mark.parametrize("part", ["Reading", "Leds", "Cluster", "Optic", "Reflector", "Clip"])
def test_the_schema_describes_every_key(part):
    found = json_schema()["$defs"][part]
    assert found["description"]
    for key, value in found["properties"].items():
        assert value.get("description"), f"{part}.{key}"


def test_the_schema_describes_the_new_keys_of_fixtures_and_channels():
    defs = json_schema()["$defs"]
    keys = {
        "Fixture": ("form", "length", "cluster", "optic", "dimming_curve", "step", "schedule"),
        "Channel": ("letter", "clusters", "dimming_curve", "step", "schedule"),
        "Output": ("reading", "under_water"),
    }
    for part, names in keys.items():
        for key in names:
            assert defs[part]["properties"][key].get("description"), f"{part}.{key}"


def test_fixtures_equal_each_other_once_their_light_is_worked_out():
    first, second = (scene_from_dict(good_scene()) for _ in range(2))
    assert first.ppf == second.ppf
    assert first.fixtures == second.fixtures


def test_a_changed_copy_reckons_anew() -> None:
    """What was reckoned from the old values (PPF, day) does not stay with a copy that has others."""
    fixture = Fixture.model_validate({"name": "bar", "length": "60 cm", "output": {"ppf": "40 umol/s"}})
    assert fixture.ppf == pytest.approx(40)
    dimmed = fixture.model_copy(update={"dimming": 0.5})
    assert dimmed.ppf == pytest.approx(20)
    stronger = fixture.model_copy(update={"output": fixture.output.model_copy(update={"ppf": 80.0})})
    assert stronger.ppf == pytest.approx(80)
    assert fixture.ppf == pytest.approx(40)
