"""Tanks of every shape as scenes, for tests of what they let light do."""

from __future__ import annotations

from copy import deepcopy
from pathlib import Path
from typing import Any

from underlit.lowering.aquascape.bed import bed
from underlit.lowering.assemble import put
from underlit.lowering.scene import lower
from underlit.lowering.tank.panes import WATER
from underlit.lowering.tank.shell import shell
from underlit.lowering.world import World
from underlit.results.result import Result
from underlit.run import StoppingRule, trace_compiled
from underlit.scene import Scene, scene_from_dict

BOX = {"inside_size": ["60 cm", "30 cm", "36 cm"], "glass_thickness": "6 mm"}
BOW = BOX | {"shape": "bow front", "bow": "6 cm"}
CYLINDER = {"inside_size": ["40 cm", "40 cm", "36 cm"], "shape": "cylinder", "glass_thickness": "6 mm"}
HEXAGON = {"nominal_size": ["48 cm", "42 cm", "40 cm"], "shape": "hexagon"}
CORNER = {"inside_size": ["50 cm", "50 cm", "36 cm"], "shape": "corner", "side_pane": "20 cm"}
BENT = {
    "outline": [["0 cm", "0 cm"], ["60 cm", "0 cm"], ["60 cm", "20 cm"], ["30 cm", "20 cm"], ["30 cm", "45 cm"],
                ["0 cm", "45 cm"]],
    "height": "36 cm",
}  # fmt: skip


def described(**parts: Any) -> dict[str, Any]:
    """A scene with a light 25 cm over the rim."""
    fixture = {"name": "bar", "size": ["24 cm", "6 cm", "1 cm"], "leds": {"rows": 1, "columns": 5},
               "output": {"ppf": "50 umol/s"}, "above_rim": "25 cm"}  # fmt: skip
    plain = {"water": {"below_rim": "3 cm"}, "substrate": {"front_depth": "3 cm", "back_depth": "5 cm"}}
    return {**plain, "fixture": [fixture], **deepcopy(parts)}


def shell_of(scene: dict[str, Any], folder: str | Path = ".") -> tuple[Scene, World, int]:
    """The tank, its water, lid and substrate without any light: (scene, world, the water's medium)."""
    described_scene = scene_from_dict(scene, folder=folder)
    world = World()
    put(world, [*shell(described_scene), *bed(described_scene)])
    line = world.bucket(WATER)
    return described_scene, world, next(i for i, medium in enumerate(world.contents.media) if medium.bucket == line)


def traced(scene: dict[str, Any], photons: int = 1 << 17) -> Result:
    """The scene traced with about that many photons."""
    lowered = lower(scene_from_dict(scene))
    return trace_compiled(lowered.compiled, rule=StoppingRule(photons=photons, only_budget=True), seed=3)[0]
