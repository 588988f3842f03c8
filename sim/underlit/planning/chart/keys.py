"""The key of a row: a hash of everything its numbers follow from, so that a stored row is used only for what it answers."""

from __future__ import annotations

import hashlib
import json
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

from underlit.scene import Fixture, Scene
from underlit.scene.keys import path_keys, running_keys
from underlit.scene.tank.tank import SIDES
from underlit.version import VERSION

FORMAT = 1
"""Of the row files; a change makes every stored row stale."""
_SOURCES = (
    "units.py", "spectra", "photometry", "scene", "lowering", "geometry", "optics", "transport", "backends",
    "results", "planning/chart", "planning/differences.py", "planning/ends.py", "planning/jackknife.py",
    "planning/over_bed.py", "planning/patches.py", "planning/ranges.py", "planning/vertical_profiles.py", "run.py",
)  # fmt: skip
"""Where the numbers of a row are made, below the package."""
_LIBRARIES = ("numpy", "numba", "scipy", "shapely", "trimesh", "manifold3d")
_NOT_LIGHT = frozenset(["title", "base", "zones", "spots", "added_co2"])
"""Keys of a scene that no photon notices."""


@cache
def program() -> str:
    """Hash of the sources and of the versions of the libraries that the numbers depend on."""
    digest = hashlib.sha256(VERSION.encode())
    for name in _LIBRARIES:
        digest.update(f"{name} {version(name)}".encode())
    package = Path(__file__).parents[2]
    for part in _SOURCES:
        place = package / part
        for path in sorted(place.rglob("*.py")) if place.is_dir() else [place]:
            digest.update(path.relative_to(package).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def row_key(scene: Scene, *, seed: int, photons: int) -> str:
    """Key of a traced combination: 32 hexadecimal digits.

    Files that the scene names count by what they hold, not by where they are. Raises OSError where one cannot be read.
    """
    said = {name: value for name, value in scene.model_dump(mode="json").items() if name not in _NOT_LIGHT}
    panes = [scene.returned_per_reflection(side) for side in SIDES]
    asked = {
        "format": FORMAT, "program": program(), "seed": seed, "photons": photons, "scene": _with_contents(said), "panes": panes,
    }  # fmt: skip
    text = json.dumps(asked, sort_keys=True, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def _with_contents(value: Any, key: str = "") -> Any:
    if isinstance(value, dict):
        # a row is at full power, so it does not depend on how fixtures and channels run
        return {name: _with_contents(inner, name) for name, inner in value.items() if name not in running_keys(Fixture)}
    if isinstance(value, list):
        return [_with_contents(inner) for inner in value]
    if key in path_keys() and isinstance(value, str):
        return hashlib.sha256(Path(value).read_bytes()).hexdigest()
    return value
