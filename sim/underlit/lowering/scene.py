"""From a scene to a compiled one: the pieces of every part of its tank, and of those in its rack, into one `World`."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from underlit.lowering.aquascape.bed import bed
from underlit.lowering.aquascape.hardscape import LoweringError, hardscape
from underlit.lowering.aquascape.plants import Grown, planted
from underlit.lowering.aquascape.terraces import terraces
from underlit.lowering.assemble import put
from underlit.lowering.compiled import CompiledScene
from underlit.lowering.fixtures import dimming, full_hours, lights
from underlit.lowering.pieces import Piece
from underlit.lowering.records import OWN, Frame, Source
from underlit.lowering.shapes import ShapeError
from underlit.lowering.tallies import ZonePlace, counters
from underlit.lowering.tank.shell import shell
from underlit.lowering.world import World
from underlit.scene.assumptions.scene import tank_uncertainty
from underlit.scene.lights.fixture import Fixture
from underlit.scene.model import Scene
from underlit.scene.targets import Zone


@dataclass(frozen=True)
class BuiltTank:
    """One tank in its own frame: its scene, where its zones count, its plantings as measured."""

    scene: Scene
    zones: tuple[ZonePlace, ...]
    plantings: tuple[Grown, ...]


@dataclass(frozen=True)
class Lowered:
    """A scene ready to trace.

    A view of one tank (`tanks`) is of the same kind: it shows that tank alone, in its own frame, and goes with the result of
    `Result.of_tank`. So whatever is asked of a single tank can be asked of each tank of a rack.

    Attributes
    ----------
    scene : Scene
        The scene of the tank that this is seen from.
    compiled : CompiledScene
        What is traced, as seen from that tank.
    rack : tuple of BuiltTank
        All tanks as they were built, by their number; the scene's own is 0.
    dimming : dict of Source to float
        Level of each source as the scenes set it.
    """

    scene: Scene
    compiled: CompiledScene
    rack: tuple[BuiltTank, ...]
    dimming: dict[Source, float]

    @cached_property
    def tanks(self) -> tuple[Lowered, ...]:
        """A view of each tank, the scene's own first."""
        numbers = [frame.tank for frame in self.compiled.frames]
        return tuple(
            replace(self, scene=self.scene_of(number), compiled=self.compiled.of_tank(number)) for number in numbers
        )

    @property
    def tank(self) -> int:
        """Number of the tank that this is seen from."""
        return self.compiled.frame.tank

    @property
    def zones(self) -> tuple[ZonePlace, ...]:
        """Where the zones count, in their order in the compiled scene: those of the tank this is seen from come first."""
        return tuple(place.placed_in(frame) for frame in self.compiled.frames for place in self.rack[frame.tank].zones)

    @property
    def own_zones(self) -> tuple[ZonePlace, ...]:
        """Those of the zones that lie in the tank this is seen from."""
        return tuple(place for place in self.zones if place.tank == self.tank)

    @property
    def plantings(self) -> tuple[Grown, ...]:
        """The plantings of the tank this is seen from, as measured."""
        return self.rack[self.tank].plantings

    @property
    def lights(self) -> tuple[Fixture, ...]:
        """The fixtures of the tank this is seen from; where it has none, those of the tank whose light reaches it."""
        return self.scene.fixtures or next(built.scene.fixtures for built in self.rack if built.scene.fixtures)

    @property
    def tank_uncertainty(self) -> float:
        """Relative standard uncertainty of what is not known about the tank this is seen from and its lights."""
        return tank_uncertainty(self.scene.model_copy(update={"fixtures": self.lights}))

    @property
    def full_hours(self) -> dict[Source, float]:
        """Hours at full light that give each source's light of a day [h]."""
        return _of_all_sources(full_hours, [built.scene for built in self.rack])

    def scene_of(self, tank: int) -> Scene:
        """The scene of the tank of the rack with this number."""
        return self.scene if tank == self.tank else self.rack[tank].scene

    def zone_of(self, place: ZonePlace) -> Zone | None:
        """What the scene says of the zone of a place; None for the whole substrate, which no scene names."""
        return next((zone for zone in self.scene_of(place.tank).zones if zone.name == place.zone), None)

    def relit(self, scene: Scene) -> Lowered:
        """The same tanks, nothing built again, for a scene that differs only in what changes no path of light."""
        scenes = scene.tank_scenes
        rack = tuple(replace(built, scene=new) for built, new in zip(self.rack, scenes, strict=True))
        return replace(self, scene=scene, rack=rack, dimming=_of_all_sources(dimming, scenes))


def _of_all_sources(
    what: Callable[[Scene, Frame], dict[Source, float]], scenes: Sequence[Scene]
) -> dict[Source, float]:
    return {source: value for tank, scene in enumerate(scenes) for source, value in what(scene, Frame(tank)).items()}


def lower(scene: Scene, *, pane_cell_m: float = math.inf) -> Lowered:
    """Build the world of a scene, with the other tanks of its rack, and compile it.

    pane_cell_m: size of the cells in which the panes of the scene's own tank count light, for maps of them [m].
    LoweringError, one line that names the part, where one cannot be built or there is no light.
    """
    scenes = scene.tank_scenes
    if not any(each.fixtures for each in scenes):
        raise LoweringError("the scene has no light: add a [[fixture]]")
    frames = [OWN, *(Frame(k, tank.name, tank.offset_m) for k, tank in enumerate(scene.rack, start=1))]
    world, rack = World(), []
    for frame, own in zip(frames, scenes, strict=True):
        try:
            pieces, built = build(own, pane_cell_m if frame is OWN else math.inf)
            put(world, pieces, frame)
        except (LoweringError, ShapeError) as problem:
            raise LoweringError(f"{frame.name}: {problem}" if frame.name else str(problem)) from None
        rack.append(built)
    return Lowered(scene, world.compile(), tuple(rack), _of_all_sources(dimming, scenes))


def build(scene: Scene, pane_cell_m: float = math.inf) -> tuple[list[Piece], BuiltTank]:
    """The pieces of a tank and of all that stands in it, in its own frame, and the tank as it was built (see `lower`).

    LoweringError or ShapeError, one line, where it cannot be built.
    """
    pieces: list[Piece] = [*shell(scene, pane_cell_m), *bed(scene)]
    solid, shapes = hardscape(scene)
    stepped, edges = terraces(scene)
    shapes |= edges
    leaves, grown = planted(scene, shapes)
    tallies, places = counters(scene, shapes, grown)
    pieces += [*solid, *stepped, *leaves, *lights(scene), *tallies]
    return pieces, BuiltTank(scene, tuple(places), tuple(grown))
