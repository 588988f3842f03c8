"""Pictures of tank shapes, braces, lids and a rack for `docs/gallery/tanks`, each traced and drawn by the tool itself.

    python docs/gallery/make_tanks.py [name ...]

Colours are PPFD on the substrate, each picture on its own scale. All scenes are invented examples.
"""

from __future__ import annotations

import sys
import tempfile
from copy import deepcopy
from pathlib import Path
from typing import Any

from underlit.lowering.scene import lower
from underlit.run import StoppingRule, trace_compiled
from underlit.scene import scene_from_dict
from underlit.viz.tank3d.stills import render
from underlit.viz.tank3d.tank_scene import build_scene

FOLDER = Path(__file__).parent / "tanks"
SIZE = (440, 340)
PHOTONS = 1 << 20

BOX = {"inside_size": ["60 cm", "30 cm", "36 cm"], "glass_thickness": "8 mm"}
LIGHT = {
    "name": "bar",
    "size": ["36 cm", "7 cm", "1.5 cm"],
    "leds": {"rows": 2, "columns": 16},
    "lens": {"beam_angle": "90 deg"},
    "output": {"ppf": "40 umol/s"},
    "above_rim": "9 cm",
}
BENT = [
    ["0 cm", "0 cm"],
    ["60 cm", "0 cm"],
    ["60 cm", "24 cm"],
    ["30 cm", "24 cm"],
    ["30 cm", "50 cm"],
    ["0 cm", "50 cm"],
]

TANKS: dict[str, dict[str, Any]] = {
    "rimless-box": {"tank": BOX},
    "framed-box": {"tank": BOX | {"rim": {"height": "2.5 cm"}}},
    "bow-front": {"tank": BOX | {"inside_size": ["60 cm", "36 cm", "36 cm"], "shape": "bow front", "bow": "8 cm"}},
    "cylinder": {"tank": BOX | {"inside_size": ["40 cm", "40 cm", "40 cm"], "shape": "cylinder"}},
    "hexagon": {"tank": BOX | {"inside_size": ["46 cm", "40 cm", "44 cm"], "shape": "hexagon"}},
    "corner": {"tank": BOX | {"inside_size": ["50 cm", "50 cm", "42 cm"], "shape": "corner", "side_pane": "18 cm"}},
    "any-outline": {"tank": {"outline": BENT, "height": "34 cm", "glass_thickness": "8 mm"}},
    "half-filled": {"tank": BOX, "water": {"above_bottom": "16 cm"}},
    "cross-brace": {"tank": BOX | {"brace": [{"at": "30 cm", "width": "6 cm"}]}},
    "euro-brace-glass": {"tank": BOX | {"euro_brace": {"width": "5 cm", "glass": "clear"}}},
    "euro-brace-plastic": {"tank": BOX | {"euro_brace": {"width": "5 cm"}}},
    "lid-flat": {"tank": BOX, "lid": {"above_rim": "0.5 cm"}},
    "lid-sliding": {"tank": BOX, "lid": {"sliding": {"overlap": "3 cm", "opened": "14 cm"}}},
    "lid-hinged": {"tank": BOX, "lid": {"hinged": {"at": "16 cm", "opened": "55 deg", "strip": "3 cm"}}},
}


def described(**parts: Any) -> dict[str, Any]:
    """A whole scene from the parts that a picture is about."""
    plain = {"water": {"below_rim": "3 cm"}, "substrate": {"front_depth": "3 cm", "back_depth": "6 cm"}}
    scene = {**plain, "fixture": [deepcopy(LIGHT)], **deepcopy(parts)}
    if "hinged" in scene.get("lid", {}):
        scene["fixture"][0]["above_rim"] = "22 cm"
    return scene


def rack(folder: Path) -> dict[str, Any]:
    """Three small tanks of different shapes under one long light."""
    (folder / "round.toml").write_text(
        '[tank]\ninside_size = ["28 cm", "28 cm", "30 cm"]\nshape = "cylinder"\n[substrate]\ndepth = "4 cm"\n', "utf-8"
    )
    (folder / "six.toml").write_text(
        '[tank]\ninside_size = ["32 cm", "28 cm", "30 cm"]\nshape = "hexagon"\n[substrate]\ndepth = "4 cm"\n', "utf-8"
    )
    scene = described(tank={"inside_size": ["36 cm", "28 cm", "30 cm"]}, substrate={"depth": "4 cm"})
    scene["fixture"][0] |= {
        "size": ["110 cm", "8 cm", "2 cm"],
        "leds": {"rows": 2, "columns": 40},
        "above_rim": "14 cm",
    }
    scene["rack"] = [
        {"name": "round", "file": "round.toml", "at": ["-34 cm", "0 cm"]},
        {"name": "six-sided", "file": "six.toml", "at": ["42 cm", "0 cm"]},
    ]
    return scene


def bowl(folder: Path) -> dict[str, Any]:
    """A bowl from two meshes: an ellipse turned about its axis, and the same 5 mm farther out."""
    import numpy as np
    import trimesh

    z = np.linspace(0.0, 0.26, 27)
    for key, low, more in (("inside", 0.0, 0.0), ("outside", -0.006, 0.005)):
        height = np.r_[low, z[1:]]
        radius = 0.17 * np.sqrt(1 - ((np.clip(height, 0, None) - 0.125) / 0.18) ** 2) + more
        profile = np.column_stack([np.r_[0, radius, 0], np.r_[low, height, 0.26]])
        trimesh.creation.revolve(profile, sections=96).export(folder / f"{key}.stl")
    tank = {key: {"mesh": f"{key}.stl", "unit": "m"} for key in ("inside", "outside")}
    scene = described(tank=tank, substrate={"front_depth": "3 cm", "back_depth": "5 cm"})
    scene["fixture"][0] |= {"size": ["12 cm", "12 cm", "1.5 cm"], "leds": {"rows": 6, "columns": 6}}
    return scene


def make(name: str, scene: dict[str, Any], folder: Path) -> None:
    """Trace a scene and write its picture."""
    from PIL import Image

    lowered = lower(scene_from_dict(scene, folder=folder))
    result = trace_compiled(lowered.compiled, rule=StoppingRule(photons=PHOTONS, only_budget=True))[0]
    image = Image.fromarray(render(build_scene(result), SIZE))
    image.quantize(128, dither=Image.Dither.NONE).save(FOLDER / f"{name}.png", optimize=True)
    print(name)


def main(names: list[str]) -> None:
    """Make the pictures named, or all."""
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        scenes = {name: described(**parts) for name, parts in TANKS.items()}
        scenes |= {"rack": rack(folder), "bowl-from-meshes": bowl(folder)}
        for name in names or scenes:
            make(name, scenes[name], folder)


if __name__ == "__main__":
    main(sys.argv[1:])
