"""A small tank under one fixture, for tests that are about the fixture."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from underlit.scene import Fixture, Scene, SceneError, scene_from_dict


def scene_under(folder: Path | str = ".", **keys: Any) -> Scene:
    """A 60 cm tank under a fixture of these keys."""
    tank = {"inside_size": ["60 cm", "30 cm", "36 cm"], "glass_thickness": "6 mm"}
    return scene_from_dict({"tank": tank, "fixture": [keys]}, folder=folder)


def fixture_of(folder: Path | str = ".", **keys: Any) -> Fixture:
    """The fixture alone."""
    return scene_under(folder, **keys).fixtures[0]


def refusal(**keys: Any) -> str:
    """The one line that a fixture of these keys is refused with."""
    with pytest.raises(SceneError) as caught:
        scene_under(**keys)
    assert len(caught.value.problems) == 1, str(caught.value)
    assert "\n" not in str(caught.value)
    return str(caught.value)
