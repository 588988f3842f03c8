"""The range of the real tank's light: by closed forms, against traces at the ends of ranges, and by coverage."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests.planning.boxes import SCENES, box, lowered_box
from tests.planning.drawn_tanks import coverage, departures, traced_scene

from underlit.lowering.scene import lower
from underlit.planning.ranges import TankRange, TankRanges, _of_counts, alike_everywhere, between, both_errors
from underlit.results.store import load_result, write_fields
from underlit.scene import load_scene, scene_from_dict
from underlit.scene.assumptions.lever import Moves, with_value
from underlit.scene.assumptions.scene import levers_of

SHIPPED = sorted(path.stem for path in SCENES.glob("*.toml") if path.stem not in ("rack-round", "rack-tea"))
"""But for the two tanks that have no light of their own and stand in `rack-of-three`."""
OPEN = {"tank": {"panes": "overgrown"}, "water": {"tannin": "ordinary"}}


@pytest.fixture(scope="module")
def lowered():
    return lowered_box(lid={})


@pytest.fixture(scope="module")
def result(lowered):
    return traced_scene(lowered, 1 << 18, with_ranges=True).result


# -- arithmetic ---------------------------------------------------------------------------------------------------------
def test_a_count_weighed_anew_is_exact_for_poisson_numbers() -> None:
    """E exp(c N) = exp(mean (e^c - 1)) for Poisson's N: its probability generating function."""
    mean, change = np.array([[0.3, 2.0]]), np.array([-1.5, 0.0, 0.7])
    found = _of_counts(mean, np.ones_like(mean), change)
    np.testing.assert_allclose(found, mean[..., None] * np.expm1(change), rtol=1e-12)


def test_a_fixed_length_weighed_anew_is_exact() -> None:
    """A feature that does not vary only multiplies: exp(mean c)."""
    found = _of_counts(np.array([[-0.4]]), np.zeros((1, 1)), np.array([0.5]))
    assert float(found.item()) == pytest.approx(-0.2, rel=1e-12)


def test_a_range_of_one_normal_uncertainty_is_its_half_width() -> None:
    tank = alike_everywhere(0.1)
    assert tank.low == pytest.approx(1 - 0.196, abs=0.001)
    assert tank.high == pytest.approx(1 + 0.196, abs=0.001)
    assert tank.standard == pytest.approx(0.1, rel=0.01)


def test_a_range_with_given_ends_has_them() -> None:
    tank = between(0.7, 1.2)
    assert (tank.low, tank.high) == (pytest.approx(0.7, rel=2e-3), pytest.approx(1.2, rel=2e-3))


def test_chances_count_both_errors() -> None:
    """Half of the drawn tanks lie below the band's low end; with a simulation error of 10 around it the same by symmetry."""
    tank = TankRange(np.linspace(0.8, 1.2, 1001))
    for error in (0.0, 10.0):
        below, inside, above = tank.chances(100.0, error, 100.0, 1000.0)
        assert below == pytest.approx(0.5, abs=0.001)
        assert inside == pytest.approx(0.5, abs=0.001)
        assert above == pytest.approx(0.0, abs=1e-6)


def test_both_errors_add_in_squares_each_way() -> None:
    assert both_errors(100.0, 3.0, (0.96, 1.0)) == (pytest.approx(95.0), pytest.approx(103.0))


# -- traces ---------------------------------------------------------------------------------------------------------------
def test_output_and_dirt_move_the_light_by_exactly_what_they_are(lowered, result) -> None:
    """The light adds, and all of it comes through the lid once: effects are known without a trace."""
    found = {e.tag: e for e in TankRanges(lowered, result).zone(0).effects}
    levers = {lever.tag: lever for lever in levers_of(lowered.scene)}
    lid = next(lever for lever in levers.values() if lever.moves is Moves.LID)
    assert found[lid.tag].low == pytest.approx(lid.low / lid.value, rel=0.01)
    assert found[lid.tag].high == pytest.approx(lid.high / lid.value, rel=0.01)


def test_corners_depend_on_the_panes_more_than_the_middle() -> None:
    """The panes of a tank send light into its corners, so that the ranges differ from place to place."""
    spots = [{"name": name, "at": [f"{x} cm", f"{y} cm"]} for name, x, y in (("middle", 15, 10), ("corner", 2, 2))]
    found = lower(box(tank={"panes": "overgrown"}, spot=spots))
    result = traced_scene(found, 1 << 18, with_ranges=True).result
    middle, corner = (
        next(e for e in TankRanges(found, result).spot(i).effects if e.name == str(Moves.PANES)) for i in (0, 1)
    )
    assert corner.size > 1.5 * middle.size


def test_the_same_bits_on_one_thread_or_three(lowered) -> None:
    from underlit.run import trace

    one, three = (trace(lowered, photons=1 << 16, threads=n).result.responses for n in (1, 3))
    np.testing.assert_array_equal(one.sums, three.sums)
    np.testing.assert_array_equal(one.logs, three.logs)


def test_recording_paths_changes_no_count(lowered) -> None:
    plain, recorded = (traced_scene(lowered, 1 << 16, with_ranges=w).result for w in (False, True))
    assert plain.responses is None
    for a, b in zip(plain.counts, recorded.counts, strict=True):
        np.testing.assert_array_equal(a.groups, b.groups)
        np.testing.assert_array_equal(np.array(a.points), np.array(b.points))
        assert a.ledger == b.ledger


def test_a_stored_result_tells_the_same_ranges(lowered, result, tmp_path: Path) -> None:
    write_fields(result, tmp_path / "result.nc")
    stored = load_result(tmp_path / "result.nc")
    was, now = (TankRanges(lowered, one).zone(0) for one in (result, stored))
    np.testing.assert_array_equal(was.ratios, now.ratios)
    low, high = TankRanges(lowered, stored).bed(stored.compiled.bed_map)
    assert np.all((low < 1) & (high > 0.9))
    assert low.shape == stored.bed().value.shape


def test_levers_of_a_light_are_off_where_it_hangs_as_said() -> None:
    assert not any(lever.moves in (Moves.HEIGHT, Moves.PLACE) for lever in levers_of(box()))


def test_told_effects_are_those_of_traces_at_the_ends_of_the_ranges() -> None:
    """A small tank that leaves nearly everything open: lid, panes, tint, level, depth, rim, height and place of the light."""
    scene = scene_from_dict(
        {
            "tank": {"inside_size": ["30 cm", "20 cm", "20 cm"], "panes": "overgrown", "rim": {}},
            "lid": {},
            "fixture": [{"name": "bar", "length": "25 cm", "output": {"ppf": "12 umol/s"}}],
            "spot": [{"name": "corner", "at": ["3 cm", "3 cm"]}],
        }
    )
    found = list(departures(scene, 1 << 18))
    assert {one.lever for one in found} >= {
        str(m) for m in (Moves.PANES, Moves.TINT, Moves.LID, Moves.HEIGHT, Moves.PLACE)
    }
    assert max(abs(one.traced - 1) for one in found if one.lever == str(Moves.HEIGHT)) > 0.1
    bad = [one for one in found if one.off > 1]
    assert not bad, bad


@pytest.mark.long
@pytest.mark.parametrize("name", SHIPPED)
def test_told_effects_are_those_of_traces_in_shipped_scenes(name: str) -> None:
    bad = [one for one in departures(load_scene(SCENES / f"{name}.toml"), 400_000, both_ends=False) if one.off > 1]
    assert not bad, bad


@pytest.mark.long
def test_ranges_hold_the_light_of_drawn_tanks() -> None:
    """Of 200 tanks drawn from the ranges of a scene's assumptions 90 to 98 % lie in the 95 % range of each place."""
    scene = box(
        lid={},
        tank={"panes": "overgrown"},
        fixture=[{"name": "bar", "length": "25 cm", "output": {"ppf": "12 umol/s"}}],
    )
    for place, share in coverage(scene, tanks=200, photons=1 << 16).items():
        assert 0.90 <= share <= 0.98, (place, share)


def test_a_value_in_the_place_of_an_assumed_one_lands_where_it_belongs() -> None:
    scene = box(lid={}, tank={"panes": "overgrown"})
    levers = {lever.moves: lever for lever in levers_of(scene)}
    assert with_value(scene, levers[Moves.PANES], 0.33).returned_per_reflection("left") == pytest.approx(0.33)
    lid = with_value(scene, levers[Moves.LID], levers[Moves.LID].low).lid
    assert lid is not None
    assert lid.dirt * lid.condensation == pytest.approx(levers[Moves.LID].low)
