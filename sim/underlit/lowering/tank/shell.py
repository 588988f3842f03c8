"""Tank, water surface, lid, hood, rim and braces.

Nothing touches that should not: panes that stand apart are kept `HAIR` apart, so that no two surfaces share a plane
unless they are one surface. The walls and the bottom are one glass solid over the tank's outline; its inner faces are split
at the water line, and all its faces take their corners from the same two outlines.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from underlit.lowering.aquascape.bed import bare_bottom
from underlit.lowering.pieces import AIR, Interface, Medium, MeshPiece, Piece
from underlit.lowering.prisms import Triangles, curtain, flat, flat_region, joined, ring
from underlit.lowering.records import Face, Part, Role
from underlit.lowering.tank.lid import hood, lid
from underlit.lowering.tank.mesh_glass import mesh_glass, section
from underlit.lowering.tank.panes import (
    BED,
    OUT_OF_THE_TOP,
    TANK_GLASS,
    UPRIGHT,
    WATER,
    backing,
    dry_face,
    outer_face,
    pane,
    sheet_behind,
    top_edge,
    wet_face,
)
from underlit.lowering.tank.rim import braces, free_of_glass_braces, rim
from underlit.scene.model import Scene
from underlit.scene.tank.outline import TankOutline
from underlit.scene.tank.tank import SIDES, Behind, Tank
from underlit.spectra.media import WATER_ANISOTROPY, optical_constants

if TYPE_CHECKING:
    import shapely


def shell(scene: Scene, pane_cell_m: float = math.inf) -> Iterator[Piece]:
    """The tank with everything that belongs to it. ShapeError, one line, where its meshes do not make a tank.

    pane_cell_m: its panes under water are divided into cells of about this size, each with counters of its own; those of
    a tank from meshes stay as they are.
    """
    tank, level = scene.tank, scene.water_level_m
    water = Medium(WATER, *scene.water.optical_constants(), g=WATER_ANISOTROPY)
    glass = Medium(TANK_GLASS, *optical_constants(tank.glass))
    yield from (water, glass)
    if tank.meshes is not None:
        yield from mesh_glass(scene, water, glass)
        sheet = flat_region(section(tank.meshes, level), level)
    else:
        yield from _inner_faces(scene, water, glass, pane_cell_m)
        yield from _outer_faces(scene, glass)
        yield _top_edge(scene, glass)
        yield from rim(scene)
        yield from braces(scene, water)
        sheet = _sheet_of(tank, free_of_glass_braces(scene), level)
    surface = Interface(WATER, AIR, water, way_out=OUT_OF_THE_TOP)
    yield MeshPiece(Part("water surface", Role.WATER), *sheet, surface)
    yield from lid(scene)
    yield from hood(scene)


def _sheet_of(tank: Tank, free: shapely.Geometry, level: float) -> Triangles:
    whole = free is tank.inside_outline.polygon
    return flat(tank.inside_outline.points, level) if whole else flat_region(free, level)


def _inner_faces(scene: Scene, water: Medium, glass: Medium, pane_cell_m: float) -> Iterator[MeshPiece]:
    outline, height = scene.tank.inside_outline, scene.tank.inside_m[2]
    level = scene.water_level_m
    dry = dry_face(glass)
    for side in UPRIGHT:
        # from the end of an edge to its start, so that the front looks into the tank
        feet = [(outline.points[(i + 1) % len(outline.points)], outline.points[i]) for i in outline.edges(side)]
        if not feet:
            continue
        piece = joined([curtain(a, b, 0.0, level, pane_cell_m) for a, b in feet])
        yield MeshPiece(pane(side, Face.WET_INSIDE), *piece, wet_face(scene, side, water, glass))
        if level < height:
            piece = joined([curtain(a, b, level, height) for a, b in feet])
            yield MeshPiece(pane(side, Face.DRY_INSIDE), *piece, dry)
    part = BED if bare_bottom(scene) else pane("bottom", Face.WET_INSIDE)
    yield MeshPiece(part, *flat(outline.points, 0.0), wet_face(scene, "bottom", water, glass))


def _outer_faces(scene: Scene, glass: Medium) -> Iterator[MeshPiece]:
    outside = scene.tank.outside_outline
    low, high = -scene.tank.bottom_thickness_m, scene.tank.inside_m[2]
    for side in SIDES:
        wall = scene.tank.walls[side]
        if side != "bottom" and not outside.edges(side):
            continue
        piece = _outside_of(outside, side, 0.0, low, high)
        yield MeshPiece(pane(side, Face.OUTSIDE), *piece, outer_face(side, wall, glass))
        if wall.behind is Behind.SHEET:
            sheet = _outside_of(outside, side, wall.air_gap, low, high)
            yield MeshPiece(sheet_behind(side), *sheet, backing(side, wall))


def _outside_of(outside: TankOutline, side: str, gap: float, low: float, high: float) -> Triangles:
    """The outer face of a pane, or of what stands a gap behind it [m]; fronts away from the tank."""
    if side == "bottom":
        return flat(outside.points, low - gap, facing_up=False)
    return joined([curtain(*_beside(outside, edge, gap), low, high) for edge in outside.edges(side)])


def _beside(outside: TankOutline, edge: int, gap: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Start and end of an edge moved out by a gap [m]; edges of one pane still meet, those of two end where they did."""
    n = len(outside.points)
    ends = []
    for corner, before, after in ((edge, edge - 1, edge), ((edge + 1) % n, edge, (edge + 1) % n)):
        x, y = outside.points[corner]
        (ax, ay), (bx, by) = outside.normal(before), outside.normal(after)
        if outside.sides[before] != outside.sides[after]:
            (ax, ay) = (bx, by) = outside.normal(edge)
        along = 1.0 + ax * bx + ay * by
        ends.append((x + gap * (ax + bx) / along, y + gap * (ay + by) / along))
    return ends[0], ends[1]


def _top_edge(scene: Scene, glass: Medium) -> MeshPiece:
    tank = scene.tank
    piece = ring(tank.outside_outline.points, tank.inside_outline.points, tank.inside_m[2])
    return MeshPiece(Part("top edge", Role.SHELL), *piece, top_edge(glass))
