"""From a scene to a plan: every part of the tank into one `World`, frozen for tracing."""

from __future__ import annotations

from dataclasses import dataclass

from underlit.lowering.aims import ZonePlace, lower_counters
from underlit.lowering.bed import lower_bed
from underlit.lowering.ground import LoweringError, lower_hardscape
from underlit.lowering.lights import dimming, lower_fixtures
from underlit.lowering.plants import Grown, lower_plants
from underlit.lowering.shell import lower_shell
from underlit.lowering.terraces import lower_terraces
from underlit.lowering.world import Plan, World
from underlit.scene.model import Scene


@dataclass(frozen=True)
class Lowered:
    """A scene ready to trace: the plan, where its zones count, its plantings as measured, dimming by source name."""

    scene: Scene
    plan: Plan
    zones: tuple[ZonePlace, ...]
    plantings: tuple[Grown, ...]
    dimming: dict[str, float]


def lower(scene: Scene) -> Lowered:
    """Build the world of a scene. LoweringError, one line, where a part cannot be built."""
    if not scene.fixtures:
        raise LoweringError("the scene has no light: add a [[fixture]]")
    world = World()
    shell = lower_shell(world, scene)
    lower_bed(world, scene)
    hardscape = lower_hardscape(world, scene, shell) | lower_terraces(world, scene)
    grown = lower_plants(world, scene, shell, hardscape)
    lower_fixtures(world, scene, shell)
    places = lower_counters(world, scene, hardscape, grown)
    return Lowered(scene, world.freeze(), tuple(places), tuple(grown), dimming(scene))
