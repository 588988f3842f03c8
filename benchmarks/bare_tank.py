"""The bare tank that both engines render: glass solids, a lid over an air gap, water, a grey floor, 4 x 16 LEDs.

Every face is described once, with the media on its two sides; both engines get the same triangles. No medium absorbs
and no index depends on wavelength: absorption would ask a general renderer for its slower volume integrator.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.lowering.compiled import CompiledScene, Grid
from underlit.lowering.world import World, box, rectangle

LENGTH, DEPTH, HEIGHT = 0.90, 0.45, 0.45
GLASS = 0.008
LID, LID_GAP = 0.006, 0.002
WATER_LEVEL = 0.42
LED_HEIGHT = 0.10
LED_ROWS, LED_COLUMNS = 4, 16
LED_HALF, PANEL_HALF = 0.002, 0.019
"""Half side of an LED [m]; and of one so large that a path from the floor meets it often."""
FLOOR_REFLECTANCE = 0.1
CELLS = (50, 25)
PLANE_STEP = 0.02
INDEX = {"air": 1.0, "water": 1.333, "glass": 1.52}


@dataclass(frozen=True)
class Face:
    """Triangles between two media; `front` is the medium that their normals look into."""

    name: str
    vertices: np.ndarray
    faces: np.ndarray
    front: str
    back: str


def floor() -> tuple[np.ndarray, np.ndarray]:
    """The opaque floor at z = 0, looking up."""
    return rectangle((0, 0, 0), (LENGTH, 0, 0), (0, DEPTH, 0))


def _wall_sides(z0: float, z1: float, grow: float) -> tuple[np.ndarray, np.ndarray]:
    """The four upright sides of a box, looking outwards (`box` begins with the four triangles of bottom and top)."""
    vertices, faces = box((-grow, -grow, z0), (LENGTH + grow, DEPTH + grow, z1))
    return vertices, faces[4:]


def _rim() -> tuple[np.ndarray, np.ndarray]:
    """The top edge of the walls: a ring at the tank's height, looking up."""
    x0, x1, y0, y1, z = -GLASS, LENGTH + GLASS, -GLASS, DEPTH + GLASS, HEIGHT
    outer = [(x0, y0, z), (x1, y0, z), (x1, y1, z), (x0, y1, z)]
    inner = [(0, 0, z), (LENGTH, 0, z), (LENGTH, DEPTH, z), (0, DEPTH, z)]
    quads = [(k, (k + 1) % 4, 4 + (k + 1) % 4, 4 + k) for k in range(4)]
    faces = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    return np.array(outer + inner, dtype=float), np.array(faces, dtype=np.int32)


def interfaces() -> list[Face]:
    """All faces between two clear media."""
    bottom = rectangle((-GLASS, -GLASS, -GLASS), (0, DEPTH + 2 * GLASS, 0), (LENGTH + 2 * GLASS, 0, 0))
    surface = rectangle((0, 0, WATER_LEVEL), (LENGTH, 0, 0), (0, DEPTH, 0))
    lid_low = HEIGHT + LID_GAP
    lid = box((-GLASS, -GLASS, lid_low), (LENGTH + GLASS, DEPTH + GLASS, lid_low + LID))
    return [
        Face("walls, wet", *_wall_sides(0.0, WATER_LEVEL, 0.0), "glass", "water"),
        Face("walls, dry", *_wall_sides(WATER_LEVEL, HEIGHT, 0.0), "glass", "air"),
        Face("walls, outside", *_wall_sides(-GLASS, HEIGHT, GLASS), "air", "glass"),
        Face("rim", *_rim(), "air", "glass"),
        Face("bottom, outside", *bottom, "air", "glass"),
        Face("water surface", *surface, "air", "water"),
        Face("lid", *lid, "air", "glass"),
    ]


def led_positions() -> np.ndarray:
    """Centres of the LEDs (64, 3) [m]."""
    x = LENGTH * (np.arange(LED_COLUMNS) + 0.5) / LED_COLUMNS
    y = DEPTH / 2 + 0.04 * (np.arange(LED_ROWS) - (LED_ROWS - 1) / 2)
    grid = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    return np.column_stack([grid, np.full(len(grid), HEIGHT + LED_HEIGHT)])


def led_faces(half: float = LED_HALF) -> tuple[np.ndarray, np.ndarray]:
    """The emitting squares, looking down; half their side [m]."""
    vertices, faces = [], []
    for x, y, z in led_positions():
        v, f = rectangle((x - half, y - half, z), (0, 2 * half, 0), (2 * half, 0, 0))
        faces.append(f + 4 * len(vertices))
        vertices.append(v)
    return np.concatenate(vertices), np.concatenate(faces).astype(np.int32)


def compiled(planes: bool, half: float = LED_HALF) -> CompiledScene:
    """The tank for this engine: PPF 1 umol/s, a map of the floor, light planes on request."""
    world = World()
    media = {"air": 0, "water": world.medium("water", INDEX["water"]), "glass": world.medium("glass", INDEX["glass"])}
    world.add_mesh("floor", *floor(), world.opaque("floor", FLOOR_REFLECTANCE))
    for face in interfaces():
        surface = world.interface(face.name, media[face.front], media[face.back])
        world.add_mesh(face.name, face.vertices, face.faces, surface)
    world.add_mesh("LEDs", *led_faces(half), world.opaque("LEDs", 0.0))
    world.add_source("fixture", led_positions(), ppf=1.0, half_size=(half, half))
    nx, ny = CELLS
    spacing = (LENGTH / nx, DEPTH / ny, PLANE_STEP)
    cell = spacing[0] * spacing[1]
    world.add_map("floor", Grid((0.0, 0.0, 0.0), spacing, (nx, ny, 1), np.full((1, ny, nx), cell)))
    if planes:
        nz = round(WATER_LEVEL / PLANE_STEP)
        world.add_planes(Grid((0.0, 0.0, PLANE_STEP / 2), spacing, (nx, ny, nz), np.full((nz, ny, nx), cell)))
    return world.compile()
