"""The fixtures of the gallery can be read, and each has its small picture."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from underlit.scene import scene_from_dict

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "gallery" / "fixtures"
LISTED = tomllib.loads((FOLDER / "fixtures.toml").read_text("utf-8"))["fixture"]
LARGEST_BYTES = 60_000


def picture(said: dict[str, Any]) -> Path:
    return FOLDER / f"{re.sub('[^a-z0-9]+', '-', said['name'].lower())}.png"


@pytest.mark.parametrize("said", LISTED, ids=lambda said: said["name"])
def test_a_fixture_of_the_gallery_can_be_read_and_is_drawn(said: dict[str, Any]) -> None:
    scene = scene_from_dict({"tank": {"inside_size": ["90 cm", "45 cm", "45 cm"]}, "fixture": [said]}, folder=FOLDER)
    (fixture,) = scene.fixtures
    # Fixtures over tanks give 1 to 3 umol/J: common practice, no source.
    assert 1.0 < fixture.claimed_ppf / fixture.output.watts < 3.0
    assert picture(said).stat().st_size < LARGEST_BYTES


def test_no_picture_is_left_of_a_fixture_that_is_gone() -> None:
    assert {path.name for path in FOLDER.glob("*.png")} == {picture(said).name for said in LISTED}
