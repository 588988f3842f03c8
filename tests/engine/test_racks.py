"""Several tanks under one light: the same light wherever a tank stands, nothing lost, names, what is refused."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shaped_tanks import described

from checking import same
from underlit.lowering.records import Source
from underlit.lowering.scene import lower
from underlit.planning.zones import zone_reports
from underlit.results.store import load_result, write_fields
from underlit.run import StoppingRule, trace_compiled
from underlit.scene import SceneError, load_scene, scene_from_dict
from underlit.transport.tables import Counter


def rack_files(folder: Path) -> dict[str, Any]:
    """A tank under a light, and a scene file of a like tank without one, to stand beside it."""
    zone = '[[zone]]\nname = "bed"\nrectangle = [["5 cm", "5 cm"], ["35 cm", "25 cm"]]\nneed = "medium"\n'
    level = '[[zone]]\nname = "half way up"\nrectangle = [["5 cm", "5 cm"], ["35 cm", "25 cm"]]\nheight = "8 cm"\n'
    spot = '[[spot]]\nname = "middle"\nat = ["20 cm", "15 cm"]\nradius = "3 cm"\n'
    clean = "panes = { returned_per_reflection = 1 }\n"
    tank = f'[tank]\ninside_size = ["40 cm", "30 cm", "30 cm"]\nglass_thickness = "5 mm"\n{clean}'
    (folder / "other.toml").write_text(tank + '[substrate]\ndepth = "4 cm"\n' + zone + level + spot, encoding="utf-8")
    tank_too = {"inside_size": ["40 cm", "30 cm", "30 cm"], "glass_thickness": "5 mm"}
    scene = described(tank=tank_too | {"panes": {"returned_per_reflection": 1}}, substrate={"depth": "4 cm"})
    del scene["water"]
    places = [["5 cm", "5 cm"], ["35 cm", "25 cm"]]
    scene["zone"] = [
        {"name": "bed", "rectangle": places},
        {"name": "half way up", "rectangle": places, "height": "8 cm"},
    ]
    return scene


def test_three_tanks_under_one_light(tmp_path):
    """Two like tanks left and right of the one under the middle of the light see the same; nothing is lost anywhere."""
    scene = rack_files(tmp_path)
    scene["rack"] = [
        {"name": "left", "file": "other.toml", "at": ["-45 cm", "0 cm"]},
        {"name": "right", "file": "other.toml", "at": ["45 cm", "0 cm"]},
        {"name": "below", "file": "other.toml", "at": ["0 cm", "3 cm"], "height": "-50 cm"},
    ]
    lowered = lower(scene_from_dict(scene, folder=tmp_path))
    result = trace_compiled(lowered.compiled, rule=StoppingRule(photons=1 << 19, only_budget=True), seed=3)[0]
    assert result.ledger_gap() == 0
    assert result.counter(Counter.LOST_PHOTONS) == 0
    zones = result.zones()
    names = [f"{tank}{zone}" for tank in ("", "left: ", "right: ", "below: ") for zone in
             ("whole substrate", "bed", "half way up")]  # fmt: skip
    assert list(zones) == names
    for zone in ("whole substrate", "bed", "half way up"):
        same(zones[f"left: {zone}"], zones[f"right: {zone}"], resolves=0.06, what=f"rack: {zone} left and right")
        assert 0 < zones[f"below: {zone}"].value < zones[f"left: {zone}"].value < zones[zone].value
    assert lowered.zone_of(lowered.zones[4]).name == "bed"
    assert result.heads()["left: middle"].value > 0
    assert result.ledger()["left: substrate"] > 0


def test_a_neighbour_is_the_same_wherever_the_frame_is(tmp_path):
    """A lit tank alone, and as the neighbour of a dark one 3 m away: the same light."""
    scene = rack_files(tmp_path)
    lit = lower(scene_from_dict(scene))
    alone = trace_compiled(lit.compiled, rule=StoppingRule(photons=1 << 18, only_budget=True), seed=3)[0].zones()
    light = ('[[fixture]]\nname = "bar"\nsize = ["24 cm", "6 cm", "1 cm"]\nleds = { rows = 1, columns = 5 }\n'
             'output = { ppf = "50 umol/s" }\nabove_rim = "25 cm"\n')  # fmt: skip
    text = (tmp_path / "other.toml").read_text(encoding="utf-8")
    (tmp_path / "lit.toml").write_text(text + light, encoding="utf-8")
    scene["rack"] = [{"name": "far", "file": "lit.toml", "at": ["3 m", "1 m"], "height": "1 m"}]
    scene["fixture"] = []
    beside = trace_compiled(
        lower(scene_from_dict(scene, folder=tmp_path)).compiled,
        rule=StoppingRule(photons=1 << 18, only_budget=True),
        seed=3,
    )[0].zones()
    for zone in ("whole substrate", "bed", "half way up"):
        same(beside[f"far: {zone}"], alone[zone], resolves=0.03, what=f"rack: {zone} of a moved tank")


def test_a_tank_of_a_rack_is_asked_like_a_single_one(tmp_path):
    """A lit tank alone, and the view of it beside a dark one: its map, planes, zones and reports, in its own frame."""
    scene = rack_files(tmp_path)
    lit = lower(scene_from_dict(scene))
    budget = StoppingRule(photons=1 << 19, only_budget=True)
    single = trace_compiled(lit.compiled, rule=budget, seed=3, dimming=lit.dimming)[0]
    light = ('[[fixture]]\nname = "bar"\nsize = ["24 cm", "6 cm", "1 cm"]\nleds = { rows = 1, columns = 5 }\n'
             'output = { ppf = "50 umol/s" }\nabove_rim = "25 cm"\n')  # fmt: skip
    text = (tmp_path / "other.toml").read_text(encoding="utf-8")
    (tmp_path / "lit.toml").write_text(text + light, encoding="utf-8")
    scene["rack"] = [{"name": "far", "file": "lit.toml", "at": ["3 m", "1 m"], "height": "1 m"}]
    scene["fixture"] = []
    lowered = lower(scene_from_dict(scene, folder=tmp_path))
    result = trace_compiled(lowered.compiled, rule=budget, seed=3, dimming=lowered.dimming)[0]
    view, seen = lowered.tanks[1], result.of_tank(1)
    assert [m.name for m in view.compiled.meshes] == [m.name for m in lit.compiled.meshes]
    assert [place.name for place in view.zones] == [place.name for place in lit.zones]
    assert list(seen.zones()) == list(single.zones())
    # every packet that lands on the substrate is on the map of its own tank, and on no other
    for tank, each in enumerate(lowered.tanks):
        own = result.of_tank(tank)
        (bed,) = (m for m in each.compiled.meshes if m.name == "substrate")
        start = own.cells("faces").start
        fronts = start + 2 * bed.face_slots()
        quanta = [counts.groups.astype(np.int64) for counts in result.counts]
        assert all(q[:, fronts].sum() == q[:, own.cells("map")].sum() for q in quanta)
    # the plane at 4 cm lies in the substrate's own: rounding decides what crosses it
    pairs = [
        (seen.bed().value, single.bed().value),
        *zip(seen.planes().value[2:], single.planes().value[2:], strict=True),
    ]
    for ours, theirs in pairs:
        assert ours.shape == theirs.shape
        assert float(np.nanmean(ours)) == pytest.approx(float(np.nanmean(theirs)), rel=0.01)
    for ours, theirs in zip(zone_reports(view, seen), zone_reports(lit, single), strict=True):
        assert (ours.name, ours.where) == (theirs.name, theirs.where)
        assert ours.area_m2 == pytest.approx(theirs.area_m2, rel=1e-9)
        assert ours.dli == pytest.approx(theirs.dli, rel=0.05)
        assert ours.spread.patch_noise < 0.2
    both = zone_reports(lowered, result)
    assert [report.name for report in both[3:]] == [f"far: {report.name}" for report in zone_reports(view, seen)]
    stored = tmp_path / "result.nc"
    write_fields(result, stored)
    again = load_result(stored).of_tank(1)
    np.testing.assert_allclose(again.bed().value, seen.bed().value, rtol=1e-8)
    np.testing.assert_allclose(again.planes().standard_error, seen.planes().standard_error, rtol=1e-4)
    assert again.zones() == seen.zones()
    assert again.compiled.sources == seen.compiled.sources == (Source("bar", "white", tank=1),)


RACKS = [
    ({"at": ["30 cm", "0 cm"]}, "rack[0].at: stands in the same place as the scene's own tank"),
    ({"at": ["45 cm", "0 cm"], "file": "none.toml"}, "rack[0].file: no such scene file"),
    ({"at": ["0 cm", "0 cm"], "height": "50 cm"}, "the light 'bar' of the scene's own tank cuts into it"),
]


@pytest.mark.parametrize(("place", "message"), RACKS, ids=[m for _, m in RACKS])
def test_racks_that_cannot_be_are_refused(tmp_path, place, message):
    scene = rack_files(tmp_path)
    scene["rack"] = [{"name": "other", "file": "other.toml"} | place]
    with pytest.raises(SceneError) as refused:
        scene_from_dict(scene, folder=tmp_path)
    assert message in str(refused.value)


def test_a_rack_in_a_rack_is_refused(tmp_path):
    """Also one that leads back to itself."""
    rack_files(tmp_path)
    text = (tmp_path / "other.toml").read_text(encoding="utf-8")
    own = '[[rack]]\nname = "again"\nfile = "itself.toml"\nat = ["50 cm", "0 cm"]\n'
    (tmp_path / "itself.toml").write_text(text + own, encoding="utf-8")
    with pytest.raises(SceneError, match="a scene that has a rack itself cannot stand in a rack"):
        load_scene(tmp_path / "itself.toml")
