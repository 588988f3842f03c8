"""What pictures need of a tank whose panes are not upright, such as a bowl: its profiles, and where its substrate ends."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from underlit.lowering.compiled import Mesh
from underlit.lowering.prisms import joined
from underlit.lowering.records import Face, Part, Role
from underlit.lowering.shapes.shape import face_normals
from underlit.viz.overlay import Points, as_points, footprint

INSIDE = frozenset({Face.WET_INSIDE, Face.DRY_INSIDE})
"""The faces of a pane that look into the tank."""
_UPRIGHT = 1e-6


def panes_inside(meshes: Iterable[Mesh]) -> list[Mesh]:
    """The inner faces of sloped panes; empty for a tank whose panes stand upright."""
    inner = [m for m in meshes if m.role is Role.SHELL and m.part.face in INSIDE]
    slopes = [np.abs(face_normals(m.vertices, m.faces)[:, 2]) for m in inner]
    sloped = any(((s > _UPRIGHT) & (s < 1 - _UPRIGHT)).any() for s in slopes)
    return inner if sloped else []


def profiles(meshes: Sequence[Mesh], axes: tuple[int, int]) -> tuple[list[Points], list[Points]]:
    """Outlines of inside and outside seen along an axis, each (k, 2) [m]; empty for upright panes."""
    inner = panes_inside(meshes)
    if not inner:
        return [], []
    outer = [m for m in meshes if m.role is Role.SHELL and m.part.face not in INSIDE]
    seen = []
    for part in (inner, outer):
        vertices, faces = joined([(m.vertices, m.faces) for m in part])
        seen.append(list(footprint(Mesh(Part("panes", Role.SHELL), vertices, faces), axes).outlines))
    return seen[0], seen[1]


def ground_outline(meshes: Sequence[Mesh]) -> Points:
    """What the substrate covers of the plan between sloped panes (k, 2) [m]; empty for upright ones, which it fills."""
    import shapely

    from underlit.viz.tank3d.surfaces import bed_edge

    beds = [m for m in meshes if m.role is Role.BED]
    if not beds or not panes_inside(meshes):
        return ()
    largest = max(shapely.get_parts(bed_edge(beds)), key=lambda part: part.area)
    return as_points(largest.exterior.coords)


def bed_against(panes: Sequence[Mesh], bed: Mesh) -> Mesh:
    """The sides of a substrate: what lies under its height of the panes that hold it."""
    import pyvista
    from scipy.interpolate import NearestNDInterpolator

    from underlit.viz.tank3d.surfaces import poly_data

    data = pyvista.merge([poly_data(m) for m in panes]).extract_surface(algorithm="dataset_surface")
    height = NearestNDInterpolator(bed.vertices[:, :2], bed.vertices[:, 2])(data.points[:, :2])
    data.point_data["over"] = data.points[:, 2] - height
    below = data.clip_scalar(scalars="over", value=0.0).triangulate()
    side = replace(bed.part, face="side")
    return Mesh(side, np.asarray(below.points), below.regular_faces.astype(np.int32), 0, bed.surface)
