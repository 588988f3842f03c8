"""Lid and hood: panes as glass slabs, flat, on two tracks or tilted up; strips as opaque sheets on them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from underlit.lowering.pieces import AIR, Interface, Medium, MeshPiece, Opaque, Piece
from underlit.lowering.prisms import HAIR, Triangles, curtain_of_region, curtain_round, flat, flat_region, joined
from underlit.lowering.records import Face, Line, Part, Role
from underlit.lowering.tank.panes import OUT_OF_THE_EDGES, OUT_OF_THE_TOP
from underlit.scene.model import Scene
from underlit.scene.tank.lid import Hinged, Lid
from underlit.spectra.materials import reflectance
from underlit.spectra.media import optical_constants

if TYPE_CHECKING:
    import shapely


@dataclass(frozen=True)
class _Pane:
    """A pane as it lies flat: region of the plan, height of its underside [m]; and by what it is turned up."""

    region: shapely.Geometry
    low: float
    flap: Hinged | None = None


def lid(scene: Scene) -> Iterator[Piece]:
    """The lid, if there is one."""
    if scene.lid is None:
        return
    glass = Medium(Line("lid"), *optical_constants(scene.lid.glass))
    dirt = Line("dirt on the lid")
    surfaces = {
        Face.TOP: Interface(dirt, AIR, glass, film=scene.lid.dirt, way_out=OUT_OF_THE_TOP),
        Face.UNDERSIDE: Interface(dirt, AIR, glass, film=scene.lid.condensation, way_out=OUT_OF_THE_TOP),
        Face.EDGES: Interface(Line("lid"), AIR, glass, way_out=OUT_OF_THE_EDGES),
    }
    yield glass
    for i, pane in enumerate(_panes(scene, scene.lid), 1):
        for (face, surface), piece in zip(surfaces.items(), _faces(pane, scene.lid), strict=True):
            yield MeshPiece(Part(f"lid pane {i}", Role.LID, face), *piece, surface)
    for i, (region, share) in enumerate(_strips(scene, scene.lid), 1):
        opaque = Opaque(Line("strips on the lid"), reflectance("black", share))
        yield MeshPiece(Part(f"strip {i}", Role.FRAME), *flat_region(region, scene.lid_top_m), opaque)


def _panes(scene: Scene, lid: Lid) -> list[_Pane]:
    import shapely

    low, high = scene.lid_undersides_m[0], scene.lid_undersides_m[-1]
    outside = scene.tank.outside_outline.polygon
    x0, y0, x1, y1 = outside.bounds

    def pane(a: float, b: float, c: float, d: float) -> shapely.Geometry:
        piece = shapely.box(a + HAIR, b + HAIR, c - HAIR, d - HAIR)
        return piece if scene.tank.is_box else piece & scene.tank.outside_outline.inset(HAIR)

    if lid.hinged is not None:
        at = lid.hinged.at
        return [_Pane(pane(x0, y0, x1, at), low, lid.hinged), _Pane(pane(x0, at, x1, y1), low)]
    if lid.sliding is not None:
        half, pushed = lid.sliding.overlap / 2, lid.sliding.opened
        if lid.sliding.runs == "left to right":
            middle = (x0 + x1) / 2
            upper = pane(middle - half - pushed, y0, x1 - pushed, y1)
            return [_Pane(pane(x0, y0, middle + half, y1), low), _Pane(upper, high)]
        middle = (y0 + y1) / 2
        upper = pane(x0, middle - half - pushed, x1, y1 - pushed)
        return [_Pane(pane(x0, y0, x1, middle + half), low), _Pane(upper, high)]
    return [_Pane(pane(*bounds), low) for bounds in [p.bounds_m for p in lid.panes] or [(x0, y0, x1, y1)]]


def _faces(pane: _Pane, lid: Lid) -> list[Triangles]:
    """Top, underside and edges of a pane where it lies."""
    low, high = pane.low, pane.low + lid.thickness
    top, under = flat_region(pane.region, high), flat_region(pane.region, low, facing_up=False)
    edges = curtain_of_region(pane.region, low, high)
    return [(_tilted(vertices, pane.flap, high), faces) for vertices, faces in (top, under, edges)]


def _tilted(vertices: np.ndarray, flap: Hinged | None, high: float) -> np.ndarray:
    """Vertices (n, 3) of a flap turned up about a line just over its hinged top edge, where it clears the other pane."""
    if flap is None or flap.opened == 0.0:
        return vertices
    y, z = flap.turned(vertices[:, 1], vertices[:, 2], high + 2 * HAIR)
    return np.column_stack([vertices[:, 0], y, z])


def _strips(scene: Scene, lid: Lid) -> list[tuple[shapely.Geometry, float | None]]:
    import shapely

    strips = [(shapely.box(*strip.bounds_m), strip.reflectance) for strip in lid.strips]
    if lid.hinged is not None and lid.hinged.strip > 0:
        outside = scene.tank.outside_outline.polygon
        x0, _, x1, _ = outside.bounds
        hinge = shapely.box(x0, lid.hinged.at, x1, lid.hinged.at + lid.hinged.strip) & outside
        strips.append((hinge, lid.hinged.reflectance))
    return strips


def lid_covers(lid: Lid | None, x0: float, y0: float, x1: float, y1: float) -> bool:
    """Whether any pane of the lid lies under a rectangle of the plan [m]; a flap that is tilted up does not."""
    if lid is None:
        return False
    if lid.hinged is not None:
        return lid.hinged.opened == 0.0 or y1 > lid.hinged.at
    if not lid.panes:
        return True
    return any(a < x1 and c > x0 and b < y1 and d > y0 for a, b, c, d in (p.bounds_m for p in lid.panes))


def hood(scene: Scene) -> Iterator[MeshPiece]:
    """The hood, if there is one: walls round the tank and a cover, open below."""
    if scene.hood is None:
        return
    points = scene.tank.outside_outline.moved(3 * HAIR).points
    low = scene.tank.inside_m[2]
    high = low + scene.hood.height
    spectrum = scene.hood.inside_reflectance()
    surface = Opaque(Line("hood"), spectrum, back_reflectance=spectrum)
    yield MeshPiece(Part("hood", Role.HOOD), *joined([flat(points, high), curtain_round(points, low, high)]), surface)
