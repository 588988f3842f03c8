"""A scene that uses about everything, as tables; tests change what they are about."""

from __future__ import annotations

import copy
from typing import Any

GOOD: dict[str, Any] = {
    "title": "everything",
    "added_co2": True,
    "tank": {
        "nominal_size": ["90 cm", "45 cm", "45 cm"],
        "glass": "low-iron",
        "glass_thickness": "10 mm",
        "back": {"behind": "sheet", "colour": "black", "air_gap": "2 mm"},
        "left": {"returned_per_reflection": 0.3},
        "rim": {"covers": "15 mm", "height": "25 mm"},
        "brace": [{"at": "44 cm", "width": "4 cm", "glass": "clear"}],
    },
    "water": {"below_rim": "3 cm", "tannin": {"a440_per_m": 0.3}, "cloudiness": "hazy"},
    "lid": {
        "dirt": 0.9,
        "pane": [{"corners": [["0 cm", "0 cm"], ["44 cm", "43 cm"]]}],
        "strip": [{"corners": [["0 cm", "40 cm"], ["88 cm", "43 cm"]], "reflectance": 0.1}],
    },
    "hood": {"height": "20 cm", "reflectance": 0.7},
    "fixture": [
        {
            "name": "left",
            "size": ["40 cm", "8 cm", "2 cm"],
            "leds": {"rows": 2, "columns": 10, "row_pitch": "3 cm", "face": "3 mm"},
            "lens": {"table": [["0 deg", 1.0], ["30 deg", 0.8], ["60 deg", 0.0]]},
            "output": {"watts": "30 W", "efficacy": "2.2 umol/J"},
            "light_loss_factors": {"age": 0.95},
            "above_rim": "6 cm",
            "position": ["22 cm", "21 cm"],
            "turn": "10 deg",
            "tilt": "-5 deg",
            "dimming": 0.7,
            "photoperiod": "9 h",
            "channel": [
                {"name": "white", "spectrum": "LED-B3", "share": 3.0},
                {"name": "red", "spectrum": {"peak": "660 nm", "width": "20 nm"}, "dimming": 0.5, "rows": [1]},
                {
                    "name": "own",
                    "spectrum": {"energy": [[400, 0.0], [500, 1.0], [600, 0.2]]},
                    "lens": {"cone": "80 deg"},
                },
            ],
        },
        {
            "name": "right",
            "size": ["40 cm", "8 cm", "2 cm"],
            "leds": {"rows": 1, "columns": 10},
            "lens": "lambertian",
            "output": {"reads": "150 umol/m2/s", "below": "30 cm"},
            "above_rim": "6 cm",
            "position": ["66 cm", "21 cm"],
        },
    ],
    "substrate": {"material": "gravel", "heights": {"unit": "cm", "rows": [[4, 5, 4], [6.5, 9, 7]]}},
    "wood": [{"name": "root", "shape": "branching", "size": ["30 cm", "15 cm", "15 cm"], "at": ["40 cm", "20 cm"]}],
    "stone": [
        {"name": "rock", "shape": "jagged", "size": ["8 cm", "8 cm", "8 cm"], "at": ["70 cm", "20 cm"], "seed": 4}
    ],
    "plants": [
        {"name": "carpet", "kind": "carpet", "rectangle": [["5 cm", "2 cm"], ["60 cm", "10 cm"]], "height": "2 cm"},
        {"name": "moss", "kind": "epiphytes", "on": "root", "leaf": "dark", "density": "thin"},
        {"name": "cover", "kind": "floating", "circle": {"centre": ["70 cm", "30 cm"], "radius": "8 cm"}, "cover": 0.4},
    ],
    "zone": [
        {"name": "front", "outline": [["5 cm", "2 cm"], ["60 cm", "2 cm"], ["60 cm", "10 cm"]], "need": "medium"},
        {"name": "on the root", "hardscape": "root", "band": [10, 30], "why": "slow leaves"},
        {"name": "leaves", "plants": "carpet"},
    ],
    "spot": [{"name": "a", "at": ["20 cm", "5 cm"]}, {"name": "b", "at": ["20 cm", "30 cm"], "height": "20 cm"}],
}


def good_scene() -> dict[str, Any]:
    """A fresh copy to change."""
    return copy.deepcopy(GOOD)
