"""Wood and stone into a `World`."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from underlit.lowering.aquascape.clip import clip_to_inside
from underlit.lowering.prisms import HAIR
from underlit.lowering.shapes import Shape, ShapeError, place
from underlit.lowering.tank.shell import Shell
from underlit.lowering.world import Role, World
from underlit.scene.aquascape.ground import Placed, Stone, Wood
from underlit.scene.aquascape.plants import Plants
from underlit.scene.model import Scene


class LoweringError(ValueError):
    """A scene that reads well but cannot be built; one line that names the part."""


def lower_hardscape(world: World, scene: Scene, shell: Shell) -> dict[str, Shape]:
    """Wood and stone, clipped at the glass. Returns the shapes in place by name."""
    shapes: dict[str, Shape] = {}
    pieces: list[tuple[Wood | Stone, Role]] = [(w, Role.WOOD) for w in scene.wood]
    pieces += [(s, Role.STONE) for s in scene.stone]
    for piece, role in pieces:
        try:
            shape = clipped(world, scene, shell, piece.name, stand(scene, piece, _solid(piece)))
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


def stand(scene: Scene, piece: Placed | Plants, shape: Shape) -> Shape:
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


def clipped(world: World, scene: Scene, shell: Shell, name: str, shape: Shape) -> Shape:
    """The part of a shape inside the tank and under its lid; what is cut off is noted. ShapeError when nothing is left."""
    ceiling = shell.lid_low - HAIR
    kept, removed = clip_to_inside(shape, scene, ceiling)
    below = removed and float(shape.bounds[0, 2]) < HAIR
    if removed > 1e-3:
        what = "glass, lid or bottom pane" if below or math.isfinite(ceiling) else "glass"
        world.notes.append(f"{name}: {removed:.1%} of its surface lay beyond the {what} and was cut off")
    if kept.note and kept.note != shape.note:
        world.notes.append(f"{name}: {kept.note}")
    return kept
