"""Tank, water, lid, hood, rim and braces into a `World`.

Nothing touches that should not: panes that stand apart are kept `HAIR` apart, so that no two surfaces share a plane
unless they are one surface. The walls and the bottom are one glass solid over the tank's outline; its inner faces are split
at the water line, and all its faces take their corners from the same two outlines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from underlit.lowering.bed import bare_bottom
from underlit.lowering.lid import lower_hood, lower_lid
from underlit.lowering.prisms import Triangles, curtain, flat, flat_region, joined, ring
from underlit.lowering.rim import lower_braces, lower_rim
from underlit.lowering.world import OUTSIDE, Role, World
from underlit.scene.model import Scene
from underlit.scene.tank import SIDES, Behind, Tank, Wall
from underlit.scene.tank_outline import TankOutline
from underlit.spectra.media import WATER_ANISOTROPY, optical_constants

if TYPE_CHECKING:
    import shapely

UPRIGHT = ("front", "back", "left", "right")
MIRROR = "mirror"


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
    _inner_faces(world, scene, water, glass)
    _outer_faces(world, scene, glass)
    _top_edge(world, scene, glass)
    lower_rim(world, scene)
    free = lower_braces(world, scene, water)
    surface = world.interface("water surface", OUTSIDE, water, exit="out of the top", bucket="water")
    world.add_mesh("water surface", *_sheet_of(tank, free, scene.water_level_m), surface, role=Role.WATER)
    low, top = lower_lid(world, scene)
    lower_hood(world, scene)
    return Shell(water, low, top)


def _sheet_of(tank: Tank, free: shapely.Geometry, level: float) -> Triangles:
    whole = free is tank.inside_outline.polygon
    return flat(tank.inside_outline.points, level) if whole else flat_region(free, level)


def _inner_faces(world: World, scene: Scene, water: int, glass: int) -> None:
    outline, height = scene.tank.inside_outline, scene.tank.inside_m[2]
    level = scene.water_level_m
    dry = world.interface("dry inner glass", OUTSIDE, glass, exit="out of the top", bucket="tank glass")
    for side in UPRIGHT:
        # from the end of an edge to its start, so that the front looks into the tank
        feet = [(outline.points[(i + 1) % len(outline.points)], outline.points[i]) for i in outline.edges(side)]
        if not feet:
            continue
        wet = _grown_over(world, scene, side, water, glass)
        piece = joined([curtain(a, b, 0.0, level) for a, b in feet])
        world.add_mesh(f"{side} pane", *piece, wet, role=Role.SHELL, name=f"{side} pane, wet inside")
        if level < height:
            piece = joined([curtain(a, b, level, height) for a, b in feet])
            world.add_mesh(f"{side} pane", *piece, dry, role=Role.SHELL, name=f"{side} pane, dry inside")
    bottom = _grown_over(world, scene, "bottom", water, glass)
    part, role = ("substrate", Role.BED) if bare_bottom(scene) else ("bottom pane", Role.SHELL)
    name = part if bare_bottom(scene) else "bottom pane, inside"
    world.add_mesh(part, *flat(outline.points, 0.0), bottom, role=role, name=name)


def _grown_over(world: World, scene: Scene, side: str, water: int, glass: int) -> int:
    """Inner face of a pane. What grows on it is a film passed twice per hit, so that a hit gives back its share."""
    film = math.sqrt(scene.gives_back(side))
    return world.interface(f"{side} pane inside", water, glass, film=film, bucket="growth on the panes")


def _outer_faces(world: World, scene: Scene, glass: int) -> None:
    outside = scene.tank.outside_outline
    low, high = -scene.tank.bottom_thickness_m, scene.tank.inside_m[2]
    for side in SIDES:
        wall = scene.tank.walls[side]
        if side != "bottom" and not outside.edges(side):
            continue
        if wall.touches_glass:
            surface = _backing(world, side, wall)
        else:
            surface = world.interface(
                f"{side} pane outside", OUTSIDE, glass, exit=f"out through the {side} pane", bucket="tank glass"
            )
        piece = _outside_of(outside, side, 0.0, low, high)
        world.add_mesh(f"{side} pane", *piece, surface, role=Role.SHELL, name=f"{side} pane, outside")
        if wall.behind is Behind.SHEET:
            sheet = _outside_of(outside, side, wall.air_gap, low, high)
            world.add_mesh(f"{side} sheet", *sheet, _backing(world, side, wall), role=Role.BACKING)


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


def _backing(world: World, side: str, wall: Wall) -> int:
    spectrum = wall.backing_reflectance()
    if spectrum is None:
        raise ValueError(f"the {side} pane has no backing")
    return world.opaque(
        f"backing of the {side} pane", spectrum, specular=1.0 if wall.colour == MIRROR else 0.0, bucket="backings"
    )


def _top_edge(world: World, scene: Scene, glass: int) -> None:
    tank = scene.tank
    edge = world.interface("top edge", OUTSIDE, glass, exit="out of the glass edges", bucket="tank glass")
    piece = ring(tank.outside_outline.points, tank.inside_outline.points, tank.inside_m[2])
    world.add_mesh("top edge", *piece, edge, role=Role.SHELL)
