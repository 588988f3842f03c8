"""The glass of a tank from meshes: its inner faces split at the water line, its outer ones, its top edge.

Nothing is cut but the inner mesh, at two heights, and both halves take the corners of a cut from the same numbers.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from underlit.lowering.aquascape.bed import bare_bottom
from underlit.lowering.pieces import Medium, MeshPiece
from underlit.lowering.prisms import Triangles, flat, flat_region
from underlit.lowering.records import Face, Part, Role
from underlit.lowering.shapes.placing import cut_to_box
from underlit.lowering.shapes.shape import ShapeError, face_normals
from underlit.lowering.tank.panes import (
    BED,
    UPRIGHT,
    backing,
    dry_face,
    outer_face,
    pane,
    sheet_behind,
    top_edge,
    wet_face,
)
from underlit.scene.model import Scene
from underlit.scene.tank.mesh import MeshGlass
from underlit.scene.tank.tank import Behind

if TYPE_CHECKING:
    import shapely

_FLATTER_THAN = 0.7
"""Faces steeper than 45 degrees are of a wall, others of the bottom."""


def mesh_glass(scene: Scene, water: Medium, glass: Medium) -> Iterator[MeshPiece]:
    """The glass of a tank from meshes. ShapeError, one line, where the meshes do not make a tank."""
    meshes = scene.tank.meshes
    assert meshes is not None
    level = scene.water_level_m
    # the inside's own front looks out of the water, into the glass
    vertices, faces = _between(meshes, -np.inf, level)
    for side, chosen in _by_side(vertices, faces[:, ::-1], inside=True):
        part = BED if side == "bottom" and bare_bottom(scene) else pane(side, Face.WET_INSIDE)
        yield MeshPiece(part, vertices, chosen, wet_face(scene, side, water, glass))
    if level < meshes.height:
        vertices, faces = _between(meshes, level, meshes.height)
        dry = dry_face(glass)
        for side, chosen in _by_side(vertices, faces[:, ::-1], inside=True):
            yield MeshPiece(pane(side, Face.DRY_INSIDE), vertices, chosen, dry)
    yield from _outer_faces(scene, meshes, glass)


def _between(meshes: MeshGlass, low: float, high: float) -> Triangles:
    """The inner mesh between two heights, without the lid that closes it at the top edge."""
    vertices, faces = cut_to_box(
        meshes.inside, meshes.inside_faces, np.array([-np.inf, -np.inf, low]), np.array([np.inf, np.inf, high])
    )
    at_top = (vertices[faces][:, :, 2] >= meshes.height).all(axis=1)
    return vertices, faces[~at_top]


def _by_side(vertices: np.ndarray, faces: np.ndarray, inside: bool) -> list[tuple[str, np.ndarray]]:
    """Faces by the pane that they are of, as their normals look."""
    normals = face_normals(vertices, faces) * (-1.0 if inside else 1.0)
    flat_ones = normals[:, 2] < -_FLATTER_THAN
    x, y = normals[:, 0], normals[:, 1]
    across = np.abs(y) >= np.abs(x)
    which = np.where(across, np.where(y < 0, 0, 1), np.where(x < 0, 2, 3))
    sides = [(name, faces[~flat_ones & (which == i)]) for i, name in enumerate(UPRIGHT)]
    return [(name, chosen) for name, chosen in (*sides, ("bottom", faces[flat_ones])) if len(chosen)]


def section(meshes: MeshGlass, z: float) -> shapely.Geometry:
    """What the inside covers at a height [m], from the corners that its faces below have there."""
    import shapely

    vertices, faces = _between(meshes, -np.inf, z)
    edges = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    unique, count = np.unique(edges, axis=0, return_counts=True)
    rim = unique[(count == 1) & (vertices[unique][:, :, 2] == z).all(axis=1)]
    rings = shapely.get_parts(shapely.polygonize(shapely.linestrings(vertices[rim][:, :, :2])))
    if len(rings) == 0:
        raise ShapeError(f"tank.inside: the mesh holds nothing at a height of {100 * z:.1f} cm")
    return shapely.MultiPolygon([shapely.Polygon(ring.exterior) for ring in rings])


def _outer_faces(scene: Scene, meshes: MeshGlass, glass: Medium) -> Iterator[MeshPiece]:
    import shapely

    vertices, faces = meshes.outside, meshes.outside_faces
    at_top = (vertices[faces][:, :, 2] >= meshes.height).all(axis=1)
    covers = shapely.union_all(shapely.polygons(vertices[faces[at_top]][:, [0, 1, 2, 0], :2]))
    opening = section(meshes, meshes.height)
    edge = covers - opening
    if not at_top.any() or not covers.contains_properly(opening):
        raise ShapeError("tank.outside: its top must be a level face, and the inside must open within it")
    yield MeshPiece(Part("top edge", Role.SHELL), *flat_region(edge, meshes.height), top_edge(glass))
    for side, chosen in _by_side(vertices, faces[~at_top], inside=False):
        yield MeshPiece(pane(side, Face.OUTSIDE), vertices, chosen, outer_face(side, scene.tank.walls[side], glass))
    below = scene.tank.bottom
    if below.behind is Behind.SHEET:
        z = float(vertices[:, 2].min()) - below.air_gap
        sheet = flat(scene.tank.outside_outline.points, z, facing_up=False)
        yield MeshPiece(sheet_behind("bottom"), *sheet, backing("bottom", below))
