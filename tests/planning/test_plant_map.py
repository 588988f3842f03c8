"""Where plants would do: heights between planes, classes by hand, what is taken out of the bed, names, the command."""

from __future__ import annotations

import csv
import math
from typing import Any

import numpy as np
import pytest

from underlit.cli import main
from underlit.planning.over_bed import over_bed
from underlit.planning.plant_map import (
    ON_HARDSCAPE_M,
    Fit,
    Grows,
    Part,
    PlantMapError,
    PlantPlace,
    Wish,
    best_settings,
    cleared_bed,
    plant_map,
    pooled,
    tank_factors,
    wishes_for,
)
from underlit.planning.ranges import between
from underlit.report.decisions.plant_map import in_words
from underlit.scene import Band, Scene, scene_from_dict

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


def test_words_of_the_hobby():
    """Trade names and needs by their words, without capitals and plural; what floats or sits on wood has a height too."""
    asked = ["Swords", "monte carlo", "anubias", "low-light plants", "Duckweed", "high light"]
    wishes = wishes_for(tank(), asked)
    names = [wish.name for wish in wishes]
    assert names == [
        "sword plant", "small round-leaved carpet", "thick-leaved epiphyte", "undemanding", "duckweed", "demanding",
    ]  # fmt: skip
    assert wishes[0].asked == "Swords"
    assert math.isinf(wishes[4].height_m)
    assert wishes[2].height_m == ON_HARDSCAPE_M


def test_parts_follow_the_light(found):
    """A part's settings by hand: from 80 % sure that it is not too dim to 80 % sure that it is too bright."""
    assert found.level == 1.0
    seen = set()
    for place in found.places:
        band = place.wish.band
        factors = tank_factors(found.traced, place.ppfd.shape)
        for part in place.parts:
            row, column = (0, "middle") if part.place == "middle" else part.place.split()

            def cut(values: np.ndarray, row: object = row, column: str = column) -> float:
                rows = np.array_split(values, 3, axis=0)[{"front": 0, "back": 2}.get(row, 1)]
                return float(np.nanmean(np.array_split(rows, 3, axis=1)[("left", "middle", "right").index(column)]))

            assert part.ppfd == pytest.approx(cut(place.ppfd))
            seen.add(part.grows)
            real = between(cut(factors[0]), cut(factors[1]))
            at_low, _, _ = real.chances(part.ppfd * part.low, 0.0, band.low, band.high)
            assert at_low == pytest.approx(0.2, abs=2e-3)
            _, _, over = real.chances(part.ppfd * part.high, 0.0, band.low, band.high)
            assert over == pytest.approx(0.8, abs=2e-3)
            full, _, _ = real.chances(part.ppfd, 0.0, band.low, band.high)
            if part.grows is not Grows.TOO_BRIGHT and min(abs(full - 0.2), abs(full - 0.8)) > 2e-3:
                assert part.grows is (Grows.GROWS if full < 0.2 else Grows.MARGINAL if full < 0.8 else Grows.NOT)
    assert {Grows.GROWS, Grows.MARGINAL} <= seen


def test_fewest_settings_for_all_parts():
    """What is set goes first, then steps of 5 %; parts that share no setting get one each; a narrow range is met too."""

    def place(*spans: tuple[float, float]) -> PlantPlace:
        parts = tuple(Part(f"part {k}", 50.0, Grows.GROWS, low, high) for k, (low, high) in enumerate(spans))
        return PlantPlace(
            Wish("plant", Band(15, 35, "", ""), 0.05), np.zeros((1, 1)), np.zeros((1, 1)), 0.0, False, parts
        )

    assert best_settings(place((0.5, 1.2), (0.6, 1.5)), 1.0) == [(1.0, ["part 0", "part 1"])]
    assert best_settings(place((0.2, 0.4), (0.33, 0.6)), 1.0) == [(0.4, ["part 0", "part 1"])]
    assert best_settings(place((0.2, 0.3), (0.35, 0.6), (0.38, 0.7)), 0.1) == [
        (0.4, ["part 1", "part 2"]),
        (0.2, ["part 0"]),
    ]
    narrow = best_settings(place((0.301, 0.304), (0.5, 0.6)), 1.0)
    assert [names for _, names in narrow] == [["part 1"], ["part 0"]]
    assert 0.301 <= narrow[1][0] <= 0.304


def test_in_words(found):
    """Every part that is not covered is named once: where it grows, is marginal, or does not grow."""
    for place in found.places:
        said = in_words(place, found.level)
        assert said.startswith(place.wish.name)
        settings = best_settings(place, found.level)
        grown = [name for _, names in settings for name in names]
        assert sorted(grown) == sorted(part.place for part in place.parts if part.grows is Grows.GROWS)
        for setting, _ in settings:
            assert f"{100 * setting:.0f} %" in said
        assert ("marginal" in said) == any(part.grows is Grows.MARGINAL for part in place.parts)
        assert ("not here" in said) == any(part.grows in (Grows.NOT, Grows.TOO_BRIGHT) for part in place.parts)


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
    said = " ".join(capsys.readouterr().out.split())
    assert "hairgrass, 40-50 umol/m2/s: grows" in said or "hairgrass, 40-50 umol/m2/s: marginal" in said
    with open(out / "plants.csv", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["plant"] for row in rows] == ["medium", "hairgrass"]
    assert (out / "plants.png").read_bytes()[:4] == b"\x89PNG"
    assert main(["plant", str(path), "no such plant", "--out", str(tmp_path / "none")]) == 2
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 1
    assert "neither a need nor a plant" in said[0]
    dark = tmp_path / "dark.toml"
    dark.write_text(path.read_text(encoding="utf-8") + "dimming = 0.0\n", encoding="utf-8")
    assert main(["plant", str(dark), "sword"]) == 2
    assert "all lights are off" in capsys.readouterr().err
    assert not (tmp_path / "none").exists()
