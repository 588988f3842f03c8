"""Terraces of the substrate: level sheets of soil, and the edges that hold them.

The sheet ends on the panes and inside the edge, a closed solid on the bottom pane that rises a little over the soil; the bed
around ends in the edge too. An edge runs along the terrace's outline, but not along panes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from underlit.lowering.pieces import MeshPiece, Opaque
from underlit.lowering.prisms import HAIR, flat_region, polygons_of, slab
from underlit.lowering.records import Line, Part, Role
from underlit.lowering.shapes import Shape
from underlit.lowering.tank.panes import BED
from underlit.scene.aquascape.ground import Terrace
from underlit.scene.model import Scene

if TYPE_CHECKING:
    import shapely

AT_THE_PANE = 1e-3
"""An outline this close to a pane [m] has no edge there."""


def terraces(scene: Scene) -> tuple[list[MeshPiece], dict[Part, Shape]]:
    """All terraces: their sheets of soil and their edges; and the edges once more as solids."""
    pieces: list[MeshPiece] = []
    edges: dict[Part, Shape] = {}
    said = scene.substrate.terraces
    of_soil = soil(scene)
    for number, terrace in enumerate(said, start=1):
        higher = [t for t in said if (t.height, said.index(t)) > (terrace.height, number - 1)]
        sheet = flat_region(_inside(scene, terrace) - covered_by(scene, higher), terrace.height)
        if len(sheet[1]):
            pieces.append(MeshPiece(replace(BED, face=f"terrace {number}"), *sheet, of_soil))
        vertices, faces = edge_of(scene, terrace)
        if len(faces) == 0:
            continue
        edge = Part(f"edge of terrace {number}", Role.STONE)
        surface = Opaque(Line("edges of terraces"), terrace.spectrum(), closed=True)
        pieces.append(MeshPiece(edge, vertices, faces, surface))
        edges[edge] = Shape(vertices, faces, True)
    return pieces, edges


def soil(scene: Scene) -> Opaque:
    """The surface of the substrate."""
    return Opaque(Line("substrate"), scene.substrate.spectrum())


def covered_by(scene: Scene, terraces: Sequence[Terrace]) -> shapely.Geometry:
    """The part of the plan that terraces cover, up to the middle of their edges; what lies lower ends there, inside the edge.

    Light that gets through a pane under a terrace must find no soil that looks up.
    """
    import shapely

    return shapely.union_all(
        [_inside(scene, t) - _held_line(scene, t).buffer(0.25 * t.edge, join_style="mitre") for t in terraces]
    )


def _inside(scene: Scene, terrace: Terrace) -> shapely.Geometry:
    from shapely import Polygon

    return Polygon(terrace.polygon) & scene.tank.inside_outline.polygon


def _held_line(scene: Scene, terrace: Terrace) -> shapely.Geometry:
    """The outline of a terrace where it does not run along panes."""
    import shapely

    panes = scene.tank.inside_outline.polygon.boundary.buffer(AT_THE_PANE)
    return shapely.line_merge(_inside(scene, terrace).boundary - panes)


def edge_of(scene: Scene, terrace: Terrace) -> tuple[np.ndarray, np.ndarray]:
    """The retaining edge as a closed solid: vertices (n, 3) [m] and faces (m, 3), none where all of it lies on panes."""
    # square ends reach over the strip left free at the panes
    strip = _held_line(scene, terrace).buffer(0.5 * terrace.edge, cap_style="square", join_style="mitre")
    region = strip & scene.tank.inside_outline.polygon.buffer(-HAIR, join_style="mitre")
    if not polygons_of(region):
        return np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32)
    return slab(region, HAIR, terrace.height + terrace.edge_above)
