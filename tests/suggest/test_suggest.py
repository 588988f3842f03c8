"""Suggestions for a small tank: they hold when traced, say honestly when nothing does, and are the same bits again."""

from __future__ import annotations

from dataclasses import replace

import pytest
from suggest_scenes import FIXTURE, small_scene

from underlit.backends.cpu import Tracer
from underlit.lowering.scene import lower
from underlit.planning.chart import lights
from underlit.planning.chart.target import LOWEST_SETTING
from underlit.planning.plant_map import plant_map
from underlit.planning.suggest import SearchSpace, SuggestError, TooAlike, Weigh, suggest
from underlit.planning.suggest.reach import free_strip_m, glare_of, reach_of, room_m
from underlit.planning.suggest.search_space import Hanging, kinds_of, scene_with
from underlit.planning.suggest.suggestion import headroom_class
from underlit.planning.zones import zone_reports
from underlit.report.decisions.suggest import how_many_words, in_words, suggestions_csv
from underlit.run import trace
from underlit.scene.checks.scene import fixture_bounds_m
from underlit.scene.targets import Band

PHOTONS = 1 << 16


@pytest.fixture(scope="module")
def found():
    """Front to be bright, back to be dim: the light has to move to the front."""
    return suggest(small_scene((60.0, 90.0), (15.0, 45.0)), SearchSpace(most=1), photons=PHOTONS, threads=2)


def test_moves_the_light_to_where_it_is_wanted(found):
    """Over the middle both zones get about the same; the best hangs it in front of the middle and meets both."""
    assert len(found.now.met) < 2
    assert len(found.best.met) == 2
    assert found.best.hanging.places_m[0] < 0.11
    assert "It meets both zones" in in_words(found)[0]
    keys = [one.weight(found.order) for one in found.ranked]
    assert keys == sorted(keys)


def test_what_is_shown_holds_in_a_trace_of_its_own(found):
    """The suggested scene, dimmed by its fixtures' own keys and traced with another seed, has the light that was said."""
    best = found.best
    share = {(s.fixture, s.channel): s.share for s in best.settings}
    dimmed = [
        fixture.model_copy(
            update={
                "channels": tuple(
                    channel.model_copy(update={"dimming": share[fixture.name, channel.name]})
                    for channel in fixture.channels
                )
            }
        )
        for fixture in best.scene.fixtures
    ]
    lowered = lower(best.scene.model_copy(update={"fixtures": tuple(dimmed)}))
    traced = trace(lowered, photons=PHOTONS, seed=99)
    for zone, again in zip(best.zones, zone_reports(lowered, traced.result)[1:], strict=True):
        assert zone.name == again.name
        apart = abs(zone.ppfd.value - again.ppfd.value)
        assert apart < 5 * (zone.ppfd.standard_error + again.ppfd.standard_error) + 1e-6


def test_same_bits_again(found):
    """The same question has the same answer, on one thread too."""
    again = suggest(small_scene((60.0, 90.0), (15.0, 45.0)), SearchSpace(most=1), photons=PHOTONS, threads=1)
    assert suggestions_csv(again) == suggestions_csv(found)
    assert [one.settings for one in again.ranked] == [one.settings for one in found.ranked]


def test_says_honestly_that_nothing_does():
    """Light that is twenty times brighter at the front than at the back: no place of a bar gives that, and it says so."""
    scene = small_scene((60.0, 90.0), (2.0, 3.0))
    found = suggest(scene, SearchSpace(most=1, above_rim_m=(0.05, 0.05)), photons=PHOTONS)
    assert len(found.best.met) == 1
    words = in_words(found)
    assert "It meets 1 of 2 zones" in words[0]
    assert words[0].endswith("no suggestion meets more.")
    said = [one for one in found.against if isinstance(one, TooAlike)]
    assert said
    assert (said[0].brighter, said[0].dimmer) == ("front", "back")
    assert said[0].at_most < said[0].wanted == pytest.approx(20.0)


def test_lid_goes_only_where_it_may():
    """Bands that only the open tank reaches: with leave the lid goes, else it stays; where both do, it stays."""
    lid = {"thickness": "4 mm", "dirt": 0.3}
    bright, dim = small_scene((60.0, 200.0), (10.0, 200.0), lid=lid), small_scene((5.0, 40.0), (1.0, 40.0), lid=lid)
    one_height = {"most": 1, "above_rim_m": (0.05, 0.05)}
    kept = suggest(bright, SearchSpace(**one_height), photons=PHOTONS)
    assert len(kept.best.met) < 2
    assert all(one.lid_kept for one in kept.ranked)
    gone = suggest(bright, SearchSpace(**one_height, lid_may_go=True), photons=PHOTONS)
    assert len(gone.best.met) == 2
    assert not gone.best.lid_kept
    both = suggest(dim, SearchSpace(**one_height, lid_may_go=True), photons=PHOTONS)
    assert len(both.best.met) == 2
    assert both.best.lid_kept
    assert any(not one.lid_kept for one in both.ranked)


def test_kinds_and_prices():
    """Alike fixtures are one kind however they hang; what is there need not be bought; a wrong name is refused."""
    second = {**FIXTURE, "name": "other", "position": ["20 cm", "20 cm"], "above_rim": "9 cm", "dimming": 0.3}
    scene = small_scene((1.0, 2.0), (1.0, 2.0), fixture=[FIXTURE, second])
    space = SearchSpace(lights=lights(["bar 12 W, 30 cm"]), prices={"bar": 30.0, "bar 12 W, 30 cm": 50.0})
    own, bought = kinds_of(scene, space)
    assert (own.owned, own.to_buy(1), own.to_buy(3)) == (2, 0, 1)
    assert (bought.owned, bought.to_buy(2), bought.price) == (0, 2, 50.0)
    with pytest.raises(SuggestError, match="not one of the fixtures"):
        kinds_of(scene, SearchSpace(prices={"bra": 3.0}))


def test_reach_by_hand():
    """Free strips beside one and two fixtures; the glare of a Lambertian LED is the cosine towards the eyes."""
    scene = small_scene((1.0, 2.0), (1.0, 2.0))
    kind = kinds_of(scene, SearchSpace())[0]
    one = scene_with(scene, Hanging(kind, False, True, 0.1, (0.06,)))
    assert free_strip_m(one) == pytest.approx(0.24 - 0.085)
    two = scene_with(scene, Hanging(kind, False, True, 0.1, (0.06, 0.18)))
    assert free_strip_m(two) == pytest.approx(0.12 - 0.05)
    across = scene_with(scene, Hanging(replace(kind), True, True, 0.1, (0.1,)))
    assert free_strip_m(across) == pytest.approx(0.4 - 0.125)
    lambertian = one.fixtures[0].model_copy(update={"lens": None})
    bare = scene.model_copy(update={"fixtures": (lambertian,)})
    assert glare_of(bare, lambertian) == pytest.approx(0.1 / (0.1**2 + 1.06**2) ** 0.5)


def test_headroom():
    """70 % is easy, 85 % is some room, full power none."""
    assert [headroom_class(x) for x in (0.5, 0.7, 0.71, 0.85, 0.9, 1.0)] == [0, 0, 1, 1, 2, 2]


def test_order_of_what_is_weighed(found):
    """Watts first: the least watts come first."""
    by_watts = sorted(found.ranked, key=lambda one: one.weight([Weigh.WATTS, Weigh.ZONES]))
    watts = [round(one.watts, 1) for one in by_watts]
    assert watts == sorted(watts)


def test_refuses_what_cannot_be_asked():
    """No zone with a band, heights the wrong way round, too many fixtures."""
    scene = small_scene((1.0, 2.0), (1.0, 2.0))
    without = scene.model_copy(update={"zones": ()})
    with pytest.raises(SuggestError, match="no zone has a target"):
        suggest(without)
    for wrong in ({"above_rim_m": (0.4, 0.1)}, {"most": 0}, {"most": 9}, {"order": [Weigh.ZONES, Weigh.ZONES]}):
        with pytest.raises(SuggestError):
            SearchSpace(**wrong)


def stopped_early(self: Tracer, targets: list[int], poll: object = None) -> None:
    """One batch of each source, then Ctrl-C."""
    _run(self, [1 for _ in targets])
    raise KeyboardInterrupt


_run = Tracer.run


@pytest.mark.parametrize(
    "work",
    [
        lambda scene: suggest(scene, SearchSpace(most=1, above_rim_m=(0.05, 0.05)), photons=PHOTONS),
        lambda scene: suggest(scene, SearchSpace(only_dimming=True), photons=PHOTONS),
        lambda scene: plant_map(scene, photons=1 << 17),
    ],
)
def test_ctrl_c_ends_it_and_no_part_of_a_trace_is_taken_for_the_whole(work, monkeypatch):
    """A trace keeps what was counted when it is stopped; advice from so little of it would be worth nothing."""
    monkeypatch.setattr(Tracer, "run", stopped_early)
    with pytest.raises(KeyboardInterrupt):
        work(small_scene((60.0, 90.0), (15.0, 45.0)))


def test_a_light_as_long_as_its_tank_is_not_longer():
    """Ends of the light that lie as far apart as the tank is long, but for the last bit, are no overhang; a centimetre is."""
    tank = {"inside_size": ["60 cm", "24 cm", "26 cm"], "glass_thickness": "4 mm"}
    fixture = {**FIXTURE, "size": ["608 mm", "5 cm", "1 cm"], "position": ["33.1 cm", "12 cm"]}
    zone = {"name": "bed", "rectangle": [["5 cm", "5 cm"], ["55 cm", "20 cm"]], "band": [1, 2]}
    scene = small_scene((1.0, 2.0), (1.0, 2.0), tank=tank, fixture=[fixture], zone=[zone])
    as_long, longer = (scene.fixtures[0].model_copy(update={"size": (x, 0.05, 0.01)}) for x in (0.608, 0.618))
    as_long = as_long.model_copy(update={"position": (0.6 / 2 + 0.031, 0.12)})
    left, _, right, _ = fixture_bounds_m(scene, as_long)
    assert right - left > room_m(scene)[0], "the last bit is too many"
    for fixtures, said in (((as_long,), []), ((longer,), ["bar is 10 mm (0.39 in) longer than the tank"])):
        hung = scene.model_copy(update={"fixtures": fixtures})
        result = trace(lower(hung), photons=PHOTONS).result
        assert [line for line in reach_of(hung, result).warnings if "longer" in line] == said


def test_one_light_or_two_is_said_in_one_sentence():
    """What each number of lights meets and at which power, from the best suggestion of each; one that meets all is enough."""
    found = suggest(
        small_scene((55.0, 90.0), (55.0, 90.0)), SearchSpace(most=2, above_rim_m=(0.05, 0.05)), photons=PHOTONS
    )
    by_number = {len(one.scene.fixtures): one for one in reversed(found.ranked)}
    assert [len(by_number[number].met) for number in (1, 2)] == [2, 2]
    one, two = (f"{100 * by_number[number].highest:.0f} %" for number in (1, 2))
    said = how_many_words(found)
    assert said in in_words(found)
    assert said.startswith(f"One light is enough: one light meets both zones at {one} of full power")
    assert f"two lights meet both zones at {two} of full power" in said
    assert said.endswith("Two lights would leave room for ageing.")
    only_two = replace(found, ranked=tuple(o for o in found.ranked if len(o.scene.fixtures) == 2))
    assert how_many_words(only_two) == ""
    # where one light does not meet as much, it takes two
    dim = replace(by_number[1], zones=tuple(replace(z, band=Band(500.0, 600.0, "", "")) for z in by_number[1].zones))
    takes = how_many_words(replace(found, ranked=(by_number[2], dim)))
    assert takes.startswith("It takes two lights: one light meets none of 2 zones")


def test_a_setting_lower_than_dimmers_hold_is_warned_of():
    """A light that is far too strong is set low, and the suggestion says that few dimmers hold that."""
    found = suggest(small_scene((1.0, 8.0), (1.0, 8.0)), SearchSpace(only_dimming=True), photons=PHOTONS)
    share = found.best.settings[0].share
    assert 0 < share < LOWEST_SETTING
    assert any(line.startswith(f"bar at {100 * share:.0f} %: few dimmers hold") for line in found.best.reach.warnings)
    assert not any("few dimmers" in line for line in found.now.reach.warnings)
