"""Suggestions for one tank of a rack: its own lights are moved and dimmed, those of the other tanks stay and shine on it."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from checking import same
from underlit.cli import main
from underlit.lowering.scene import lower
from underlit.planning.chart import lights
from underlit.planning.suggest import SearchSpace, SuggestError, Suggestions, TooMuch, suggest
from underlit.planning.suggest.reach import room_m
from underlit.planning.suggest.responses import channel_light, full_power_trace, places_for
from underlit.planning.suggest.search_space import kinds_of
from underlit.planning.zones import zone_reports
from underlit.report.decisions.suggest import hanging_words, in_words
from underlit.run import Traced, trace
from underlit.scene import Fixture, Scene, load_scene

SHELF = Path(__file__).resolve().parents[2] / "scenes" / "rack-of-three.toml"
PHOTONS = 1 << 19
TANK = """\
[tank]
inside_size = ["30 cm", "24 cm", "24 cm"]
glass_thickness = "5 mm"
[substrate]
depth = "3 cm"
[[fixture]]
name = "bar"
size = ["24 cm", "5 cm", "1 cm"]
leds = {{ rows = 1, columns = 6 }}
output = {{ ppf = "{ppf} umol/s", watts = "{watts} W" }}
dimming = {dimming}
above_rim = "8 cm"
position = ["15 cm", "12 cm"]
[[zone]]
name = "front"
rectangle = [["2 cm", "1 cm"], ["28 cm", "8 cm"]]
band = {front}
[[zone]]
name = "back"
rectangle = [["2 cm", "16 cm"], ["28 cm", "23 cm"]]
band = {back}
"""


@pytest.fixture(scope="module")
def rack(tmp_path_factory: pytest.TempPathFactory) -> Scene:
    """A dim tank beside a bright one, whose light reaches into it."""
    folder = tmp_path_factory.mktemp("rack")
    (folder / "dim.toml").write_text(
        TANK.format(ppf=8, watts=4, dimming=1.0, front=[30, 48], back=[16, 27]), encoding="utf-8"
    )
    beside = '[[rack]]\nname = "dim"\nfile = "dim.toml"\nat = ["-33 cm", "0 cm"]\n'
    bright = TANK.format(ppf=60, watts=30, dimming=0.5, front=[40, 400], back=[40, 400])
    (folder / "bright.toml").write_text(bright + beside, encoding="utf-8")
    return load_scene(folder / "bright.toml")


@pytest.fixture(scope="module")
def found(rack: Scene) -> Suggestions:
    return suggest(rack.seen_from(1), SearchSpace(most=1, above_rim_m=(0.06, 0.06)), photons=PHOTONS)


def test_what_is_suggested_holds_in_a_trace_of_the_rack(rack: Scene, found: Suggestions) -> None:
    """The bar moves to the front of its own tank; the suggested rack, traced anew, has the light that was said in both tanks."""
    best = found.best
    assert len(found.now.met) < len(best.met) == 2
    assert best.hanging is not None
    assert best.hanging.places_m[0] < 0.11
    assert [setting.fixture for setting in best.settings] == ["bar"], "the other tank's bar is not set"
    (other,) = best.scene.rack
    assert other.scene.fixtures == rack.fixtures
    share = best.settings[0].share
    dimmed = best.scene.model_copy(
        update={"fixtures": tuple(f.model_copy(update={"dimming": share}) for f in best.scene.fixtures)}
    )
    lowered = lower(dimmed)
    traced = trace(lowered, photons=1 << 20, seed=99)
    assert isinstance(traced, Traced)
    again = {report.name: report for report in zone_reports(lowered, traced.result)}
    assert [zone.name for zone in best.elsewhere] == ["bright: front", "bright: back"]
    for zone in (*best.zones, *best.elsewhere):
        same(zone.ppfd, again[zone.name].ppfd, resolves=0.06, what=f"suggested rack: {zone.name}")


def test_the_light_of_other_tanks_is_counted_and_not_dimmed(rack: Scene) -> None:
    """What reaches the dim tank from the bright one's lamp, as its scene dims it, is apart from what its own bar gives."""
    traced = full_power_trace(rack.seen_from(1), photons=PHOTONS, seed=3)
    light = channel_light(traced, ["front", "back"])
    assert light.channels == (("bar", "white"),)
    whole = traced.result.zone_estimates()
    names = [zone.own_name for zone in traced.lowered.compiled.zones]
    for z, name in enumerate(("front", "back")):
        assert light.besides[z] > 1
        assert light.full[0, z] + light.besides[z] == pytest.approx(whole[names.index(name)].value)
    twice = rack.model_copy(
        update={"fixtures": tuple(f.model_copy(update={"dimming": 1.0}) for f in rack.fixtures)}
    ).seen_from(1)
    again = channel_light(full_power_trace(twice, photons=PHOTONS, seed=3), ["front", "back"])
    assert again.besides == pytest.approx(2 * light.besides, rel=0.1)
    assert again.full == pytest.approx(light.full, rel=0.1)


def test_too_bright_by_the_lights_of_others_is_said(rack: Scene) -> None:
    """A zone that the neighbour's lamp alone makes too bright is met by no setting, and that is the reason given."""
    dark = rack.rack[0].scene
    zones = tuple(zone.model_copy(update={"band": (0.1, 0.5)}) for zone in dark.zones)
    scene = rack.model_copy(
        update={"rack": (rack.rack[0].with_scene(dark.model_copy(update={"zones": zones})),)}
    ).seen_from(1)
    dim = suggest(scene, SearchSpace(only_dimming=True), photons=PHOTONS)
    assert not dim.best.met
    assert all(isinstance(one, TooMuch) and one.least > one.high for one in dim.against)
    assert {one.zone for one in dim.against if isinstance(one, TooMuch)} == {"front", "back"}


def test_a_light_of_a_rack_may_be_as_long_as_its_tanks_together() -> None:
    scene = load_scene(SHELF)
    assert room_m(scene)[0] == pytest.approx(0.36 * 2 + 0.3 + 0.01)
    (kind,) = kinds_of(scene, SearchSpace())
    places = places_for(scene, kind, turned=False)
    assert places is not None
    assert (places.min(), places.max()) == pytest.approx((0.04, 0.26))
    assert places_for(scene.model_copy(update={"rack": ()}), kind, turned=False) is None


def test_a_tank_without_a_light_says_whose_it_is() -> None:
    for space in (SearchSpace(), SearchSpace(only_dimming=True)):
        with pytest.raises(SuggestError, match="its light belongs to 'rack-of-three': ask about that tank"):
            suggest(load_scene(SHELF).seen_from(1), space)


def test_a_tank_that_has_enough_from_others_is_left_as_it_is() -> None:
    """The shelf's light brings the round tank into its band: any light more would take it out."""
    space = SearchSpace(lights=lights(["puck 15 W"]), most=1, above_rim_m=(0.2, 0.2))
    found = suggest(load_scene(SHELF).seen_from(1), space, photons=PHOTONS)
    assert found.ranked == (found.now,)
    assert not found.best.unmet
    assert hanging_words(found.best) == "as it is"


def test_the_command_writes_a_rack_and_the_tank_that_changed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A light over a tank that has none: its file gets the light, the rack's file names it; both hold when traced."""
    out = tmp_path / "out"
    asked = ["--tank", "right, tea-stained", "--lights", "puck 15 W", "--most", "1", "--photons", "131072"]
    heights = ["--above-rim", "20 cm", "20 cm", "--out", str(out), "--show", "1"]
    assert main(["suggest", str(SHELF), *asked, *heights]) == 0
    said = capsys.readouterr().out
    assert "The other tanks of the rack" in said
    assert {path.name for path in out.glob("*.toml")} == {"suggestion-1.toml", "suggestion-1-right-tea-stained.toml"}
    with open(out / "suggestions.csv", encoding="utf-8") as stream:
        row = list(csv.DictReader(stream))[1]
    again = load_scene(out / "suggestion-1.toml")
    assert again.fixtures == load_scene(SHELF).fixtures
    assert [light.name for light in again.rack[1].scene.fixtures] == ["puck 15 W"]
    lowered = lower(again)
    traced = trace(lowered, photons=1 << 19, seed=5)
    assert isinstance(traced, Traced)
    reports = {report.name: report for report in zone_reports(lowered, traced.result)}
    for zone in ("bed", "under the surface"):
        again_found = reports[f"right, tea-stained: {zone}"].ppfd.value
        assert float(row[f"{zone}: ppfd_umol_m2_s"]) == pytest.approx(again_found, rel=0.03)


def test_only_the_dimmers_of_one_tank_are_set(rack: Scene) -> None:
    """The dim tank's bar is the one that is set, in a sentence, whatever its neighbour's does; nothing is moved or bought."""
    found = suggest(rack.seen_from(1), SearchSpace(only_dimming=True), photons=PHOTONS)
    (best,) = found.ranked
    assert best.hanging is None
    assert (found.traces, best.buys) == (1, 0)
    assert len(best.met) >= len(found.now.met)
    share = f"{100 * best.settings[0].share:.0f} %"
    assert in_words(found)[0].startswith(f"Set the bar to {share}: ")
    again = suggest(
        rack.seen_from(1).model_copy(update={"fixtures": tuple(_at(f, share) for f in rack.seen_from(1).fixtures)}),
        SearchSpace(only_dimming=True), photons=PHOTONS,
    )  # fmt: skip
    assert in_words(again)[0].startswith(f"Leave the bar at {share}: ")


def test_all_lights_by_one_factor_come_first_then_each(rack: Scene) -> None:
    """Two bars over one tank of a rack, one of them over each zone: one factor for both meets less than each by itself."""
    here = rack.seen_from(1)
    bar, zones = here.fixtures[0], here.zones
    front, back = (
        bar.model_copy(update={"name": n, "position": (0.15, y)}) for n, y in (("front", 0.04), ("back", 0.2))
    )
    wide = tuple(z.model_copy(update={"band": b}) for z, b in zip(zones, ((58.0, 75.0), (40.0, 52.0)), strict=True))
    scene = here.model_copy(update={"fixtures": (front, back), "zones": wide})
    found = suggest(scene, SearchSpace(only_dimming=True), photons=PHOTONS)
    by_one = {one.together: one for one in found.ranked}
    assert len(by_one[True].met) < len(by_one[False].met) == 2
    assert not found.best.together
    said = in_words(found)
    assert said[0].startswith("Set the front to ")
    assert said[1].startswith("Set all lights to ")
    levels = {setting.fixture: setting.share for setting in by_one[False].settings}
    assert levels["front"] > levels["back"]


def _at(fixture: Fixture, share: str) -> Fixture:
    return fixture.model_copy(update={"dimming": float(share.removesuffix(" %")) / 100})
