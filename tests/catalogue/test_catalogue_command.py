"""`underlit catalogue`: lists, searches, shows one in full, as text and as JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from underlit.catalogue import FOLDER_VARIABLE
from underlit.catalogue.store import shipped_entries
from underlit.cli import main


@pytest.fixture(autouse=True)
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    monkeypatch.setenv("COLUMNS", "200")
    return tmp_path


def told(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["catalogue", *words]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    return said.out


def test_without_words_it_lists_all(capsys: pytest.CaptureFixture[str], own: Path) -> None:
    out = told(capsys)
    for entry in shipped_entries():
        assert entry.name in out
    assert str(own) in out.replace("\n", "")


@pytest.mark.parametrize(
    ("words", "with_it", "without_it"),
    [
        (["tanks"], "40 breeder", "hairgrass"),
        (["plants", "undemanding"], "tall ribbon leaves", "red stems"),
        (["demanding"], "red stems", "tall ribbon leaves"),
        (["Plants", "Anub"], "thick-leaved epiphyte", "hairgrass"),
        (["bar"], "bar 24 W, 60 cm", "puck"),
    ],
)
def test_words_find_by_kind_need_and_beginning(
    words: list[str], with_it: str, without_it: str, capsys: pytest.CaptureFixture[str]
) -> None:
    out = told(capsys, *words)
    assert with_it in out
    assert without_it not in out


def test_one_is_shown_in_full_with_its_sources(capsys: pytest.CaptureFixture[str]) -> None:
    out = told(capsys, "whorled", "waterweed")
    assert 'from = "whorled waterweed"' in out
    assert "light compensation point 7.5-16.2 umol/m2/s (microcosm); Rodrigues & Thomaz" in out
    assert "[recalled]" in out
    assert "no band is made from them" in out
    assert "PROSPECT-D" in out
    assert "no added CO2, new tank" in out
    assert "161 l (42 gal) when full to the top edge; sold as 40 gallons" in told(capsys, "40", "BREEDER")


def test_json_says_all(capsys: pytest.CaptureFixture[str]) -> None:
    found = json.loads(told(capsys, "--json"))
    assert [(entry["kind"], entry["name"]) for entry in found] == [(e.kind, e.name) for e in shipped_entries_by_kind()]
    (entry,) = json.loads(told(capsys, "hairgrass", "--json"))
    assert entry["bands_umol_m2_s"]["no added CO2, settled"] == [40, 50]
    assert entry["sets"]["kind"] == "carpet"


def shipped_entries_by_kind() -> list:
    kinds = ["tank", "lid", "substrate", "fixture", "wood", "stone", "plants"]
    return sorted(shipped_entries(), key=lambda entry: kinds.index(entry.kind))


def test_a_light_finds_the_plants_it_suits(capsys: pytest.CaptureFixture[str]) -> None:
    out = told(capsys, "--ppfd", "60")
    assert "hairgrass" in out
    assert not any(name in out for name in ("four-leaf clover carpet", "tall ribbon leaves", "40 breeder"))
    assert main(["catalogue", "tanks", "--ppfd", "60"]) == 2
    assert capsys.readouterr().err.startswith("--ppfd: 60 umol/m2/s suits none of these plants")


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["hairgras", "tanks"], "no entry of the catalogue has all of these words: hairgras tanks; leave one out"),
        (["breader"], "no entry of the catalogue has the word 'breader'; did you mean \"breeder\"?"),
        (["?!"], "no entry of the catalogue has the word '?!'"),
    ],
)
def test_words_that_find_nothing_are_one_line(
    words: list[str], expected: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["catalogue", *words]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == expected + "\n"


def test_own_entries_are_marked_and_broken_ones_told(
    own: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = '[[lid]]\nname = "{}"\nabout = "Mine."\nsource = "own"\nsets.thickness = "{}"\n'
    (own / "a.toml").write_text(text.format("glass top in use", "5 mm") + text.format("other lid", "5"), "utf-8")
    assert main(["catalogue", "lids"]) == 0
    said = capsys.readouterr()
    assert "glass top in use * (replaces the shipped one)" in said.out
    assert "other lid" not in said.out
    assert said.err.startswith(f"{own / 'a.toml'}:10: lid.thickness: no unit")
    assert len(said.err.splitlines()) == 1
    assert main(["catalogue", "glass top in use", "--own", str(own)]) == 0
    assert f"Your own: {own / 'a.toml'}:1, replaces the shipped one" in capsys.readouterr().out
    assert main(["catalogue", "lids", "--own", str(own / "none")]) == 0
    assert "no such folder" in capsys.readouterr().err
