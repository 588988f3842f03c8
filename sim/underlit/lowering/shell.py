"""Tank, water, lid, hood, rim and braces into a `World`.

Nothing touches that should not: panes that stand apart are kept `HAIR` apart, so that no two surfaces share a plane
unless they are one surface. The walls and the bottom are one glass solid; its inner faces are split at the water line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from underlit.lowering.world import OUTSIDE, Role, World, box, rectangle
from underlit.scene.model import Scene
from underlit.scene.tank import SIDES, Behind, Lid, Strip, Wall
from underlit.spectra.materials import reflectance
from underlit.spectra.media import WATER_ANISOTROPY, optical_constants

HAIR = 3e-4
"""Distance that keeps neighbouring pieces apart [m]."""
RIM_CAP = 1e-3
"""Height over the panes' top edge where the rim's cap lies [m]; a lid rests on it."""
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
    length, depth, _ = tank.inside_m
    level = scene.water_level_m
    surface = world.interface("water surface", OUTSIDE, water, exit="out of the top", bucket="water")
    world.add_mesh("water surface", *rectangle((0, 0, level), (length, 0, 0), (0, depth, 0)), surface, role=Role.WATER)
    _rim_and_braces(world, scene)
    low, top = _lid(world, scene)
    _hood(world, scene)
    return Shell(water, low, top)


def bare_bottom(scene: Scene) -> bool:
    """Whether there is no substrate to speak of: then the bottom pane itself is what light reaches."""
    return float(scene.substrate.grid_m.max()) < HAIR


def _inner_faces(world: World, scene: Scene, water: int, glass: int) -> None:
    length, depth, height = scene.tank.inside_m
    level = scene.water_level_m
    # corner and direction of each wall's foot, so that along x up looks into the tank
    feet = {
        "front": ((length, 0, 0), (-length, 0, 0)),
        "back": ((0, depth, 0), (length, 0, 0)),
        "left": ((0, 0, 0), (0, depth, 0)),
        "right": ((length, depth, 0), (0, -depth, 0)),
    }
    dry = world.interface("dry inner glass", OUTSIDE, glass, exit="out of the top", bucket="tank glass")
    for side, (corner, along) in feet.items():
        wet = _grown_over(world, scene, side, water, glass)
        vertices, faces = rectangle(corner, along, (0, 0, level))
        world.add_mesh(f"{side} pane", vertices, faces, wet, role=Role.SHELL, name=f"{side} pane, wet inside")
        vertices, faces = rectangle((corner[0], corner[1], level), along, (0, 0, height - level))
        # the top must be the rim's very number, not level + (height - level)
        vertices[2:, 2] = height
        world.add_mesh(f"{side} pane", vertices, faces, dry, role=Role.SHELL, name=f"{side} pane, dry inside")
    bottom = _grown_over(world, scene, "bottom", water, glass)
    part, role = ("substrate", Role.BED) if bare_bottom(scene) else ("bottom pane", Role.SHELL)
    name = part if bare_bottom(scene) else "bottom pane, inside"
    world.add_mesh(part, *rectangle((0, 0, 0), (length, 0, 0), (0, depth, 0)), bottom, role=role, name=name)


def _grown_over(world: World, scene: Scene, side: str, water: int, glass: int) -> int:
    """Inner face of a pane. What grows on it is a film passed twice per hit, so that a hit gives back its share."""
    film = math.sqrt(scene.gives_back(side))
    return world.interface(f"{side} pane inside", water, glass, film=film, bucket="growth on the panes")


def _outer_faces(world: World, scene: Scene, glass: int) -> None:
    length, depth, height = scene.tank.inside_m
    t, b = scene.tank.wall_thickness_m, scene.tank.bottom_thickness_m
    x0, x1, y0, y1, z0, z1 = -t, length + t, -t, depth + t, -b, height
    quads = {
        "front": ((x0, y0, z0), (x1, y0, z0), (x1, y0, z1), (x0, y0, z1)),
        "back": ((x1, y1, z0), (x0, y1, z0), (x0, y1, z1), (x1, y1, z1)),
        "left": ((x0, y1, z0), (x0, y0, z0), (x0, y0, z1), (x0, y1, z1)),
        "right": ((x1, y0, z0), (x1, y1, z0), (x1, y1, z1), (x1, y0, z1)),
        "bottom": ((x0, y1, z0), (x1, y1, z0), (x1, y0, z0), (x0, y0, z0)),
    }
    faces = np.array([[0, 1, 2], [0, 2, 3]], dtype=np.int32)
    for side in SIDES:
        wall = scene.tank.walls[side]
        vertices = np.array(quads[side], dtype=np.float64)
        if wall.touches_glass:
            surface = _backing(world, side, wall)
        else:
            surface = world.interface(
                f"{side} pane outside", OUTSIDE, glass, exit=f"out through the {side} pane", bucket="tank glass"
            )
        world.add_mesh(f"{side} pane", vertices, faces, surface, role=Role.SHELL, name=f"{side} pane, outside")
        if wall.behind is Behind.SHEET:
            outward = np.cross(vertices[1] - vertices[0], vertices[3] - vertices[0])
            outward /= np.linalg.norm(outward)
            sheet = vertices + outward * wall.air_gap
            world.add_mesh(f"{side} sheet", sheet, faces, _backing(world, side, wall), role=Role.BACKING)


def _backing(world: World, side: str, wall: Wall) -> int:
    spectrum = wall.backing_reflectance()
    if spectrum is None:
        raise ValueError(f"the {side} pane has no backing")
    return world.opaque(
        f"backing of the {side} pane", spectrum, specular=1.0 if wall.colour == MIRROR else 0.0, bucket="backings"
    )


def _ring(
    low: tuple[float, float], high: tuple[float, float], inward: float, z: float
) -> tuple[np.ndarray, np.ndarray]:
    """A level frame of four trapezoids facing up, from an outer rectangle inward; exact shared corners."""
    (x0, y0), (x1, y1) = low, high
    outer = [(x0, y0, z), (x1, y0, z), (x1, y1, z), (x0, y1, z)]
    a, b, c, d = x0 + inward, y0 + inward, x1 - inward, y1 - inward
    inner = [(a, b, z), (c, b, z), (c, d, z), (a, d, z)]
    faces = [f for i in range(4) for j in [(i + 1) % 4] for f in ((i, j, 4 + j), (i, 4 + j, 4 + i))]
    return np.array(outer + inner, dtype=np.float64), np.array(faces, dtype=np.int32)


def _top_edge(world: World, scene: Scene, glass: int) -> None:
    length, depth, height = scene.tank.inside_m
    t = scene.tank.wall_thickness_m
    vertices, faces = _ring((-t, -t), (length + t, depth + t), t, height)
    # the inner corners are the walls' own, to the bit
    vertices[4:, :2] = [(0, 0), (length, 0), (length, depth), (0, depth)]
    edge = world.interface("top edge", OUTSIDE, glass, exit="out of the glass edges", bucket="tank glass")
    world.add_mesh("top edge", vertices, faces, edge, role=Role.SHELL)


def _rim_and_braces(world: World, scene: Scene) -> None:
    tank = scene.tank
    length, depth, height = tank.inside_m
    t = tank.wall_thickness_m
    if tank.rim is not None:
        plastic = world.opaque("rim", reflectance("black", tank.rim.reflectance), bucket="rim and braces")
        vertices, faces = _ring((-t - HAIR, -t - HAIR), (length + t + HAIR, depth + t + HAIR),
                                t + HAIR + tank.rim.covers, height + RIM_CAP)  # fmt: skip
        world.add_mesh("rim", vertices, faces, plastic, role=Role.FRAME)
        skirt, skirt_faces = box((-t - HAIR, -t - HAIR, height + RIM_CAP - tank.rim.height),
                                 (length + t + HAIR, depth + t + HAIR, height + RIM_CAP))  # fmt: skip
        world.add_mesh("rim", skirt, skirt_faces[4:], plastic, role=Role.FRAME, name="rim skirt")
    for i, brace in enumerate(tank.braces, 1):
        low = (max(brace.at - brace.width / 2, HAIR), HAIR, height - brace.thickness)
        high = (min(brace.at + brace.width / 2, length - HAIR), depth - HAIR, height - HAIR)
        name = f"brace {i}"
        if brace.glass is None:
            surface = world.opaque(name, reflectance("black", brace.reflectance), closed=True, bucket="rim and braces")
        else:
            medium = world.medium(name, *optical_constants(brace.glass))
            surface = world.interface(name, OUTSIDE, medium, exit="out of the top", bucket="rim and braces")
        world.add_mesh(name, *box(low, high), surface, role=Role.FRAME)


def _lid(world: World, scene: Scene) -> tuple[float, float]:
    """Panes as glass slabs, strips as opaque sheets on them. Returns lower and upper height [m]."""
    length, depth, height = scene.tank.inside_m
    lid = scene.lid
    if lid is None:
        return math.inf, -math.inf
    t = scene.tank.wall_thickness_m
    low = height + lid.above_rim + HAIR + (RIM_CAP if scene.tank.rim is not None else 0.0)
    top = low + lid.thickness
    medium = world.medium("lid", *optical_constants(lid.glass))
    upper = world.interface("lid top", OUTSIDE, medium, film=lid.dirt, exit="out of the top", bucket="dirt on the lid")
    under = world.interface(
        "lid underside", OUTSIDE, medium, film=lid.condensation, exit="out of the top", bucket="dirt on the lid"
    )
    edge = world.interface("lid edge", OUTSIDE, medium, exit="out of the glass edges", bucket="lid")
    extents = [pane.bounds_m for pane in lid.panes] or [(-t, -t, length + t, depth + t)]
    for i, (x0, y0, x1, y1) in enumerate(extents, 1):
        vertices, faces = box((x0 + HAIR, y0 + HAIR, low), (x1 - HAIR, y1 - HAIR, top))
        part = f"lid pane {i}"
        world.add_mesh(part, vertices, faces[2:4], upper, role=Role.LID, name=f"{part}, top")
        world.add_mesh(part, vertices, faces[:2], under, role=Role.LID, name=f"{part}, underside")
        world.add_mesh(part, vertices, faces[4:], edge, role=Role.LID, name=f"{part}, edges")
    for i, strip in enumerate(lid.strips, 1):
        _strip(world, strip, i, top)
    return low, top + (HAIR if lid.strips else 0.0)


def _strip(world: World, strip: Strip, number: int, top: float) -> None:
    x0, y0, x1, y1 = strip.bounds_m
    surface = world.opaque(f"strip {number}", reflectance("black", strip.reflectance), bucket="strips on the lid")
    sheet = rectangle((x0, y0, top + HAIR), (x1 - x0, 0, 0), (0, y1 - y0, 0))
    world.add_mesh(f"strip {number}", *sheet, surface, role=Role.LID)


def lid_covers(lid: Lid | None, x0: float, y0: float, x1: float, y1: float) -> bool:
    """Whether any pane of the lid lies under a rectangle of the plan [m]."""
    if lid is None:
        return False
    if not lid.panes:
        return True
    return any(a < x1 and c > x0 and b < y1 and d > y0 for a, b, c, d in (p.bounds_m for p in lid.panes))


def _hood(world: World, scene: Scene) -> None:
    if scene.hood is None:
        return
    length, depth, height = scene.tank.inside_m
    out = scene.tank.wall_thickness_m + 3 * HAIR
    vertices, faces = box((-out, -out, height), (length + out, depth + out, height + scene.hood.height))
    surface = world.opaque(
        "hood", scene.hood.inside_reflectance(), back_reflectance=scene.hood.inside_reflectance(), bucket="hood"
    )
    world.add_mesh("hood", vertices, faces[2:], surface, role=Role.HOOD)
