"""Every tank of a rack gets what a single tank has: maps, csv rows, plantings, spots, a settings card, a profile, a plant map."""

from __future__ import annotations

import csv
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from checking import same
from underlit.cli import main
from underlit.lowering.scene import lower
from underlit.planning.dose import dose
from underlit.planning.zones import zone_reports
from underlit.report.decisions.dose import energy_words, settings_card
from underlit.report.files import overlays, write_folder
from underlit.report.summary import summarise
from underlit.run import Traced, trace
from underlit.scene import load_scene
from underlit.text.file_name import named_for

RACK = Path(__file__).resolve().parents[2] / "scenes" / "rack-of-three.toml"
NAMES = ["", "left, round", "right, tea-stained"]


@lru_cache
def traced() -> Traced:
    found = trace(lower(load_scene(RACK)), photons=1 << 17)
    assert isinstance(found, Traced)
    return found


def test_files_hold_every_tank(tmp_path: Path) -> None:
    """And a plan of a tank that is gone does not stay beside a new result."""
    (tmp_path / "substrate-gone.png").write_bytes(b"old")
    write_folder(traced(), zone_reports(traced().lowered, traced().result), tmp_path)
    plans = {"substrate.png", "substrate-left-round.png", "substrate-right-tea-stained.png"}
    assert {path.name for path in tmp_path.glob("substrate*.png")} == plans
    with open(tmp_path / "zones.csv", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert list(dict.fromkeys(row["tank"] for row in rows)) == NAMES
    assert all(row["name"].startswith(f"{row['tank']}: ") for row in rows if row["tank"])


def test_the_summary_holds_every_tank() -> None:
    summary = summarise(traced())
    for kind in ("zones", "spots", "plantings"):
        assert list(dict.fromkeys(entry["tank"] for entry in summary[kind])) == NAMES
    left = next(spot for spot in summary["spots"] if spot["tank"] == "left, round")
    assert np.allclose(
        np.subtract(left["in_its_tank_m"], [left[f"{axis}_m"] for axis in "xyz"]), [0.36, 0, 0], atol=1e-6
    )
    assert [light["name"] for light in summary["fixtures"]] == ["shelf light"]


def test_pictures_name_zones_and_spots_as_their_tank_does() -> None:
    marks = overlays(traced(), zone_reports(traced().lowered, traced().result))
    assert list(marks) == NAMES
    for name, tank in traced().tanks.items():
        assert [zone.name for zone in marks[name].zones] == [zone.name for zone in tank.lowered.scene.zones]
        (spot,) = marks[name].spots
        assert (spot.name, spot.text == "") == ("middle", False)


def test_every_tank_has_a_settings_card_with_the_shared_light() -> None:
    doses = [dose(tank.lowered, tank.result) for tank in traced().tanks.values()]
    cards = [settings_card(made) for made in doses]
    assert [[light.name for light in card.lights] for card in cards] == [["shelf light"]] * 3
    assert ["kWh" in energy_words(made) for made in doses] == [True, False, False]
    maps = [tank.result.bed().value for tank in traced().tanks.values()]
    assert not any(np.array_equal(a, b, equal_nan=True) for a, b in pairwise(maps))


def test_seen_from_another_tank_the_rack_is_the_same() -> None:
    scene = load_scene(RACK)
    seen = scene.seen_from(1)
    assert seen.title == "30 cm round tank"
    offsets = {tank.name: tuple(np.round(tank.offset_m, 6)) for tank in seen.rack}
    assert offsets == {"rack-of-three": (0.36, 0.0, 0.0), "right, tea-stained": (0.72, 0.0, 0.0)}
    there = trace(lower(seen), photons=1 << 17, seed=2)
    assert isinstance(there, Traced)
    here = zone_reports(traced().lowered, traced().result)
    back = {report.name: report.ppfd for report in zone_reports(there.lowered, there.result)}
    for mine, theirs in ((3, "bed"), (1, "rack-of-three: bed")):
        same(here[mine].ppfd, back[theirs], resolves=0.05, what=f"a rack seen from another tank: {theirs}")


def test_a_tank_that_is_not_there_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["profile", str(RACK), "--tank", "attic"]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("--tank: no tank of the rack has that name; there are: 'left, round'")
    assert main(["plant", str(RACK.with_name("bare-box.toml")), "--tank", "attic"]) == 2
    assert "the scene has no rack" in capsys.readouterr().err


def test_file_names() -> None:
    assert named_for("substrate", "") == "substrate"
    assert named_for("substrate", "Top/left, no. 2") == "substrate-top-left-no-2"
