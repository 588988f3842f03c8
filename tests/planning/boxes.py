"""Small quick tanks that the planning tests share."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from underlit.lowering.scene import Lowered, lower
from underlit.scene import Scene, scene_from_dict

SCENES = Path(__file__).resolve().parents[2] / "scenes"
BARE_BOX = SCENES / "bare-box.toml"


def box(**said: Any) -> Scene:
    """The shipped bare box with keys of its own; light through it is quick to trace."""
    return scene_from_dict({"base": "bare-box.toml", **said}, folder=SCENES)


def light(**said: Any) -> dict[str, Any]:
    """The box's light as a table, with keys of its own."""
    return {
        "name": "clip light",
        "size": ["20 cm", "6 cm", "1 cm"],
        "leds": {"rows": 2, "columns": 8, "face": "3 mm"},
        "output": {"ppf": "2.6 umol/s", "watts": "1.3 W"},
        "above_rim": "5 cm",
        "position": ["15 cm", "10 cm"],
        "photoperiod": "8 h",
        "channel": [{"name": "white", "spectrum": "LED-B3"}],
        **said,
    }


def lowered_box(**said: Any) -> Lowered:
    """The same, ready to trace."""
    return lower(box(**said))
