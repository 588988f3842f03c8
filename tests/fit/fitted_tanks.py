"""Small tanks for the tests of fits: invented, quick to trace, with everything in them that a fit may change."""

from __future__ import annotations

import copy
from typing import Any

from underlit.scene import Scene, scene_from_dict

LIGHT: dict[str, Any] = {
    "name": "bar", "size": ["40 cm", "8 cm", "2 cm"], "leds": {"rows": 2, "columns": 10}, "above_rim": "6 cm",
    "lens": {"beam_angle": "100 deg"}, "output": {"ppf": "40 umol/s", "watts": "20 W"},
}  # fmt: skip
TANK: dict[str, Any] = {
    "title": "a tank to fit",
    "tank": {
        "inside_size": ["45 cm", "30 cm", "30 cm"],
        "glass_thickness": "6 mm",
        "back": {"behind": "film", "colour": "white", "returned_per_reflection": 0.3},
        **{side: {"returned_per_reflection": 0.3} for side in ("front", "left", "right")},
    },
    "lid": {"dirt": 0.9, "condensation": 0.97},
    "water": {"tannin": {"a440_per_m": 0.4}},
    "substrate": {"material": "dark soil", "depth": "4 cm"},
    "fixture": [LIGHT],
    "spot": [{"name": "middle", "at": ["22 cm", "15 cm"]}, {"name": "corner", "at": ["40 cm", "5 cm"]}],
}


def tank(**changes: Any) -> dict[str, Any]:
    """The tank's tables with some replaced."""
    return {**copy.deepcopy(TANK), **changes}


def scene(**changes: Any) -> Scene:
    """The tank with some of its tables replaced."""
    return scene_from_dict(tank(**changes))


def toml(**changes: Any) -> str:
    """The same as a file."""
    from underlit.text.toml_writer import toml_text

    return toml_text(tank(**changes))
