"""Where plants would do: heights between planes, classes by hand, what is taken out of the bed, names, the command."""

from __future__ import annotations

import csv
from typing import Any

import numpy as np
import pytest

from underlit.cli import main
from underlit.planning.over_bed import over_bed
from underlit.planning.plant_map import Fit, PlantMapError, cleared_bed, plant_map, pooled, wishes_for
from underlit.scene import Scene, scene_from_dict

PHOTONS = 1 << 17
TABLES: dict[str, Any] = {
    "added_co2": True,
    "tank": {"inside_size": ["48 cm", "24 cm", "26 cm"], "glass_thickness": "5 mm"},
    "water": {"below_rim": "2 cm"},
    "substrate": {"depth": "3 cm"},
    "fixture": [
        {
            "name": "bar",
            "size": ["30 cm", "5 cm", "1 cm"],
            "leds": {"rows": 1, "columns": 8},
            "output": {"ppf": "14 umol/s"},
            "above_rim": "4 cm",
        }
    ],
    "plants": [
        {"from": "hairgrass", "rectangle": [["2 cm", "2 cm"], ["20 cm", "10 cm"]]},
        {"from": "duckweed", "rectangle": [["30 cm", "2 cm"], ["46 cm", "22 cm"]]},
    ],
}


def tank(**more: Any) -> Scene:
    """A small planted tank."""
    return scene_from_dict({**TABLES, **more})


@pytest.fixture(scope="module")
def found():
    """The needs and a tall plant over the small tank."""
    return plant_map(tank(), ["undemanding", "medium", "demanding", "tall ribbon leaves"], photons=PHOTONS)


def test_every_patch_is_one_of_three(found):
    """Shares add to one, and each patch's class is what its light says by hand."""
    for place in found.places:
        assert sum(place.share(fit) for fit in (Fit.TOO_DIM, Fit.RIGHT, Fit.MORE)) == pytest.approx(1.0)
        low, high = place.wish.band.low, place.wish.band.high
        assert ((place.fit == Fit.RIGHT) == ((place.ppfd >= low) & (place.ppfd <= high))).all()
        assert place.sure <= place.share(Fit.RIGHT) + 1e-12
    assert found.places[0].ppfd.shape == (6, 12)
    # bands of needs meet: a patch is right for one need, or two at an edge
    needs = np.sum([place.fit == Fit.RIGHT for place in found.places[:3]], axis=0)
    assert needs.max() <= 2


def test_light_between_two_planes(found):
    """On a level bed 3 cm high, tops 3 cm up are on the plane at 6 cm; 4 cm up, half way to the next."""
    scene, result = found.traced.lowered.scene, found.traced.result
    planes = result.planes()
    on = over_bed(scene, result, 0.03).read(planes.value)
    assert np.allclose(on, planes.value[2], equal_nan=True)
    between = over_bed(scene, result, 0.04).read(planes.value)
    assert np.allclose(between, (planes.value[2] + planes.value[3]) / 2, equal_nan=True)
    assert pooled(np.ones(on.shape), result).tolist() == np.ones((6, 12)).tolist()


def test_tops_over_the_surface_are_judged_under_it(found):
    """A plant of 45 cm in 21 cm of water: said, and judged just under the surface, where light is brightest."""
    tall, low = found.places[3], found.places[0]
    assert tall.reaches_surface
    assert not low.reaches_surface
    assert np.nanmax(tall.ppfd) > np.nanmax(low.ppfd)


def test_dimmed_light_is_a_higher_band(found):
    """At half power a patch gets half: the map is that of the doubled band."""
    half = plant_map(tank(fixture=[{**TABLES["fixture"][0], "dimming": 0.5}]), ["medium"], photons=PHOTONS)
    full = found.places[1]
    assert np.allclose(half.places[0].ppfd * 2, full.ppfd, rtol=1e-9, equal_nan=True)
    expected = np.select([full.ppfd < 70, full.ppfd > 140], [Fit.TOO_DIM, Fit.MORE], Fit.RIGHT)
    assert (half.places[0].fit == expected)[full.fit != Fit.COVERED].all()


def test_the_bed_is_cleared_but_what_floats_stays(found):
    """The carpet goes, duckweed stays and shades its side, panes are a planted tank's."""
    scene, gone = cleared_bed(tank())
    assert gone == ("hairgrass",)
    assert [group.name for group in scene.plants] == ["duckweed"]
    assert [scene.returned_per_reflection(side) for side in ("front", "back", "left", "right")] == [0.25] * 4
    ppfd = found.places[0].ppfd
    assert np.nanmean(ppfd[:, 8:]) < 0.7 * np.nanmean(ppfd[:, :4])


def test_names():
    """Needs, plants of the bed; none means all of both; others are refused in one line."""
    names = [wish.name for wish in wishes_for(tank())]
    assert names[:3] == ["undemanding", "medium", "demanding"]
    assert "hairgrass" in names
    assert "duckweed" not in names
    grass = wishes_for(tank(), ["hairgrass"])[0]
    assert (grass.band.low, grass.band.high, grass.height_m) == (40.0, 70.0, 0.05)
    assert wishes_for(tank(added_co2=False), ["hairgrass"])[0].band.high == 50.0
    with pytest.raises(PlantMapError, match="did you mean"):
        wishes_for(tank(), ["hairgras"])


def test_command(tmp_path, capsys):
    """It prints the table, writes sheet and picture, and refuses in one line."""
    path = tmp_path / "box.toml"
    path.write_text(
        '[tank]\ninside_size = ["30 cm", "20 cm", "20 cm"]\n[[fixture]]\nname = "bar"\nlength = "20 cm"\n'
        'output = { ppf = "6 umol/s" }\n',
        encoding="utf-8",
    )
    out = tmp_path / "out"
    assert main(["plant", str(path), "hairgrass", "medium", "--photons", "131072", "--out", str(out)]) == 0
    assert "hairgrass" in capsys.readouterr().out
    with open(out / "plants.csv", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["plant"] for row in rows] == ["medium", "hairgrass"]
    assert (out / "plants.png").read_bytes()[:4] == b"\x89PNG"
    assert main(["plant", str(path), "no such plant", "--out", str(tmp_path / "none")]) == 2
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 1
    assert "neither a need nor a plant" in said[0]
    assert not (tmp_path / "none").exists()
