"""From a scene to a plan: every part of the tank, and of those in its rack, into one `World`, frozen for tracing."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from underlit.lowering.aquascape.bed import lower_bed
from underlit.lowering.aquascape.hardscape import LoweringError, lower_hardscape
from underlit.lowering.aquascape.plants import Grown, lower_plants
from underlit.lowering.aquascape.terraces import lower_terraces
from underlit.lowering.fixtures import dimming, full_hours, lower_fixtures
from underlit.lowering.rack import PlacedWorld, of_tank
from underlit.lowering.shapes import ShapeError
from underlit.lowering.tallies import ZonePlace, lower_tallies
from underlit.lowering.tank.shell import lower_shell
from underlit.lowering.world import CompiledScene, Mesh, World
from underlit.scene.model import RackTank, Scene
from underlit.scene.targets import Zone

BED_CELL = 0.02
"""Only the scene's own tank has a map; the substrates of others are counted on faces of this size [m]."""


@dataclass(frozen=True)
class Lowered:
    """A scene ready to trace: the plan, where its zones count, its plantings as measured, dimming by source name.

    Zones of the scene's own tank come first, then those of the rack's other tanks.
    """

    scene: Scene
    compiled: CompiledScene
    zones: tuple[ZonePlace, ...]
    plantings: tuple[Grown, ...]
    dimming: dict[str, float]

    @property
    def own_zones(self) -> tuple[ZonePlace, ...]:
        """The places of the zones of the scene's own tank."""
        return tuple(place for place in self.zones if not place.tank)

    @property
    def own_meshes(self) -> tuple[Mesh, ...]:
        """All meshes but those of the rack's other tanks."""
        starts = tuple(of_tank(tank.name, "") for tank in self.scene.rack)
        return tuple(mesh for mesh in self.compiled.meshes if not (starts and mesh.name.startswith(starts)))

    def tank_of(self, place: ZonePlace) -> Scene:
        """The scene of the tank that a zone lies in."""
        return next((tank.scene for tank in self.scene.rack if tank.name == place.tank), self.scene)

    def zone_of(self, place: ZonePlace) -> Zone | None:
        """What the scene says of a zone; None for the whole substrate, which no scene names."""
        zones = self.tank_of(place).zones
        return next((z for z in zones if place.name == (of_tank(place.tank, z.name) if place.tank else z.name)), None)

    @property
    def full_hours(self) -> dict[str, float]:
        """Hours at full light that give each source's light of a day, by source name [h]."""
        hours = full_hours(self.scene)
        for tank in self.scene.rack:
            hours |= {of_tank(tank.name, name): value for name, value in full_hours(tank.scene).items()}
        return hours


def lower(scene: Scene) -> Lowered:
    """Build the world of a scene. LoweringError, one line, where a part cannot be built."""
    if not any(tank.fixtures for tank in (scene, *(tank.scene for tank in scene.rack))):
        raise LoweringError("the scene has no light: add a [[fixture]]")
    world = World()
    places, grown = _lower_tank(world, scene, None)
    levels = dimming(scene)
    for number, tank in enumerate(scene.rack):
        places += _lower_beside(world, tank, number)
        levels |= {of_tank(tank.name, name): level for name, level in dimming(tank.scene).items()}
    return Lowered(scene, world.compile(), tuple(places), tuple(grown), levels)


def _lower_tank(world: World, scene: Scene, bed_cell: float | None) -> tuple[list[ZonePlace], list[Grown]]:
    try:
        shell = lower_shell(world, scene)
        lower_bed(world, scene, bed_cell)
    except ShapeError as problem:
        raise LoweringError(str(problem)) from None
    hardscape = lower_hardscape(world, scene, shell) | lower_terraces(world, scene)
    grown = lower_plants(world, scene, shell, hardscape)
    lower_fixtures(world, scene, shell)
    return lower_tallies(world, scene, hardscape, grown), grown


def _lower_beside(world: World, tank: RackTank, number: int) -> list[ZonePlace]:
    """Another tank of the rack; returns where its zones count, in the frame of the scene's own tank."""
    placed = PlacedWorld(world, tank.name, tank.offset_m, number)
    try:
        places, _ = _lower_tank(placed, tank.scene, BED_CELL)
    except LoweringError as problem:
        raise LoweringError(of_tank(tank.name, str(problem))) from None
    placed.tell_notes()
    x, y, z = tank.offset_m
    return [
        replace(
            place,
            name=of_tank(tank.name, place.name),
            outline=None if place.outline is None else place.outline + np.array([x, y]),
            z=None if place.z is None else place.z + z,
            tank=tank.name,
        )
        for place in places
    ]
