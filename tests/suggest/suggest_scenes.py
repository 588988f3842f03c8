"""A small tank with two zones, quick to trace."""

from __future__ import annotations

from typing import Any

from underlit.scene import Scene, scene_from_dict

FIXTURE: dict[str, Any] = {
    "name": "bar",
    "size": ["34 cm", "5 cm", "1 cm"],
    "leds": {"rows": 1, "columns": 8},
    "lens": {"beam_angle": "60 deg"},
    "output": {"ppf": "12 umol/s", "watts": "6 W"},
    "above_rim": "6 cm",
    "position": ["20 cm", "12 cm"],
    "channel": [
        {"name": "white", "spectrum": "LED-B3", "share": 2.0},
        {"name": "red", "spectrum": {"peak": "660 nm", "width": "20 nm"}},
    ],
}


def small_scene(front: tuple[float, float], back: tuple[float, float], **more: Any) -> Scene:
    """A 40 x 24 x 26 cm tank with a zone along the front and one along the back, and their bands [umol/m2/s]."""
    tables: dict[str, Any] = {
        "title": "a small tank",
        "tank": {"inside_size": ["40 cm", "24 cm", "26 cm"], "glass_thickness": "5 mm"}
        | {side: {"returned_per_reflection": 0.25} for side in ("front", "back", "left", "right")},
        "water": {"below_rim": "2 cm"},
        "substrate": {"depth": "3 cm"},
        "fixture": [FIXTURE],
        "zone": [
            {"name": "front", "rectangle": [["2 cm", "1 cm"], ["38 cm", "7 cm"]], "band": list(front)},
            {"name": "back", "rectangle": [["2 cm", "17 cm"], ["38 cm", "23 cm"]], "band": list(back)},
        ],
        **more,
    }
    return scene_from_dict(tables)
