"""The shipped entries: each is sound in a scene, is found, and says where its figures come from."""

from __future__ import annotations

import re
import tomllib
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlit.catalogue import Entry, Kind, load_catalogue, search, words_of
from underlit.catalogue.entry import loose_name
from underlit.catalogue.store import HOBBY_WORDS, SHIPPED_FOLDER, shipped_entries
from underlit.report.catalogue import bands, toml_lines
from underlit.scene.reader.entry_check import scene_around
from underlit.scene.tank.tank import TankShape
from underlit.spectra.materials import LeafKind
from underlit.spectra.media import optical_constants
from underlit.units import US_GALLON_M3, parse_length

CATALOGUE = load_catalogue(SHIPPED_FOLDER / "none")
ENTRIES = shipped_entries()
TANKS = [entry for entry in ENTRIES if entry.kind is Kind.TANK]
PLANTS = [entry for entry in ENTRIES if entry.kind is Kind.PLANTS]


def named(entry: Entry) -> str:
    return f"{entry.kind}: {entry.name}"


@pytest.mark.parametrize("entry", ENTRIES, ids=named)
def test_each_is_sound_in_a_scene(entry: Entry) -> None:
    scene = scene_around(entry, CATALOGUE)
    part = getattr(scene, {"fixture": "fixtures"}.get(entry.kind, entry.kind))
    if isinstance(part, tuple):
        part = next(piece for piece in part if piece.name == entry.name)
    fields = {field.alias or name: name for name, field in type(part).model_fields.items()}
    assert {fields[key] for key in entry.sets} <= part.model_fields_set


@pytest.mark.parametrize("entry", ENTRIES, ids=named)
def test_each_can_be_built_for_tracing(entry: Entry) -> None:
    from underlit.lowering.scene import lower

    compiled = lower(scene_around(entry, CATALOGUE)).compiled
    assert len(compiled.meshes) > 2
    if entry.kind in (Kind.FIXTURE, Kind.WOOD, Kind.STONE, Kind.PLANTS):
        assert entry.name in [mesh.name for mesh in compiled.meshes]


def test_every_kind_has_some() -> None:
    counts = Counter(entry.kind for entry in ENTRIES)
    assert all(counts[kind] >= 4 for kind in Kind)


@pytest.mark.parametrize("entry", ENTRIES, ids=named)
def test_each_is_found_by_its_names_and_by_every_word_it_holds(entry: Entry) -> None:
    for name in entry.names:
        assert CATALOGUE.find(entry.kind, name) is entry
        assert CATALOGUE.find(entry.kind, f"  {name.upper()} ") is entry
        assert entry in search(ENTRIES, name.split()), name
    need = {entry.needs["need"]} if entry.needs else set()
    kinds = {name for kind in Kind for name in (str(kind), f"{kind}s", kind.removesuffix("s"))}
    for word in words_of(entry) - {"undemanding", "medium", "demanding"} - kinds | {str(entry.kind)} | need:
        assert entry in search(ENTRIES, [word]), word


def test_no_two_names_of_a_kind_are_the_same() -> None:
    counts = Counter((entry.kind, name.casefold()) for entry in ENTRIES for name in entry.names)
    assert [key for key, count in counts.items() if count > 1] == []


def test_words_of_the_hobby_name_one_entry_each() -> None:
    """Each word of the table is of an entry that is there, and no two entries share one, however it is written."""
    table = tomllib.loads(HOBBY_WORDS.read_text(encoding="utf-8"))
    for kind, names in table.items():
        assert set(names) <= {entry.name for entry in ENTRIES if entry.kind == kind}
    owners: dict[tuple[Kind, str], set[str]] = {}
    for entry in ENTRIES:
        for name in entry.names:
            owners.setdefault((entry.kind, loose_name(name)), set()).add(entry.name)
    assert {key: who for key, who in owners.items() if len(who) > 1} == {}


@pytest.mark.parametrize(
    ("word", "name"),
    [
        ("sword", "sword plant"),
        ("Amazon Swords", "sword plant"),
        ("monte carlo", "small round-leaved carpet"),
        ("Monte-Carlo", "small round-leaved carpet"),
        ("crypts", "crypt-like rosettes"),
        ("anubias", "thick-leaved epiphyte"),
        ("Hair grass", "hairgrass"),
        ("mosses", "moss on wood"),
        ("lilies", "dwarf lily"),
        ("dwarf baby tears", "smallest round-leaved carpet"),
        ("Dwarf Baby\u2019s Tears", "smallest round-leaved carpet"),
        ("java ferns", "epiphyte ferns"),
        ("duck weed", "duckweed"),
        ("vals", "tall ribbon leaves"),
    ],
)
def test_words_of_the_hobby_find_plants(word: str, name: str) -> None:
    """Without capitals, hyphens and plural, in the catalogue and as `for` of a zone."""
    found = CATALOGUE.find(Kind.PLANTS, word)
    assert found is not None
    assert found.name == name
    assert CATALOGUE.find(Kind.PLANTS, "swo") is None


@pytest.mark.parametrize("entry", [entry for entry in TANKS if entry.trade_gallons], ids=named)
def test_a_tank_holds_about_what_the_trade_calls_it_by(entry: Entry) -> None:
    """The trade's gallons are round: outside volumes lie from 9 % under to 13 % over (common practice, from memory)."""
    tank = scene_around(entry, CATALOGUE).tank
    called = entry.trade_gallons * US_GALLON_M3
    assert 0.91 < tank.outside_outline.area * parse_length(entry.sets["nominal_size"][2]) / called < 1.13
    # Glass takes the more of a tank the smaller it is.
    assert 0.8 < tank.inside_outline.area * tank.inside_m[2] / called < 1.07


def test_every_shape_of_tank_is_there() -> None:
    assert {entry.sets.get("shape", "box") for entry in TANKS} == set(TankShape)


def test_well_known_tanks_hold_what_a_ruler_says() -> None:
    """Outside volumes from the nominal inches and 231 cubic inches to the US gallon."""
    for name, gallons in {"20 long": 18.70, "40 breeder": 44.88, "75 gallon": 78.55, "180 gallon": 179.53}.items():
        entry = CATALOGUE.find(Kind.TANK, name)
        assert entry is not None
        sides = [float(side.removesuffix(" in")) for side in entry.sets["nominal_size"]]
        assert np.prod(sides) / 231 == pytest.approx(gallons, abs=0.005)


@pytest.mark.parametrize(
    ("name", "low", "high"), [("clean glass top", 8, 15), ("glass top", 15, 30), ("crusted glass top", 30, 50)]
)
def test_a_glass_top_takes_what_practice_says(name: str, low: float, high: float) -> None:
    """Total loss in percent: common practice, no source. The clean pane alone: Fresnel twice, and Beer's law."""
    entry = CATALOGUE.find(Kind.LID, name)
    assert entry is not None
    lid = scene_around(entry, CATALOGUE).lid
    assert lid is not None
    glass = optical_constants(lid.glass)
    r = ((glass.refractive_index - 1) / (glass.refractive_index + 1)) ** 2
    tau = np.exp(-glass.absorption_per_m * lid.thickness)
    passes = float(np.mean((1 - r) ** 2 * tau / (1 - r**2 * tau**2)))
    assert low < 100 * (1 - passes * lid.dirt * lid.condensation) < high


@pytest.mark.parametrize("entry", [entry for entry in ENTRIES if entry.kind is Kind.FIXTURE], ids=named)
def test_a_fixture_is_generic_and_its_efficacy_is_believable(entry: Entry) -> None:
    """Whole fixtures 0.95-1.7 umol/J measured (Nelson & Bugbee 2014), below the limit of 3.4 (Kusuma et al. 2020)."""
    fixture = scene_around(entry, CATALOGUE).fixtures[0]
    watts = fixture.output.watts
    assert watts is not None
    assert 0.95 <= fixture.claimed_ppf / watts <= 3.4
    assert f"{watts:g} W" in entry.name or "deg" in entry.name
    assert re.search(r"\b(bar|board|puck|spot|clip-on|lamp|pendant)\b", entry.name)


@pytest.mark.parametrize("entry", PLANTS, ids=named)
def test_a_band_comes_from_the_three_questions_and_never_from_what_was_published(entry: Entry) -> None:
    found = bands(entry, CATALOGUE)
    assert list(found) == [
        "added CO2, settled",
        "added CO2, new tank",
        "no added CO2, settled",
        "no added CO2, new tank",
    ]
    full = found["added CO2, settled"]
    said = (
        entry.needs.get("band")
        or {"undemanding": (15, 35), "medium": (35, 70), "demanding": (70, 120)}[entry.needs["need"]]
    )
    assert (full.low, full.high) == tuple(said)
    assert "common practice" in full.source
    assert all(band.low <= full.low and band.high <= full.high for band in found.values())
    assert all((row.low, row.high) != (full.low, full.high) for row in entry.published)
    assert entry.sets["leaf"] in list(LeafKind)
    assert "PROSPECT-D" in entry.source["optics"]


def test_what_was_published_names_its_source_and_whether_it_was_read() -> None:
    rows = [row for entry in PLANTS for row in entry.published]
    assert len({(row.species, row.quantity) for row in rows}) == 14
    assert {row.status for row in rows} == {"read", "recalled"}
    assert all(re.search(r"(19|20)\d\d", row.source) and row.low <= row.high for row in rows)


def test_carpets_have_bands_of_their_own() -> None:
    """Common practice, no source."""
    known = {"four-leaf clover carpet": (25, 40), "hairgrass": (40, 70), "small round-leaved carpet": (50, 80)}
    for name, (low, high) in known.items():
        entry = CATALOGUE.find(Kind.PLANTS, name)
        assert entry is not None
        assert tuple(entry.needs["band"]) == (low, high)


def test_what_is_printed_of_an_entry_is_toml() -> None:
    for entry in ENTRIES:
        text = "\n".join(line for key, value in entry.sets.items() for line in toml_lines(key, value))
        assert tomllib.loads(text) == dict(entry.sets)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.text(max_size=12), max_size=3), st.sampled_from(list(Kind)))
def test_any_words_find_entries_or_nothing(words: list[str], kind: Kind) -> None:
    assert set(map(id, search(ENTRIES, words))) <= set(map(id, ENTRIES))
    entry = CATALOGUE.find(kind, " ".join(words))
    assert entry is None or entry.kind is kind
