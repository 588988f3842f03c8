"""Rows of a chart: what they say, that the setting holds, that they are the same bits anywhere."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from chart_scenes import write_scenes

from underlit.lowering.scene import lower
from underlit.planning.chart import Answer, ChartError, Misfit, Row, TankSpot, Target, lights, make_chart, tanks
from underlit.planning.chart.axes import overhang_m, scene_of
from underlit.planning.chart.keys import row_key
from underlit.planning.chart.tenths import bed_patches, bed_tenths
from underlit.planning.ends import Ends, ends_of
from underlit.results.estimate import Estimate
from underlit.run import trace
from underlit.scene import Need, assumptions

PHOTONS = 1 << 16


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A chart of two lights over two tanks, kept in a folder."""
    folder = tmp_path_factory.mktemp("chart")
    paths = write_scenes(folder)
    return make_chart(lights(paths), tanks(paths), photons=PHOTONS, folder=folder / "kept", threads=2), folder


def some_ends() -> Ends:
    """Ends with a fifth of the middle's light."""
    of = {key: Estimate(value, 0.5, 15.0) for key, value in (("left", 19.0), ("right", 21.0), ("both", 20.0))}
    return Ends(**of, middle=Estimate(100.0, 1.0, 15.0), share=Estimate(0.2, 0.01, 15.0), end_m=0.09, height_m=0.03,
                lit_m=0.6, tank_m=0.9)  # fmt: skip


def a_row(mean: float, dimmest: float | None = None, brightest: float | None = None) -> Row:
    """A row with given light."""
    tenth = [None if value is None else Estimate(value, 0.0, 15.0) for value in (dimmest, brightest)]
    return Row(
        "k", "light", "tank", 1, 1, "p", 1.0, None, Estimate(mean, 0.0, 15.0), *tenth, 0.03, some_ends(), 0.7, 1.2, ()
    )


def with_panes(tank: TankSpot, returned: float) -> TankSpot:
    """The tank with upright panes that are said to return a share of the light per reflection."""
    walls = {
        side: tank.scene.tank.walls[side].model_copy(update={"returned_per_reflection": returned})
        for side in ("front", "back", "left", "right")
    }
    scene = tank.scene.model_copy(update={"tank": tank.scene.tank.model_copy(update=walls)})
    return replace(tank, scene=scene)


def test_row_is_the_trace_at_full_power(made):
    """A row says what a trace of the same tank says at full power, whatever the scene's own dimming."""
    chart, folder = made
    small = chart.cells["small", "small"]
    scene = scene_of(lights([str(folder / "small.toml")])[0], tanks([str(folder / "small.toml")])[0])
    lowered = lower(scene)
    traced = trace(replace(lowered, dimming=dict.fromkeys(lowered.dimming, 1.0)), photons=PHOTONS, seed=1)
    assert small.mean == traced.result.zones()["whole substrate"]
    assert small.ppf == pytest.approx(6.0)
    assert small.watts == 3.0
    assert small.dimmest.value < small.mean.value < small.brightest.value
    assert small.ends == ends_of(lowered, traced.result.dimmed(dict.fromkeys(traced.result.compiled.sources, 1.0)))


def test_the_setting_brings_the_target(made):
    """Dimmed to what the chart says, the traced tank has the target's mean: light adds."""
    chart, folder = made
    row = chart.cells["tall", "small"]
    setting = Target.of_ppfd(50.0).setting(row)
    assert setting.answer is Answer.DIM
    scene = scene_of(lights([str(folder / "tall.toml")])[0], tanks([str(folder / "small.toml")])[0])
    dimmed = tuple(fixture.model_copy(update={"dimming": setting.share}) for fixture in scene.fixtures)
    traced = trace(lower(scene.model_copy(update={"fixtures": dimmed})), photons=PHOTONS, seed=1)
    assert traced.result.zones()["whole substrate"].value == pytest.approx(50.0, rel=1e-12)


def test_same_bits_on_any_number_of_threads_and_from_the_folder(made):
    """One thread or two, traced or kept: the same rows; the folder's files hold the same text."""
    chart, folder = made
    paths = write_scenes(folder)
    again = make_chart(lights(paths), tanks(paths), photons=PHOTONS, folder=folder / "one", threads=1)
    assert again.cells == chart.cells
    files = {path.name: path.read_bytes() for path in (folder / "kept" / "rows").iterdir()}
    assert {path.name: path.read_bytes() for path in (folder / "one" / "rows").iterdir()} == files
    kept = make_chart(lights(paths), tanks(paths), photons=PHOTONS, folder=folder / "kept")
    assert kept.traced == 0
    assert kept.cells == chart.cells


def test_a_broken_row_is_traced_again(made):
    """A row file that is cut short, or stands under another's name, is not believed."""
    chart, folder = made
    paths = write_scenes(folder)
    rows = sorted((folder / "kept" / "rows").iterdir())
    whole = [path.read_text(encoding="utf-8") for path in rows]
    rows[0].write_text(whole[0][:40], encoding="utf-8")
    rows[1].write_text(whole[2], encoding="utf-8")
    again = make_chart(lights(paths), tanks(paths), photons=PHOTONS, folder=folder / "kept")
    assert again.traced == 2
    assert again.cells == chart.cells
    assert [path.read_text(encoding="utf-8") for path in rows] == whole


def test_key_follows_what_the_numbers_follow(tmp_path):
    """Another tint, photon count or seed is another row; title, zones and dimming are not; a file counts by its content."""
    paths = write_scenes(tmp_path)
    light, tank = lights(paths[:1])[0], tanks(paths[:1])[0]
    scene = scene_of(light, tank)
    key = row_key(scene, seed=1, photons=PHOTONS)
    assert row_key(scene.model_copy(update={"title": "another", "added_co2": False}), seed=1, photons=PHOTONS) == key
    brighter = replace(light, fixtures=tuple(f.model_copy(update={"dimming": 0.9}) for f in light.fixtures))
    assert row_key(scene_of(brighter, tank), seed=1, photons=PHOTONS) == key
    deeper = scene.water.model_copy(update={"above_bottom": 0.16})
    others = [
        row_key(scene, seed=2, photons=PHOTONS),
        row_key(scene, seed=1, photons=2 * PHOTONS),
        row_key(scene.model_copy(update={"water": deeper}), seed=1, photons=PHOTONS),
    ]
    assert len({key, *others}) == 4

    text = (tmp_path / "small.toml").read_text(encoding="utf-8")
    bed = 'heights = { file = "heights.csv", unit = "cm" }'
    (tmp_path / "bed.toml").write_text(text.replace('depth = "2 cm"', bed), encoding="utf-8")
    keys = []
    for rows in ("2,2\n3,3\n", "2,2\n4,4\n"):
        (tmp_path / "heights.csv").write_text(rows, encoding="utf-8")
        keys.append(row_key(scene_of(light, tanks([tmp_path / "bed.toml"])[0]), seed=1, photons=PHOTONS))
    assert len(set(keys)) == 2


def test_light_keeps_its_height_and_share_of_the_tank(tmp_path):
    """A light a quarter from the front hangs a quarter from the front of another tank, as high over its rim."""
    small, tall = write_scenes(tmp_path)
    scene = scene_of(lights([tall])[0], tanks([small])[0])
    assert scene.fixture_centre_m(scene.fixtures[0]) == pytest.approx((0.15, 0.05, 0.24))
    assert overhang_m(lights([tall])[0], tanks([small])[0]) == pytest.approx(0.36 - 0.308)
    lifted = scene_of(lights([tall], above_rim_m=0.2)[0], tanks([small])[0])
    assert lifted.fixture_centre_m(lifted.fixtures[0])[2] == pytest.approx(0.4)
    # a stone of the tall tank bears the small light's name
    assert scene_of(lights([small])[0], tanks([tall])[0]).fixtures[0].name == "clip (light)"


def test_what_cannot_hang_there_is_left_out_with_its_reason(tmp_path):
    """A light that would cut through a raised lid is no row, and stops no other."""
    small, _ = write_scenes(tmp_path)
    chart = make_chart(lights([small], above_rim_m=0.032), tanks([small, tmp_path / "lid.toml"]), photons=PHOTONS)
    assert isinstance(chart.cells["small", "small"], Row)
    misfit = chart.cells["small", "lid"]
    assert isinstance(misfit, Misfit)
    assert "lid" in misfit.reason


def test_entries_of_the_catalogue(tmp_path):
    """A light and a tank by name: the light hangs as bars do; panes are a planted tank's, their doubt counts."""
    light, tank = lights(["bar 24 W, 60 cm"])[0], tanks(["20 high"])[0]
    scene = scene_of(light, tank)
    assert scene.fixture_centre_m(scene.fixtures[0])[2] == pytest.approx(scene.tank.inside_m[2] + 0.05)
    assert [scene.returned_per_reflection(side) for side in ("front", "back", "left", "right")] == [0.25] * 4
    chart = make_chart([light], [tank], photons=PHOTONS)
    planted = chart.cells[light.name, tank.name]
    assert planted.tank_low < 1 < planted.tank_high
    assert "tank.panes" in {row.key for row in assumptions(scene)}
    overgrown = with_panes(tank, 0.25)
    said = make_chart([light], [overgrown], photons=PHOTONS).cells[light.name, tank.name]
    assert said.mean.value == pytest.approx(planted.mean.value)
    assert said.tank_high / said.tank_low < planted.tank_high / planted.tank_low
    bare = with_panes(tank, 1.0)
    cleaned = make_chart([light], [bare], photons=PHOTONS).cells[light.name, tank.name]
    assert planted.mean.value < 0.8 * cleaned.mean.value
    with pytest.raises(ChartError, match="did you mean"):
        tanks(["20 hihg"])


def test_axes_refuse_in_one_line(tmp_path):
    """No name, the same name twice."""
    small, _ = write_scenes(tmp_path)
    for names in ([], [small, small]):
        with pytest.raises(ChartError) as refused:
            lights(names)
        assert "\n" not in str(refused.value)


def test_settings_by_hand():
    """Mean 100 at full power: half for 50; 40 is full power for 35-70; 30 is short; 1000 is too strong."""
    half = Target.of_ppfd(50).setting(a_row(100, 60, 150))
    assert (half.answer, half.share, half.mean, half.dimmest, half.brightest) == (Answer.DIM, 0.5, 50, 30, 75)
    assert half.ends == 10
    assert half.judged == "right everywhere"
    assert not half.corners_too_dim
    assert not half.middle_too_bright
    medium = Target.of_need(Need.MEDIUM, added_co2=True)
    assert (medium.low, medium.ideal, medium.high) == (35, 52.5, 70)
    assert medium.setting(a_row(40)).answer is Answer.FULL_POWER
    short = medium.setting(a_row(30, 10, 40))
    assert (short.answer, short.share, short.mean) == (Answer.NOT_ENOUGH, 1.0, 30)
    assert medium.setting(a_row(0)).answer is Answer.NOT_ENOUGH
    assert medium.setting(a_row(1000)).answer is Answer.TOO_STRONG
    uneven = medium.setting(a_row(105, 60, 150))
    assert uneven.share == 0.5
    assert uneven.corners_too_dim
    assert uneven.middle_too_bright
    assert uneven.judged == "dimmest tenth too dim, brightest tenth too bright"
    assert short.judged == "too dim"
    assert [medium.at_full_power(a_row(mean)) for mean in (34, 36, 71)] == ["too dim", "right", "too bright"]
    assert [Target.of_ppfd(50).at_full_power(a_row(mean)) for mean in (49, 51, 500)] == ["below", "reached", "reached"]
    assert Target.of_need(Need.MEDIUM, added_co2=False).high == 50
    for value in (0.0, -1.0, math.inf, math.nan):
        with pytest.raises(ValueError):
            Target.of_ppfd(value)


def test_patches_share_out_the_bed(made):
    """Patches hold the bed's whole light; the tenths lie round its mean and keep their order."""
    _, folder = made
    scene = scene_of(lights([str(folder / "tall.toml")])[0], tanks([str(folder / "small.toml")])[0])
    result = trace(lower(scene), photons=4 * PHOTONS, seed=1).result
    patches = bed_patches(result, 0.03)
    assert len(patches.values) == 10 * 6
    flux = result.without_group(result.cells("map"), None).sum()
    assert (patches.values * patches.weights).sum() == pytest.approx(flux, rel=1e-12)
    tenths = bed_tenths(result)
    assert tenths.patch_m == 0.03
    assert patches.values.min() < tenths.dimmest.value < np.median(patches.values) < tenths.brightest.value


def test_rows_survive_their_file():
    """To text and back is the same row; what is no row is refused."""
    row = a_row(1 / 3, 0.1, None)
    assert Row.from_json(row.to_json()) == row
    for text in ("", "[]", "{}", "null", json.dumps({"mean": None, "dimmest": None, "brightest": None, "notes": []})):
        with pytest.raises(ValueError):
            Row.from_json(text)
