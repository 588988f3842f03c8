"""Wood and stone."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from underlit.lowering.aquascape.clip import clip_to_inside
from underlit.lowering.pieces import MeshPiece, Note, Opaque, Piece
from underlit.lowering.prisms import HAIR
from underlit.lowering.records import Line, Part, Role
from underlit.lowering.shapes import Shape, ShapeError, place
from underlit.scene.aquascape.ground import Placed, Stone, Wood
from underlit.scene.aquascape.plants import Plants
from underlit.scene.checks.cautions import CHECK
from underlit.scene.model import Scene

MUCH_CUT_OFF = 0.25
"""Share of a surface cut off at the glass from which it is told before anything else."""


class LoweringError(ValueError):
    """A scene that reads well but cannot be built; one line that names the part."""


@dataclass(frozen=True)
class Clipped:
    """A shape as it stands in the tank, and what was noted when it was cut off there."""

    shape: Shape
    notes: tuple[Note, ...] = ()


def hardscape(scene: Scene) -> tuple[list[Piece], dict[Part, Shape]]:
    """Wood and stone, clipped at the glass; and their shapes in place once more, by part."""
    pieces: list[Piece] = []
    shapes: dict[Part, Shape] = {}
    placed: list[tuple[Wood | Stone, Role]] = [(w, Role.WOOD) for w in scene.wood]
    placed += [(s, Role.STONE) for s in scene.stone]
    for said, role in placed:
        part = Part(said.name, role)
        try:
            found = clipped(scene, said.name, stand(scene, said, _solid(said)))
        except ShapeError as problem:
            raise LoweringError(f"{said.name}: {problem}") from None
        pieces += found.notes
        shape = found.shape
        if not shape.closed:
            pieces.append(Note(f"{said.name}: the mesh is not closed; light that gets inside counts as absorbed there"))
        surface = Opaque(Line(role, said.name), said.spectrum(), closed=True)
        pieces.append(MeshPiece(part, shape.vertices, shape.faces, surface))
        shapes[part] = shape
    return pieces, shapes


def _solid(piece: Wood | Stone) -> Shape:
    from underlit.lowering.shapes import mesh, stone, wood

    if piece.mesh is not None:
        return mesh.mended(piece.mesh, unit=piece.unit or "m")
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


def clipped(scene: Scene, name: str, shape: Shape) -> Clipped:
    """The part of a shape inside the tank and under its lid; what is cut off is noted. ShapeError when nothing is left."""
    ceiling, notes = scene.lid_underside_m - HAIR, []
    kept, removed = clip_to_inside(shape, scene, ceiling)
    below = removed and float(shape.bounds[0, 2]) < HAIR
    if removed > 1e-3:
        what = "glass, lid or bottom pane" if below or math.isfinite(ceiling) else "glass"
        said = f"{name}: {100 * removed:.1f} % of its surface lay beyond the {what} and was cut off"
        much = removed > MUCH_CUT_OFF
        notes.append(Note(f"{said}: {CHECK}" if much else said, is_caution=much))
    if kept.note and kept.note != shape.note:
        notes.append(Note(f"{name}: {kept.note}"))
    return Clipped(kept, tuple(notes))
