"""Tank, water, lid, hood, rim and braces into a `World`.

Nothing touches that should not: panes that stand apart are kept `HAIR` apart, so that no two surfaces share a plane
unless they are one surface. The walls and the bottom are one glass solid over the tank's outline; its inner faces are split
at the water line, and all its faces take their corners from the same two outlines.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from underlit.lowering.aquascape.bed import bare_bottom
from underlit.lowering.prisms import Triangles, curtain, flat, flat_region, joined, ring
from underlit.lowering.tank.lid import lower_hood, lower_lid
from underlit.lowering.tank.mesh_glass import lower_mesh_glass, section
from underlit.lowering.tank.panes import UPRIGHT, backing, dry_face, outer_face, top_edge, wet_face
from underlit.lowering.tank.rim import lower_braces, lower_rim
from underlit.lowering.world import OUTSIDE, Role, World
from underlit.scene.model import Scene
from underlit.scene.tank.outline import TankOutline
from underlit.scene.tank.tank import SIDES, Behind, Tank
from underlit.spectra.media import WATER_ANISOTROPY, optical_constants

if TYPE_CHECKING:
    import shapely


@dataclass(frozen=True)
class Shell:
    """Media and heights that other parts need: indices into the world, metres."""

    water: int
    lid_low: float
    lid_top: float


def lower_shell(world: World, scene: Scene) -> Shell:
    """Add the tank with everything that belongs to it; returns its media and heights."""
    tank = scene.tank
    water = world.medium("water", *scene.water.optical_constants(), g=WATER_ANISOTROPY)
    glass = world.medium("tank glass", *optical_constants(tank.glass))
    if tank.meshes is not None:
        lower_mesh_glass(world, scene, water, glass)
        sheet = flat_region(section(tank.meshes, scene.water_level_m), scene.water_level_m)
    else:
        _inner_faces(world, scene, water, glass)
        _outer_faces(world, scene, glass)
        _top_edge(world, scene, glass)
        lower_rim(world, scene)
        sheet = _sheet_of(tank, lower_braces(world, scene, water), scene.water_level_m)
    surface = world.interface("water surface", OUTSIDE, water, exit="out of the top", bucket="water")
    world.add_mesh("water surface", *sheet, surface, role=Role.WATER)
    low, top = lower_lid(world, scene)
    lower_hood(world, scene)
    return Shell(water, low, top)


def _sheet_of(tank: Tank, free: shapely.Geometry, level: float) -> Triangles:
    whole = free is tank.inside_outline.polygon
    return flat(tank.inside_outline.points, level) if whole else flat_region(free, level)


def _inner_faces(world: World, scene: Scene, water: int, glass: int) -> None:
    outline, height = scene.tank.inside_outline, scene.tank.inside_m[2]
    level = scene.water_level_m
    dry = dry_face(world, glass)
    for side in UPRIGHT:
        # from the end of an edge to its start, so that the front looks into the tank
        feet = [(outline.points[(i + 1) % len(outline.points)], outline.points[i]) for i in outline.edges(side)]
        if not feet:
            continue
        wet = wet_face(world, scene, side, water, glass)
        piece = joined([curtain(a, b, 0.0, level) for a, b in feet])
        world.add_mesh(f"{side} pane", *piece, wet, role=Role.SHELL, name=f"{side} pane, wet inside")
        if level < height:
            piece = joined([curtain(a, b, level, height) for a, b in feet])
            world.add_mesh(f"{side} pane", *piece, dry, role=Role.SHELL, name=f"{side} pane, dry inside")
    bottom = wet_face(world, scene, "bottom", water, glass)
    part, role = ("substrate", Role.BED) if bare_bottom(scene) else ("bottom pane", Role.SHELL)
    name = part if bare_bottom(scene) else "bottom pane, inside"
    world.add_mesh(part, *flat(outline.points, 0.0), bottom, role=role, name=name)


def _outer_faces(world: World, scene: Scene, glass: int) -> None:
    outside = scene.tank.outside_outline
    low, high = -scene.tank.bottom_thickness_m, scene.tank.inside_m[2]
    for side in SIDES:
        wall = scene.tank.walls[side]
        if side != "bottom" and not outside.edges(side):
            continue
        surface = outer_face(world, side, wall, glass)
        piece = _outside_of(outside, side, 0.0, low, high)
        world.add_mesh(f"{side} pane", *piece, surface, role=Role.SHELL, name=f"{side} pane, outside")
        if wall.behind is Behind.SHEET:
            sheet = _outside_of(outside, side, wall.air_gap, low, high)
            world.add_mesh(f"{side} sheet", *sheet, backing(world, side, wall), role=Role.BACKING)


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


def _top_edge(world: World, scene: Scene, glass: int) -> None:
    tank = scene.tank
    piece = ring(tank.outside_outline.points, tank.inside_outline.points, tank.inside_m[2])
    world.add_mesh("top edge", *piece, top_edge(world, glass), role=Role.SHELL)
