"""The top of the tank: plastic rim, braces across, and the strip of glass or plastic round the inside.

A rim is a cap and a skirt that touch nothing. A brace is a plate a hair off the panes; one of glass that stands in the water
is split at the water line like the panes, and the water's surface has a hole where it stands.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from underlit.lowering.pieces import AIR, Interface, Medium, MeshPiece, Opaque, Piece
from underlit.lowering.prisms import HAIR, curtain_of_region, curtain_round, flat_region, joined, slab
from underlit.lowering.records import Face, Line, Part, Role
from underlit.lowering.tank.panes import OUT_OF_THE_TOP, RIM_AND_BRACES
from underlit.scene.model import Scene
from underlit.scene.tank.lid import RIM_CAP
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


def rim(scene: Scene) -> Iterator[MeshPiece]:
    """The plastic frame round the top edge, if there is one."""
    import shapely

    tank, height = scene.tank, scene.tank.inside_m[2]
    if tank.rim is None:
        return
    plastic = Opaque(RIM_AND_BRACES, reflectance("black", tank.rim.reflectance))
    outer = shapely.Polygon(tank.outside_outline.moved(HAIR).points)
    cap = outer - tank.inside_outline.inset(tank.rim.covers)
    yield MeshPiece(Part("rim", Role.FRAME), *flat_region(cap, height + RIM_CAP), plastic)
    skirt = curtain_round(tank.outside_outline.moved(HAIR).points, height + RIM_CAP - tank.rim.height, height + RIM_CAP)
    yield MeshPiece(Part("rim", Role.FRAME, Face.SKIRT), *skirt, plastic)


def braces(scene: Scene, water: Medium) -> Iterator[Piece]:
    """All braces."""
    for plate in _plates(scene):
        if plate.said.glass is not None:
            yield from _glass_plate(plate, water, scene.water_level_m)
            continue
        opaque = Opaque(RIM_AND_BRACES, reflectance("black", plate.said.reflectance), closed=True)
        yield MeshPiece(Part(plate.name, Role.FRAME), *slab(plate.region, plate.low, plate.high), opaque)


def free_of_glass_braces(scene: Scene) -> shapely.Geometry:
    """The part of the water's surface where no brace of glass stands in it."""
    level, surface = scene.water_level_m, scene.tank.inside_outline.polygon
    for plate in _plates(scene):
        if plate.said.glass is not None and plate.low < level < plate.high:
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


def _glass_plate(plate: _Plate, water: Medium, level: float) -> Iterator[Piece]:
    assert plate.said.glass is not None
    region, low, high = plate.region, plate.low, plate.high
    pieces = {
        "dry": [flat_region(region, z, facing_up=z == high) for z in (low, high) if z > level],
        "wet": [flat_region(region, z, facing_up=z == high) for z in (low, high) if z < level],
    }
    if low < level:
        pieces["wet"].append(curtain_of_region(region, low, min(level, high)))
    if high > level:
        pieces["dry"].append(curtain_of_region(region, max(level, low), high))
    glass = Medium(Line(plate.name), *optical_constants(plate.said.glass))
    yield glass
    if pieces["dry"]:
        dry = Interface(RIM_AND_BRACES, AIR, glass, way_out=OUT_OF_THE_TOP)
        yield MeshPiece(Part(plate.name, Role.SHELL, Face.OVER_WATER), *joined(pieces["dry"]), dry)
    if pieces["wet"]:
        wet = Interface(RIM_AND_BRACES, water, glass)
        yield MeshPiece(Part(plate.name, Role.SHELL, Face.UNDER_WATER), *joined(pieces["wet"]), wet)
