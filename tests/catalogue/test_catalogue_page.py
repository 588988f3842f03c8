"""The examples of `docs/catalogue.md` do what the page says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from underlit.catalogue import FOLDER_VARIABLE, load_catalogue
from underlit.scene import load_scene
from underlit.scene.reader.entry_check import checked

PAGE = Path(__file__).parents[2] / "docs" / "catalogue.md"
SCENE, OWN = re.findall(r"```toml\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)


def test_the_scene_of_the_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    file = tmp_path / "scene.toml"
    file.write_text(SCENE, "utf-8")
    # The scene lies in the folder of own entries, whose other files it does not need.
    scene = load_scene(file)
    bands = [scene.band_of(zone) for zone in scene.zones]
    assert [(band.low, band.high) for band in bands if band is not None] == [(40, 50), (15, 35)]
    assert scene.fixtures[0].output.lumens == pytest.approx(4200)


def test_the_own_entries_of_the_page(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(OWN, "utf-8")
    known = checked(load_catalogue(tmp_path))
    assert known.problems == ()
    assert {entry.name for entry in known.entries if entry.origin == "own"} == {
        "bar on the long shelf",
        "our own crypt",
    }
