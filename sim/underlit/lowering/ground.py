"""Wood, stone and plants into a `World`."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from underlit.lowering.clip import clip_to_inside
from underlit.lowering.prisms import HAIR
from underlit.lowering.shapes import Planting, Shape, ShapeError, place
from underlit.lowering.shell import Shell
from underlit.lowering.world import Role, World
from underlit.scene.ground import Placed, Stone, Wood
from underlit.scene.model import Scene
from underlit.scene.plants import PlantKind, Plants


@dataclass(frozen=True)
class Grown:
    """A planting as it stands in the world: its shape [m], leaf area [m2, one side], height of its tops [m]."""

    name: str
    shape: Shape
    outline: np.ndarray | None
    leaf_area: float
    leaf_area_index: float
    top: float


class LoweringError(ValueError):
    """A scene that reads well but cannot be built; one line that names the part."""


def lower_hardscape(world: World, scene: Scene, shell: Shell) -> dict[str, Shape]:
    """Wood and stone, clipped at the glass. Returns the shapes in place by name."""
    shapes: dict[str, Shape] = {}
    pieces: list[tuple[Wood | Stone, Role]] = [(w, Role.WOOD) for w in scene.wood]
    pieces += [(s, Role.STONE) for s in scene.stone]
    for piece, role in pieces:
        try:
            shape = _clipped(world, scene, shell, piece.name, _stand(scene, piece, _solid(piece)))
        except ShapeError as problem:
            raise LoweringError(f"{piece.name}: {problem}") from None
        if not shape.closed:
            world.notes.append(f"{piece.name}: the mesh is not closed; light that gets inside counts as absorbed there")
        surface = world.opaque(piece.name, piece.spectrum(), closed=True, bucket=f"{role}: {piece.name}")
        world.add_mesh(piece.name, shape.vertices, shape.faces, surface, role=role)
        shapes[piece.name] = shape
    return shapes


def _solid(piece: Wood | Stone) -> Shape:
    from underlit.lowering.shapes import mesh, stone, wood

    if piece.mesh is not None:
        return mesh.load(piece.mesh, unit=piece.unit or "m")
    assert piece.size is not None
    length, _, height = piece.size
    if isinstance(piece, Wood):
        shape = wood.driftwood(piece.seed, length, height)
    else:
        shape = (stone.rounded if piece.shape == "rounded" else stone.jagged)(piece.seed, length)
    extent = shape.bounds[1] - shape.bounds[0]
    return replace(shape, vertices=shape.vertices * (np.array(piece.size) / extent))


def _stand(scene: Scene, piece: Placed | Plants, shape: Shape) -> Shape:
    """Scale, roll, turn and move a shape to where the scene wants it."""
    assert piece.at is not None
    roll = math.degrees(piece.tilt) + (90.0 if piece.up == "y" else 0.0)
    shape = place(shape, (0, 0, 0), math.degrees(piece.turn), (roll, 0.0), piece.scale)
    low, high = shape.bounds
    x, y = piece.at
    if piece.base is not None:
        floor = piece.base
    else:
        floor = float(scene.bed_heights_m(np.array(x), np.array(y))) - piece.sunk
    move = np.array([x - (low[0] + high[0]) / 2, y - (low[1] + high[1]) / 2, floor - low[2]])
    return replace(shape, vertices=shape.vertices + move)


def _clipped(world: World, scene: Scene, shell: Shell, name: str, shape: Shape) -> Shape:
    ceiling = shell.lid_low - HAIR
    clipped, removed = clip_to_inside(shape, scene, ceiling)
    below = removed and float(shape.bounds[0, 2]) < HAIR
    if removed > 1e-3:
        what = "glass, lid or bottom pane" if below or math.isfinite(ceiling) else "glass"
        world.notes.append(f"{name}: {removed:.1%} of its surface lay beyond the {what} and was cut off")
    if clipped.note and clipped.note != shape.note:
        world.notes.append(f"{name}: {clipped.note}")
    return clipped


def lower_plants(world: World, scene: Scene, shell: Shell, hardscape: dict[str, Shape]) -> list[Grown]:
    """Every plant group as two-sided leaf triangles."""
    grown = []
    for plants in scene.plants:
        try:
            grown.append(_lower_group(world, scene, shell, hardscape, plants))
        except ShapeError as problem:
            raise LoweringError(f"{plants.name}: {problem}") from None
    return grown


def _lower_group(world: World, scene: Scene, shell: Shell, hardscape: dict[str, Shape], plants: Plants) -> Grown:
    outline = None
    leaf_area, index = 0.0, 0.0
    if plants.kind is PlantKind.MESH:
        from underlit.lowering.shapes import mesh

        assert plants.mesh is not None
        shape = _stand(scene, plants, mesh.load(plants.mesh, unit=plants.unit or "m"))
        leaf_area = shape.area_m2
    elif plants.kind is PlantKind.EPIPHYTES:
        planting = _epiphytes(scene, hardscape, plants)
        shape, leaf_area, index = planting.shape, planting.leaf_area_m2, planting.leaf_area_index
    else:
        outline = _inside_outline(scene, plants)
        planting = _planting(scene, plants, outline)
        shape, leaf_area, index = planting.shape, planting.leaf_area_m2, planting.leaf_area_index
    if shape.note:
        world.notes.append(f"{plants.name}: {shape.note}")
    shape = _clipped(world, scene, shell, plants.name, replace(shape, closed=False, note=""))
    optics = plants.leaf_optics
    surface = world.leaf(plants.name, optics.reflectance, optics.transmittance, bucket=f"plants: {plants.name}")
    world.add_mesh(plants.name, shape.vertices, shape.faces, surface, role=Role.PLANTS)
    return Grown(plants.name, shape, outline, leaf_area, index, float(shape.bounds[1, 2]))


def _inside_outline(scene: Scene, plants: Plants) -> np.ndarray:
    """The largest piece of a group's outline over the tank's inside, (k, 2) [m]."""
    from shapely.geometry import Polygon

    room = scene.tank.inside_outline.polygon.buffer(-HAIR, join_style="mitre")
    piece = Polygon(plants.polygon).intersection(room)
    pieces = [p for p in getattr(piece, "geoms", [piece]) if p.geom_type == "Polygon" and p.area > 1e-6]
    if not pieces:
        raise ShapeError("its outline lies outside the tank; move it inside")
    largest = max(pieces, key=lambda p: p.area)
    return np.array(largest.exterior.coords[:-1])


def _planting(scene: Scene, plants: Plants, outline: np.ndarray) -> Planting:
    from underlit.lowering.shapes import carpets, floating, rosettes, stems

    def ground(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.maximum(scene.bed_heights_m(x, y), HAIR)

    index, height = plants.leaf_area_index, plants.height
    if plants.kind is PlantKind.CARPET:
        return carpets.carpet(plants.seed, outline, ground, leaf_area_index=index, height=height)
    if plants.kind is PlantKind.STEMS:
        return stems.stems(plants.seed, outline, ground, leaf_area_index=index, height=height or 0.25)
    if plants.kind is PlantKind.ROSETTES:
        return rosettes.rosettes(plants.seed, outline, ground, leaf_area_index=index, height=height)
    planting = floating.floating(plants.seed, outline, coverage=min(index, 0.97))
    return replace(planting, shape=place(planting.shape, (0.0, 0.0, scene.water_level_m)))


def _epiphytes(scene: Scene, hardscape: dict[str, Shape], plants: Plants) -> Planting:
    from underlit.lowering.shapes.epiphytes import epiphytes

    support = hardscape.get(plants.on or "")
    if support is None:
        raise ShapeError(f"there is no wood or stone named {plants.on!r} to grow on")
    lowest = float(scene.substrate.grid_m.max())
    return epiphytes(
        plants.seed, support, leaf_area_index=plants.leaf_area_index, height=plants.height, from_z=lowest,
        to_z=scene.water_level_m,
    )  # fmt: skip
