"""The top of the tank into a `World`: plastic rim, braces across, and the strip of glass or plastic round the inside.

A rim is a cap and a skirt that touch nothing. A brace is a plate a hair off the panes; one of glass that stands in the water
is split at the water line like the panes, and the water's surface has a hole where it stands.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from underlit.lowering.prisms import HAIR, curtain_of_region, curtain_round, flat_region, joined, slab
from underlit.lowering.tank.lid import RIM_CAP
from underlit.lowering.world import OUTSIDE, Role, World
from underlit.scene.model import Scene
from underlit.scene.tank.tank import AnyBrace
from underlit.spectra.materials import reflectance
from underlit.spectra.media import optical_constants

if TYPE_CHECKING:
    import shapely


@dataclass(frozen=True)
class _Plate:
    name: str
    said: AnyBrace
    region: shapely.Geometry
    low: float
    high: float


def lower_rim(world: World, scene: Scene) -> None:
    """Add the plastic frame round the top edge."""
    import shapely

    tank, height = scene.tank, scene.tank.inside_m[2]
    if tank.rim is None:
        return
    plastic = world.opaque("rim", reflectance("black", tank.rim.reflectance), bucket="rim and braces")
    outer = shapely.Polygon(tank.outside_outline.moved(HAIR).points)
    cap = outer - tank.inside_outline.inset(tank.rim.covers)
    world.add_mesh("rim", *flat_region(cap, height + RIM_CAP), plastic, role=Role.FRAME)
    skirt = curtain_round(tank.outside_outline.moved(HAIR).points, height + RIM_CAP - tank.rim.height, height + RIM_CAP)
    world.add_mesh("rim", *skirt, plastic, role=Role.FRAME, name="rim skirt")


def lower_braces(world: World, scene: Scene, water: int) -> shapely.Geometry:
    """Add all braces; returns the part of the water's surface that is left free by those of glass."""
    level = scene.water_level_m
    surface = scene.tank.inside_outline.polygon
    for plate in _plates(scene):
        if plate.said.glass is None:
            share = plate.said.reflectance
            opaque = world.opaque(plate.name, reflectance("black", share), closed=True, bucket="rim and braces")
            world.add_mesh(plate.name, *slab(plate.region, plate.low, plate.high), opaque, role=Role.FRAME)
            continue
        _glass_plate(world, plate, water, level)
        if plate.low < level < plate.high:
            surface = surface - plate.region
    return surface


def _plates(scene: Scene) -> Iterator[_Plate]:
    import shapely

    tank, height, level = scene.tank, scene.tank.inside_m[2], scene.water_level_m
    room = tank.inside_outline.inset(HAIR)

    def heights(thickness: float) -> tuple[float, float]:
        # No face of a plate may share its plane with the water's surface.
        low, high = height - thickness, height - HAIR
        return (level - HAIR if abs(low - level) < HAIR else low), (level - HAIR if abs(high - level) < HAIR else high)

    euro = tank.euro_brace
    if euro is not None:
        hole = tank.inside_outline.inset(euro.width)
        yield _Plate("euro brace", euro, room - hole, *heights(euro.thickness))
        room = tank.inside_outline.inset(euro.width + HAIR)
    _, y0, _, y1 = room.bounds
    for i, brace in enumerate(tank.braces, 1):
        region = room & shapely.box(brace.at - brace.width / 2, y0 - 1, brace.at + brace.width / 2, y1 + 1)
        yield _Plate(f"brace {i}", brace, region, *heights(brace.thickness))


def _glass_plate(world: World, plate: _Plate, water: int, level: float) -> None:
    assert plate.said.glass is not None
    medium = world.medium(plate.name, *optical_constants(plate.said.glass))
    dry = world.interface(plate.name, OUTSIDE, medium, exit="out of the top", bucket="rim and braces")
    region, low, high = plate.region, plate.low, plate.high
    pieces = {
        "dry": [flat_region(region, z, facing_up=z == high) for z in (low, high) if z > level],
        "wet": [flat_region(region, z, facing_up=z == high) for z in (low, high) if z < level],
    }
    if low < level:
        pieces["wet"].append(curtain_of_region(region, low, min(level, high)))
    if high > level:
        pieces["dry"].append(curtain_of_region(region, max(level, low), high))
    if pieces["dry"]:
        world.add_mesh(plate.name, *joined(pieces["dry"]), dry, role=Role.SHELL)
    if pieces["wet"]:
        wet = world.interface(f"{plate.name}, under water", water, medium, bucket="rim and braces")
        world.add_mesh(plate.name, *joined(pieces["wet"]), wet, role=Role.SHELL, name=f"{plate.name}, under water")
