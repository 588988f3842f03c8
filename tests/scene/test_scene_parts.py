"""What follows from a scene's words: fluxes, levels, heights, places, and scenes that cannot be."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import shapely
from good_scene import good_scene

from underlit.scene import Need, SceneError, band_for, scene_from_dict, tank_uncertainty
from underlit.scene.assumptions.scene import assumptions
from underlit.scene.checks.scene import fixture_bounds_m, fixture_heights_m
from underlit.scene.tank import outline as tank_outline
from underlit.units import Length

Change = Callable[[dict[str, Any]], object]


def with_output(**output: Any) -> float:
    data = good_scene()
    data["fixture"] = data["fixture"][1:]
    data["fixture"][0]["output"] = output
    data["fixture"][0]["channel"] = [{"spectrum": "LED-B3"}]
    return scene_from_dict(data).fixtures[0].claimed_ppf


def test_flux_is_said_in_four_ways() -> None:
    assert with_output(ppf="100 umol/s") == 100
    assert with_output(watts="40 W", efficacy="2.5 umol/J") == pytest.approx(100)
    # CIE LED-B3: 69.75 lux per umol/m2/s (CIE 015:2018).
    assert with_output(lumens="6975 lm") == pytest.approx(100, rel=2e-4)


def test_a_reading_in_air_gives_the_flux_by_inverse_squares() -> None:
    # Ten Lambertian LEDs in a row, 4 cm apart, 30 cm above the head: E = sum of PPF/10 cos^4 / (pi h^2).
    offsets = (np.arange(10) - 4.5) * 0.04
    cosines = 0.3 / np.hypot(0.3, offsets)
    per_umol = (cosines**4).mean() / (math.pi * 0.3**2)
    assert with_output(reads="150 umol/m2/s", below="30 cm") == pytest.approx(150 / per_umol, rel=1e-12)


def test_dimming_shares_and_losses_multiply() -> None:
    left = scene_from_dict(good_scene()).fixtures[0]
    assert left.claimed_ppf == pytest.approx(66.0)
    assert left.shares == pytest.approx((0.6, 0.2, 0.2))
    scale = 66.0 * 0.95
    assert left.full_channel_ppf == pytest.approx((scale * 0.6, scale * 0.2, scale * 0.2))
    assert left.channel_ppf == pytest.approx((scale * 0.7 * 0.6, scale * 0.7 * 0.5 * 0.2, scale * 0.7 * 0.2))
    assert left.ppf == pytest.approx(sum(left.channel_ppf))
    assert left.running_watts == pytest.approx(30 * 0.7 * 0.9)
    expected = np.stack([(np.arange(10) - 4.5) * 0.04, np.full(10, -0.015)], axis=1)
    np.testing.assert_allclose(left.board.points[left.leds_of(left.channels[1])], expected)


def test_a_mixture_is_a_spectrum() -> None:
    data = good_scene()
    mix = [{"spectrum": "LED-B3", "share": 3.0}, {"spectrum": {"peak": "660 nm", "width": "20 nm"}, "share": 1}]
    data["fixture"][1]["channel"] = [{"spectrum": {"mix": mix}}]
    white, mixed = (scene_from_dict(data).fixtures[i].channels[0].spectrum.channel for i in (0, 1))
    # Red alone adds a quarter of all photons beyond 600 nm; white holds .368 there (CIE 015:2018, LED-B3).
    assert mixed.photons[40:].sum() == pytest.approx(0.75 * white.photons[40:].sum() + 0.25, abs=1e-3)
    mix[0]["shar"] = 1
    with pytest.raises(SceneError, match=r'mix\[0\].shar: unknown key; did you mean "share"\?'):
        scene_from_dict(data)


def test_levels_and_heights() -> None:
    scene = scene_from_dict(good_scene())
    assert scene.water_level_m == pytest.approx(0.41)
    assert scene.fixture_centre_m(scene.fixtures[0]) == pytest.approx((0.22, 0.21, 0.50))
    length, depth, _ = scene.tank.inside_m
    x = np.array([0.0, length / 2, length, length / 4])
    y = np.array([0.0, depth, depth, depth / 2])
    # Corners and middle points of the height map; the last is the mean of four.
    assert scene.bed_heights_m(x, y) == pytest.approx([0.04, 0.09, 0.07, (4 + 5 + 6.5 + 9) / 400])
    assert scene.spot_centre_m(scene.spots[0])[2] == pytest.approx(
        scene.bed_heights_m(np.array(0.2), np.array(0.05)) + 0.03
    )
    assert scene.spot_centre_m(scene.spots[1])[2] == pytest.approx(0.2)


def test_a_slope_rises_to_the_back_and_lengths_may_come_from_code() -> None:
    data = good_scene()
    data["substrate"] = {"front_depth": Length(0.02), "back_depth": Length(0.06)}
    scene = scene_from_dict(data)
    assert scene.bed_heights_m(np.array([0.4]), np.array([0.43 / 2])) == pytest.approx([0.04])


def test_nominal_size_less_glass_is_the_inside() -> None:
    data = {
        "tank": {"nominal_size": ["48 in", "24 in", "24 in"], "glass_thickness": "12 mm", "bottom_thickness": "15 mm"}
    }
    inside = scene_from_dict(data).tank.inside_m
    assert inside == pytest.approx((1.2192 - 0.024, 0.6096 - 0.024, 0.6096 - 0.015))


def test_backings() -> None:
    data = good_scene()
    data["tank"]["right"] = {"behind": "paint", "colour": "white", "reflectance": 0.75}
    walls = scene_from_dict(data).tank.walls
    assert walls["front"].backing_reflectance() is None
    assert not walls["back"].touches_glass
    assert walls["right"].touches_glass
    backing = walls["right"].backing_reflectance()
    assert backing is not None
    assert backing.mean() == pytest.approx(0.75)


@pytest.mark.parametrize(
    ("need", "co2", "band"),
    [
        ("undemanding", False, (15, 35)), ("medium", True, (35, 70)), ("medium", False, (35, 50)),
        ("demanding", True, (70, 120)), ("demanding", False, (70, 120)),
    ],
)  # fmt: skip
def test_bands_of_needs(need: str, co2: bool, band: tuple[float, float]) -> None:
    # Common practice, no source.
    found = band_for(Need(need), added_co2=co2)
    assert (found.low, found.high) == band
    assert bool(found.note) == (not co2 and need != "undemanding")


def test_tilt_lifts_the_front_edge_and_turn_swings_the_body() -> None:
    data = good_scene()
    data["fixture"] = data["fixture"][1:]
    data["fixture"][0]["turn"] = "90 deg"
    scene = scene_from_dict(data)
    assert fixture_bounds_m(scene, scene.fixtures[0]) == pytest.approx((0.62, 0.01, 0.70, 0.41))
    data["fixture"][0] |= {"turn": "0 deg", "tilt": "30 deg"}
    scene = scene_from_dict(data)
    low, high = fixture_heights_m(scene, scene.fixtures[0])
    assert low == pytest.approx(0.50 - 0.04 * 0.5)
    assert high == pytest.approx(0.50 + 0.04 * 0.5 + 0.02 * math.cos(math.radians(30)))


def set_in(path: str, value: Any) -> Change:
    def change(data: dict[str, Any]) -> None:
        *parents, last = [int(part) if part.isdigit() else part for part in path.split(".")]
        table: Any = data
        for part in parents:
            table = table[part]
        table[last] = value

    return change


IMPOSSIBLE: list[tuple[Change, str]] = [
    (set_in("water", {"above_bottom": "60 cm"}), "water.above_bottom: the water would stand above the rim"),
    (set_in("water", {"below_rim": "80 cm"}), "water.below_rim: there would be no water"),
    (set_in("substrate", {"depth": "50 cm"}), "substrate.depth: the substrate reaches the rim"),
    (set_in("fixture.0.above_rim", "-5 cm"), "fixture[0].above_rim: the fixture hangs in the water"),
    (set_in("fixture.0.above_rim", "0.5 cm"), "fixture[0].above_rim: the fixture cuts through the lid"),
    (set_in("fixture.0.above_rim", "30 cm"), "does not fit under the hood"),
    (set_in("fixture.0.position", ["22 m", "21 cm"]), "fixture[0].position: the fixture is far away from the tank"),
    (set_in("fixture.0.lens", {"beam_angle": "200 deg"}), "narrower than a hemisphere"),
    (set_in("fixture.0.lens", {"cone": "181 deg"}), "narrower than a hemisphere"),
    (set_in("fixture.0.lens", {"table": [["0 deg", 1.0], ["100 deg", 0.5]]}), "narrower than a hemisphere"),
    (set_in("fixture.1.output", {"watts": "1e200 kW", "efficacy": "1e200 umol/J"}), "must be a finite PPF"),
    (set_in("fixture.1.name", "left"), "fixture[1].name: the name is taken"),
    (set_in("wood.0.at", ["4 m", "20 cm"]), "wood[0].at: stands completely outside the tank"),
    (set_in("stone.0.base", "2 m"), "stone[0].base: stands completely above the tank"),
    (set_in("stone.0.name", "root"), "stone[0].name: the name is taken"),
    (set_in("plants.0.rectangle", [["95 cm", "2 cm"], ["99 cm", "9 cm"]]), "plants[0].rectangle: lies completely outside"),
    (set_in("plants.1.on", "rot"), 'there is no wood or stone with that name; did you mean "root"?'),
    (set_in("plants.0.kind", "carpt"), 'did you mean "carpet"?'),
    (set_in("plants.0.transmittance", 0.99), "must not add up to more than 1"),
    (set_in("zone.0.outline", [["5 cm", "2 cm"], ["9 cm", "9 cm"], ["9 cm", "2 cm"], ["5 cm", "9 cm"]]), "crosses"),
    (set_in("zone.0.outline", [["5 cm", "2 cm"], ["6 cm", "2 cm"], ["7 cm", "2 cm"]]), "has no area"),
    (set_in("zone.0.band", [30, 10]), "zone[0]"),
    (set_in("zone.1.hardscape", "rock2"), "zone[1].hardscape: there is no wood or stone"),
    (set_in("zone.2.plants", "carpets"), 'no plant group with that name; did you mean "carpet"?'),
    (set_in("spot.0.at", ["200 cm", "5 cm"]), "spot[0].at: lies completely outside the tank"),
    (set_in("spot.1.height", "2 cm"), "spot[1].height: the spot lies inside the substrate"),
    (set_in("spot.1.height", "2 m"), "spot[1].height: lies completely above the tank"),
    (set_in("tank.glass_thickness", "30 cm"), "tank.glass_thickness: the panes are too thick: nothing is left inside"),
    (set_in("tank.inside_size", ["1 m", "1 m", "1 m"]), "is given twice (nominal_size, inside_size): remove one"),
    (set_in("tank.rim.covers", "30 cm"), "the rim covers the whole tank"),
    (set_in("tank.brace.0.at", "3 m"), "tank.brace[0].at: the brace lies outside"),
    (set_in("tank.back", {"behind": "paint"}), "the colour of the paint is missing"),
    (set_in("tank.front", {"colour": "black"}), "open air has no colour"),
    (set_in("lid.pane.0.corners", [["2 m", "0 cm"], ["3 m", "10 cm"]]), "lid.pane[0].corners: lies completely outside"),
    (set_in("substrate.heights.rows", [[1, 2], [3]]), "rows must have the same length"),
    (set_in("substrate.heights.rows", [[1, 2], [3, -1]]), "heights must be finite and at least 0"),
    (set_in("substrate", {"front_depth": "0 cm", "back_depth": "3 cm"}), "substrate: the substrate must be at least"),
    (set_in("fixture.1.position", ["50 cm", "21 cm"]), "fixture[1]: is in the same place as 'left'"),
    (set_in("fixture.1.position", ["75 cm", "21 cm"]), "fixture[1].size: the fixture cuts through a side of the hood"),
    (set_in("fixture.0.leds.row_pitch", "2 mm"), "the LED faces overlap"),
    (set_in("hood.height", "4 mm"), "lid.above_rim: the lid does not fit under the hood"),
    (set_in("tank.nominal_size", ["90 m", "45 m", "45 m"]), "check the unit"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("change", "expected"), IMPOSSIBLE, ids=lambda value: value[:48] if isinstance(value, str) else ""
)
def test_scenes_that_cannot_be_are_refused_with_the_reason(change: Change, expected: str) -> None:
    data = good_scene()
    change(data)
    with pytest.raises(SceneError) as caught:
        scene_from_dict(data)
    assert expected in str(caught.value)
    assert "Traceback" not in str(caught.value)
    assert len(str(caught.value).splitlines()) == len(caught.value.problems)


def test_partly_outside_and_a_bare_bottom_are_allowed() -> None:
    data = good_scene()
    data["substrate"] = {"depth": "0 cm"}
    data["plants"][0]["rectangle"] = [["-5 cm", "-5 cm"], ["200 cm", "10 cm"]]
    data["wood"][0]["at"] = ["-5 cm", "20 cm"]
    scene_from_dict(data)


def test_outlines_know_their_area_and_the_part_inside() -> None:
    square = ((0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0))
    assert shapely.Polygon(square).area == pytest.approx(4)
    tank = tank_outline.box(1.5, 1.0)
    assert tank.shared_area(square) == pytest.approx(1.5)
    assert tank.shared_area(tuple((x + 3, y) for x, y in square)) == pytest.approx(0)
    circle = scene_from_dict(good_scene()).plants[2].polygon
    assert shapely.Polygon(circle).area == pytest.approx(math.pi * 0.08**2, rel=1e-12)


def test_assumptions_are_those_that_the_scene_leaves_open() -> None:
    data = good_scene()
    keys = {row.key for row in assumptions(scene_from_dict(data))}
    assert "tank.glass_thickness" not in keys
    assert {"water.tannin", "water.cloudiness", "water.below_rim"}.isdisjoint(keys)
    assert {"tank.panes", "fixture.output", "water surface", "lid.condensation"} <= keys
    del data["water"]
    del data["tank"]["glass_thickness"]
    more = {row.key for row in assumptions(scene_from_dict(data))}
    assert {"tank.glass_thickness", "water.tannin", "water.cloudiness", "water.below_rim"} <= more
    assert keys < more


def test_what_is_not_known_about_a_tank_is_about_a_quarter() -> None:
    # Common practice, no source: without a reading a prediction is good to about 25-30 % (95 %).
    data = good_scene()
    for key in ("water", "substrate", "hood"):
        del data[key]
    for fixture in data["fixture"]:
        del fixture["lens"]
        fixture["output"] = {"ppf": "60 umol/s"}
    assert 0.22 < 2 * tank_uncertainty(scene_from_dict(data)) < 0.33


def test_a_range_counts_by_its_mean_square() -> None:
    for row in assumptions(scene_from_dict(good_scene())):
        if row.relative_low is None or row.relative_high is None:
            assert row.mean_square == 0
            continue
        assert row.relative_low <= 0 <= row.relative_high
        spread = np.linspace(row.relative_low, row.relative_high, 20_001)
        assert row.mean_square == pytest.approx((spread**2).mean(), rel=1e-3)
