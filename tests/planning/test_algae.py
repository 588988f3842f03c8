"""Light that no plant uses: panes in cells, shares by hand, dimming, errors over seeds, what counts as bare, the command."""

from __future__ import annotations

import csv
import math
from typing import Any

import numpy as np
import pytest

from underlit.cli import main
from underlit.lowering.records import Role
from underlit.lowering.scene import lower
from underlit.planning.algae import BARE, BOTTOM, algae_of, share_at
from underlit.planning.panes import PANE_CELL_M, pane_maps
from underlit.report.decisions.algae_words import algae_lead
from underlit.results.result import Result, slot_areas
from underlit.run import Traced, trace
from underlit.scene import Scene, scene_from_dict
from underlit.scene.targets import algae_threshold
from underlit.transport.tables import Counter

PHOTONS = 1 << 18
TABLES: dict[str, Any] = {
    "tank": {"inside_size": ["48 cm", "24 cm", "26 cm"], "glass_thickness": "5 mm"},
    "water": {"below_rim": "2 cm"},
    "substrate": {"depth": "3 cm"},
    "fixture": [
        {
            "name": "bar",
            "size": ["20 cm", "5 cm", "1 cm"],
            "leds": {"rows": 1, "columns": 8},
            "output": {"ppf": "14 umol/s"},
            "above_rim": "4 cm",
            "position": ["14 cm", "8 cm"],
            "photoperiod": "10 h",
        }
    ],
}
CARPET = {"name": "carpet", "from": "hairgrass"}
STONE = {"name": "rock", "shape": "rounded", "size": ["8 cm", "7 cm", "7 cm"], "at": ["12 cm", "12 cm"]}


def tank(**more: Any) -> Scene:
    """A small tank with a bright light near its front left corner."""
    return scene_from_dict({**TABLES, **more})


def traced(cell: float = PANE_CELL_M, *, photons: int = PHOTONS, seed: int = 1, **more: Any) -> Traced:
    """It, traced, its panes in cells."""
    found = trace(lower(tank(**more), pane_cell_m=cell), photons=photons, seed=seed)
    assert isinstance(found, Traced)
    return found


def pane_flux(result: Result) -> dict[str, float]:
    """Light that falls on the inside of each pane [umol/s]."""
    found = {}
    for mesh in result.compiled.own_meshes:
        if mesh.part.face == "wet inside":
            found[mesh.part.part] = float(result.faces(mesh).value[:, 0] @ slot_areas(mesh))
    return found


@pytest.fixture(scope="module")
def open_tank():
    """The tank with a stone, without plants."""
    return traced(stone=[STONE])


def test_cells_of_panes_move_nothing(open_tank):
    """Divided or not: the same paths, so the same zones and ledger but for the last bits of where a pane is met."""
    whole = traced(math.inf, stone=[STONE])
    for one, other in zip(open_tank.result.zone_estimates(), whole.result.zone_estimates(), strict=True):
        assert one.value == pytest.approx(other.value, rel=1e-12)
        assert one.standard_error == pytest.approx(other.standard_error, rel=1e-9)
    assert open_tank.result.line_shares() == pytest.approx(whole.result.line_shares(), abs=1e-12)
    assert open_tank.result.ledger_gap() == 0
    assert open_tank.result.counter(Counter.LOST_PHOTONS) == 0
    assert pane_flux(open_tank.result) == pytest.approx(pane_flux(whole.result), rel=1e-12)
    assert pane_maps(whole.lowered, whole.result) == []


def test_pane_maps_hold_the_light_of_their_panes(open_tank):
    """All four, with all light over the substrate, and seen the right way round: the light hangs front left."""
    maps = {one.side: one for one in pane_maps(open_tank.lowered, open_tank.result)}
    assert list(maps) == ["front", "back", "left", "right"]
    for side, one in maps.items():
        flux = float(one.patches.values @ one.patches.weights)
        assert flux == pytest.approx(pane_flux(open_tank.result)[f"{side} pane"], rel=0.02)
        assert one.length_m == pytest.approx(0.48 if side in ("front", "back") else 0.24)
        assert one.top_m == pytest.approx(0.24)
        assert np.isnan(one.ppfd[0]).all()  # behind 3 cm of substrate
        assert np.isfinite(one.ppfd[1:]).all()
    for side in ("front", "back"):
        columns = np.nanmean(maps[side].ppfd, axis=0)
        assert columns[:5].mean() > 1.5 * columns[-5:].mean()
    for side in ("left", "right"):
        columns = np.nanmean(maps[side].ppfd, axis=0)
        assert columns[:4].mean() > 1.05 * columns[-4:].mean()
    assert np.nanmean(maps["left"].ppfd) > 2 * np.nanmean(maps["right"].ppfd)


def test_panes_of_a_bowed_tank_are_unrolled():
    """A bow-front's front pane is as long as its arc; its maps hold the same light."""
    shape = {"inside_size": ["48 cm", "24 cm", "26 cm"], "glass_thickness": "5 mm", "shape": "bow front", "bow": "5 cm"}
    found = traced(tank=shape)
    front = next(one for one in pane_maps(found.lowered, found.result) if one.side == "front")
    assert 0.485 < front.length_m < 0.51
    assert front.patches.values @ front.patches.weights == pytest.approx(
        pane_flux(found.result)["front pane"], rel=0.02
    )


def test_share_by_hand(open_tank):
    """The light on bare patches of 3 cm above 50, from the map of the bed cell by cell."""
    found = algae_of(open_tank.lowered, open_tank.result)
    assert found is not None
    assert found.threshold == 50.0
    lit = next(one for one in found.surfaces if one.name == BARE)
    grid = open_tank.result.compiled.bed_map
    area = grid.open_area[0]
    flux = np.nan_to_num(open_tank.result.bed().value) * area
    total = 0.0
    above = 0.0
    for row in np.array_split(np.arange(24), 8):
        for column in np.array_split(np.arange(48), 16):
            part = np.ix_(row, column)
            if area[part].sum() > 0.25 * 9e-4:
                total += area[part].sum()
                if flux[part].sum() / area[part].sum() >= 50.0:
                    above += flux[part].sum()
    assert 0.05 < lit.light.value < 0.9
    assert lit.light.value == pytest.approx(above / open_tank.result.ppf, rel=1e-9)
    assert lit.area_m2 == pytest.approx(total, rel=1e-9)
    assert {one.role for one in found.surfaces} == {Role.BED, Role.STONE, Role.SHELL}
    assert found.share.value == pytest.approx(sum(one.light.value for one in found.surfaces))


def test_dimming_is_what_a_dimmed_trace_says(open_tank):
    """The share that dimming is said to leave is the share of the dimmed result; without plants nothing stands against it."""
    found = algae_of(open_tank.lowered, open_tank.result)
    assert found is not None
    assert found.dimmed is not None
    sources = open_tank.result.compiled.sources
    dimmed = open_tank.result.dimmed(dict.fromkeys(sources, found.dimmed.factor))
    after = algae_of(open_tank.lowered, dimmed)
    assert after is not None
    assert after.share.value == pytest.approx(found.dimmed.share, rel=1e-9, abs=1e-12)
    assert after.share.value < 0.08 * found.share.value
    assert found.dimmed.setting == pytest.approx(round(found.dimmed.setting, 2))
    assert share_at(open_tank.result, found.surfaces, 1.0) == pytest.approx(found.share.value)
    dark = open_tank.result.dimmed(dict.fromkeys(sources, 0.0))
    assert algae_of(open_tank.lowered, dark) is None


def test_plants_and_targets_take_their_share(open_tank):
    """Under a carpet nothing is bare; what a zone waits for uses light up to its band; dimming stops where plants need it."""
    bare = algae_of(open_tank.lowered, open_tank.result)
    everywhere = [["0 cm", "0 cm"], ["48 cm", "24 cm"]]
    grown = traced(plants=[{**CARPET, "rectangle": everywhere}])
    covered = algae_of(grown.lowered, grown.result)
    assert bare is not None
    assert covered is not None
    assert BARE not in [one.name for one in covered.surfaces]
    assert np.isnan(covered.bed).all()
    assert covered.planted.all()
    zone = {"name": "lawn", "rectangle": everywhere, "band": [60, 300]}
    waiting = traced(stone=[STONE], zone=[zone])
    planned = algae_of(waiting.lowered, waiting.result)
    assert planned is not None
    assert planned.waiting == 1
    assert planned.surfaces[0].light.value == 0.0
    needy = traced(
        stone=[STONE], zone=[{**zone, "rectangle": [["35 cm", "15 cm"], ["46 cm", "23 cm"]], "band": [14, 60]}]
    )
    kept = algae_of(needy.lowered, needy.result)
    assert kept is not None
    assert bare.dimmed is not None
    assert kept.wants[0].ppfd.value > 14
    assert kept.dimmed is None or kept.dimmed.factor > bare.dimmed.factor


def test_a_bare_bottom_is_no_substrate():
    """Without substrate the bottom pane is named as such, and nothing is to be planted on it."""
    found = traced(substrate={"depth": "0 cm"})
    lit = algae_of(found.lowered, found.result)
    assert lit is not None
    assert lit.surfaces[0].name == BOTTOM
    assert lit.ninth is None
    assert "falls on bottom pane and panes" in algae_lead(lit)


def test_errors_are_those_of_many_traces():
    """The stated standard error of the share against the spread over 16 seeds: within a factor of 2."""
    shares = []
    for seed in range(16):
        one = traced(photons=1 << 16, seed=seed + 100)
        found = algae_of(one.lowered, one.result)
        assert found is not None
        shares.append((found.share.value, found.share.standard_error))
    values, errors = np.array(shares).T
    assert 0.5 < values.std(ddof=1) / np.sqrt((errors**2).mean()) < 2.0


def test_thresholds():
    """Without added CO2 50, with it what demanding plants are given; a new tank 60 % of either."""
    answers = [(False, True), (True, True), (False, False), (True, False)]
    found = [algae_threshold(added_co2=co2, settled=settled) for co2, settled in answers]
    assert found == pytest.approx([50.0, 120.0, 30.0, 72.0])


def test_command(tmp_path, capsys):
    """It leads with the sentence, names what would lower it, writes sheet and picture; it refuses in one line."""
    path = tmp_path / "box.toml"
    path.write_text(
        '[tank]\ninside_size = ["40 cm", "24 cm", "24 cm"]\n[[fixture]]\nname = "bar"\nlength = "30 cm"\n'
        'output = { ppf = "20 umol/s" }\nphotoperiod = "12 h"\n',
        encoding="utf-8",
    )
    out = tmp_path / "out"
    assert main(["algae", str(path), "--photons", "131072", "--out", str(out)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "of the light falls on substrate and panes where no plant uses it and it is brighter than 50" in said
    assert "Shorten the photoperiod from 12 to 8 h" in said
    with open(out / "algae.csv", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["surface"] for row in rows] == [BARE, "front pane", "back pane", "left pane", "right pane"]
    assert (out / "algae.png").read_bytes()[:4] == b"\x89PNG"
    dark = tmp_path / "dark.toml"
    dark.write_text(path.read_text(encoding="utf-8") + "dimming = 0.0\n", encoding="utf-8")
    assert main(["algae", str(dark), "--photons", "131072"]) == 2
    err = capsys.readouterr().err.splitlines()
    assert len(err) == 1
    assert "all lights are off" in err[0]
